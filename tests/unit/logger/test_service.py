import asyncio
import itertools
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from rig import DroppableLine, free_port, run, wait_until

from config.errors import BadInput
from config.plan import Plan
from config.stations import Broker, ChannelMap, MqttSource, PlaybackSource, SerialSource, Station, TcpSource
from logger.archive.reader import list_runs, read_series
from logger.archive.writer import Appended, FlushResult
from logger.clock import FastClock, HandClock
from logger.dialects.nmea import sentence
from logger.records import Flag, Quantity
from logger.service import recording

HEEL = (ChannelMap(quantity="heel", field="HEEL", unit="deg"),)


def tcp(port):
    return TcpSource(type="tcp", host="127.0.0.1", port=port)


@dataclass
class MemoryWriter:
    """Stands in for the record; the disk can be made full."""

    rows: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    error: str = ""
    safe: int = 0
    stopped: str = ""
    slow_s: float = 0.0

    def start(self):
        return Path("run-1")

    def append(self, readings):
        first = len(self.rows)
        self.rows += readings
        return Appended(first, len(self.rows))

    def note(self, kind, data):
        self.notes.append((kind, data))

    def flush(self, *, sync=None):
        if not self.error:
            self.safe = len(self.rows)
        return FlushResult(self.safe, self.safe, len(self.rows) - self.safe, 0, self.error)

    def stop(self, reason):
        threading.Event().wait(self.slow_s)
        self.stopped = reason
        return self.flush()


class Devices:
    """Devices that speak NMEA over TCP, on ports of their own."""

    def __init__(self, count, rate_hz=50.0, garbage=False):
        self.count, self.rate, self.garbage = count, rate_hz, garbage
        self.ports, self.sent = [], [0] * count

    async def __aenter__(self):
        self.servers = [
            await asyncio.start_server(lambda r, w, n=n: self.talk(n, w), "127.0.0.1", 0) for n in range(self.count)
        ]
        self.ports = [s.sockets[0].getsockname()[1] for s in self.servers]
        self.talking = set()
        self.silent = set()
        return self

    async def talk(self, number, writer):
        self.talking.add(asyncio.current_task())
        try:
            while True:
                if number not in self.silent:
                    writer.write(sentence(f"HEXDR,A,{self.sent[number]},D,HEEL"))
                    if self.garbage:
                        writer.write(b"\x00\xff garbage\r\n")
                    self.sent[number] += 1
                await asyncio.sleep(1 / self.rate)
        except asyncio.CancelledError:
            return
        finally:
            writer.transport.abort()

    async def __aexit__(self, *what):
        for task in self.talking:
            task.cancel()
        await asyncio.gather(*self.talking, return_exceptions=True)
        for server in self.servers:
            server.close()
            await server.wait_closed()
        # Transports close in the next turn of the loop.
        await asyncio.sleep(0.01)

    def plan(self, **more):
        stations = tuple(
            Station(name=f"s{n}", dialect="nmea", source=tcp(p), channels=HEEL, **more)
            for n, p in enumerate(self.ports)
        )
        return Plan(stations=stations)


async def until(done, seconds=5.0):
    async with asyncio.timeout(seconds):
        while not done():
            await asyncio.sleep(0.01)


def test_a_day_in_short_everything_sent_is_in_the_record(tmp_path):
    async def main():
        async with Devices(3, garbage=True) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows >= 60)
            now = logger.now()
            assert {s.state for s in now.stations} == {"reading"}
            assert all(s.channels[0].unit == "deg" for s in now.stations)
            assert logger.troubles() == []
            assert now.as_dict()["stations"][0]["name"] == "s0"
            names = {task.get_name() for task in asyncio.all_tasks()}
            assert {"disk", "housekeeping", "watch s0", "take s1"} <= names
            assert any(name.startswith("supervisor 127.0.0.1") for name in names)
            logger.stop_reason = "end of the day"
        return logger

    logger = run(main())
    (info,) = list_runs(tmp_path / "record")
    assert info.stop_reason == "end of the day"
    assert info.channels[0].source.startswith("tcp:127.0.0.1:")
    for series in read_series(tmp_path / "record", repair=False):
        assert list(series.value) == list(range(len(series)))
    text = (info.folder / "notes.jsonl").read_text(encoding="utf-8")
    assert "garbage" in text
    assert '"anchor"' in text
    assert logger.now().rows_safe == logger.now().rows


def test_a_dead_station_blocks_neither_the_others_nor_the_end(tmp_path):
    async def main():
        said = []
        writer = MemoryWriter()
        async with Devices(2) as devices:
            plan = devices.plan(silence_s=0.8)
            gone = Station(name="gone", dialect="nmea", source=tcp(free_port()), channels=HEEL)
            plan = plan.model_copy(update={"stations": (*plan.stations, gone)})
            async with recording(plan, tmp_path, say=said.append, writer=writer) as logger:
                await until(lambda: logger.now().rows > 20)
                devices.silent.add(1)
                await until(lambda: logger.now().stations[1].state == "silent")
                before = logger.now().stations[0].readings
                await until(lambda: logger.now().stations[0].readings > before + 10)
                assert [t.station for t in logger.troubles()] == ["s1", "gone"]
                devices.silent.clear()
                await until(lambda: logger.now().stations[1].state == "reading")
        return said, writer

    said, writer = run(main())
    kinds = [(n.station, n.kind) for n in said]
    assert ("s1", "silent") in kinds
    assert ("s1", "reading again") in kinds
    assert ("gone", "lost") in kinds
    assert {"silent", "reading again", "lost", "station"} <= {kind for kind, _ in writer.notes}
    assert writer.stopped == "stopped"


def test_a_full_disk_is_said_and_survived(tmp_path):
    async def main():
        said = []
        writer = MemoryWriter()
        async with (
            Devices(1) as devices,
            recording(devices.plan(), tmp_path, say=said.append, writer=writer) as logger,
        ):
            await until(lambda: logger.now().rows_safe > 5)
            writer.error = "No space left on device"
            await until(lambda: logger.now().disk_trouble)
            had = logger.now().rows
            await until(lambda: logger.now().rows > had + 5)
            writer.error = ""
            await until(lambda: not logger.now().disk_trouble)
        return [n.text for n in said if n.kind == "disk"]

    full, again = run(main())
    assert full.startswith("disk: cannot be written: No space left on device; ")
    assert "wait in memory" in full
    assert again == "disk: written again"


def test_a_step_of_the_system_clock_is_recorded_and_flags_what_follows(tmp_path):
    class Stepping(FastClock):
        offset = 0

        def system_utc_ns(self):
            return self.host_ns() + self.offset

    async def main():
        clock, writer, said = Stepping(1.0), MemoryWriter(), []
        async with (
            Devices(1) as devices,
            recording(devices.plan(), tmp_path, clock=clock, writer=writer, say=said.append) as logger,
        ):
            await until(lambda: logger.now().rows > 3)
            clock.offset = 3_600_000_000_000
            await until(lambda: logger.now().clock_steps == 1)
            had = len(writer.rows)
            await until(lambda: len(writer.rows) > had + 5)
        return writer, [n.text for n in said if n.kind == "clock step"]

    writer, (text,) = run(main())
    assert text == "system clock put forward by 3600.000 s; the record's time goes on undisturbed"
    flags = [bool(r.flags & Flag.CLOCK_STEPPED) for r in writer.rows]
    assert not flags[0]
    assert flags[-1]
    times = [r.host_ns for r in writer.rows]
    assert max(b - a for a, b in itertools.pairwise(times)) < 2_000_000_000
    assert "clock step" in {kind for kind, _ in writer.notes}


def test_what_the_block_raises_comes_out_as_it_is_after_sealing(tmp_path):
    async def main():
        async with Devices(1) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows > 5)
            raise KeyError("mine")

    with pytest.raises(KeyError, match="mine"):
        run(main())
    (info,) = list_runs(tmp_path / "record")
    assert info.stop_reason == "failed: KeyError"
    assert not info.cut_off


def test_cancelled_in_the_middle_it_seals_all_the_same(tmp_path):
    async def main():
        async with Devices(1) as devices:

            async def log():
                async with recording(devices.plan(), tmp_path) as logger:
                    rows.append(logger)
                    await asyncio.sleep(1000)

            rows = []
            task = asyncio.create_task(log())
            await until(lambda: rows and rows[0].now().rows > 5)
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task

    run(main())
    (info,) = list_runs(tmp_path / "record")
    assert not info.cut_off


def test_sealing_that_hangs_is_given_up(tmp_path):
    async def main():
        writer = MemoryWriter(slow_s=1.0)
        with pytest.raises(TimeoutError):
            async with recording(Plan(), tmp_path, writer=writer, end_within_s=0.1):
                await asyncio.sleep(0)

    run(main())


def test_a_second_logger_on_the_same_folder_is_bad_input(tmp_path):
    async def main():
        async with recording(Plan(), tmp_path):
            with pytest.raises(BadInput, match="one logger at a time"):
                async with recording(Plan(), tmp_path):
                    pass

    run(main())


def test_stations_may_share_a_line_and_each_takes_its_own(tmp_path):
    async def main():
        writer = MemoryWriter()
        async with Devices(1) as devices:
            first = devices.plan().stations[0]
            wind = Station(
                name="mast", dialect="nmea", source=first.source, channels=(ChannelMap(quantity="wind_speed"),)
            )
            async with recording(Plan(stations=(first, wind)), tmp_path, writer=writer) as logger:
                await until(lambda: logger.now().rows > 10)
                assert len(logger.supervisors) == 1
                mast = logger.now().stations[1]
                assert mast.readings == 0
                assert mast.no_readings == 0
                assert mast.others > 5

    run(main())


@pytest.mark.parametrize("differing", [({"baud": 4800}, {"baud": 9600}), ({}, {"usb_serial": "A9X"})])
def test_one_port_with_two_settings_is_bad_input(tmp_path, differing):
    stations = [
        Station(name=f"s{n}", dialect="nmea", source=SerialSource(type="serial", port="COM4", **own), channels=HEEL)
        for n, own in enumerate(differing)
    ]

    async def main():
        with pytest.raises(BadInput, match="the same settings"):
            async with recording(Plan(stations=stations), tmp_path):
                pass

    run(main())


def test_two_ports_of_one_adapter_are_two_sources(tmp_path):
    """An adapter with several ports shows one USB serial number for all of them."""
    made = [SerialSource(type="serial", port=f"/nowhere/{n}", usb_serial="A9X") for n in "ab"]
    stations = [Station(name=s.port[-1], dialect="nmea", source=s, channels=HEEL) for s in made]

    async def main():
        async with recording(Plan(stations=stations), tmp_path) as logger:
            assert [len(one.stations) for one in logger.supervisors] == [1, 1]

    run(main())


@pytest.mark.parametrize(("ports", "gather"), [(1, False), (8, False), (9, True)])
def test_readings_gather_only_where_there_are_many_ports(tmp_path, ports, gather):
    made = [SerialSource(type="serial", port=f"/nowhere/{n}") for n in range(ports)]
    stations = [Station(name=f"s{n}", dialect="nmea", source=s, channels=HEEL) for n, s in enumerate(made)]

    async def main():
        async with recording(Plan(stations=stations), tmp_path) as logger:
            assert {bool(one.source._gather_s) for one in logger.supervisors} == {gather}

    run(main())


@pytest.mark.skipif(sys.platform == "win32", reason="no ptys here")
def test_a_serial_line_pulled_out_and_put_back(tmp_path):
    line = DroppableLine(tmp_path / "dev")
    stop = threading.Event()

    def talk():
        number = 0
        while not stop.wait(0.02):
            line.write(sentence(f"HEXDR,A,{number},D,HEEL"))
            number += 1

    async def main():
        source = SerialSource(type="serial", port=str(line.path))
        plan = Plan(stations=(Station(name="aft", dialect="nmea", source=source, channels=HEEL),))
        writer, said = MemoryWriter(), []
        async with recording(plan, tmp_path, writer=writer, say=said.append) as logger:
            await until(lambda: logger.now().rows > 5)
            line.unplug()
            await until(lambda: logger.now().stations[0].state == "lost", 2)
            line.plug()
            had = logger.now().rows
            await until(lambda: logger.now().rows > had, 2)
        assert [n.kind for n in said] == ["reading", "lost", "reading again"]
        # Half a line from before the break is never joined to what came after it.
        values = [r.value for r in writer.rows]
        assert values == sorted(values)

    thread = threading.Thread(target=talk)
    thread.start()
    try:
        run(main())
    finally:
        stop.set()
        thread.join()
        line.close()


def test_the_embedded_broker_and_what_it_does_not_promise(tmp_path):
    pytest.importorskip("amqtt")
    import aiomqtt

    async def main():
        said = []
        port = free_port()
        station = Station(
            name="fwd",
            dialect="senml",
            source=MqttSource(type="mqtt", topic="pier/fwd"),
            channels=(ChannelMap(quantity="heel"),),
        )
        plan = Plan(stations=(station,), broker=Broker(port=port))
        async with recording(plan, tmp_path, say=said.append) as logger:
            await until(lambda: logger.supervisors[0].times_opened)
            async with aiomqtt.Client("127.0.0.1", port) as client:
                for n in range(20):
                    await client.publish("pier/fwd", '[{"n":"roll","u":"deg","v":%d}]' % n, qos=1)  # noqa: UP031
            await until(lambda: logger.now().rows == 20)
            with pytest.raises(BadInput, match="a free port"):
                async with recording(plan, tmp_path / "other"):
                    pass
        return said

    said = run(main())
    assert "keeps nothing while the logger is away" in said[0].text


def test_a_recorded_run_played_again_fast(tmp_path):
    async def main():
        async with Devices(1) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows >= 30)
        first = list_runs(tmp_path / "record")[0]
        source = PlaybackSource(type="playback", run=f"record/{first.name}", speed=2.0)
        plan = Plan(stations=(Station(name="s0", source=source, channels=HEEL),))
        async with recording(plan, tmp_path, clock=FastClock(5.0)) as logger:
            await until(lambda: logger.now().stations[0].state == "ended")
        return first

    first = run(main())
    runs = list_runs(tmp_path / "record")
    played, original = (read_series(info.folder, repair=False)[0] for info in reversed(runs))
    if played.time_ns[0] == original.time_ns[0]:
        played, original = original, played
    assert first.name
    assert list(played.value) == list(original.value)
    assert sorted({played.quantity, original.quantity}) == [Quantity.HEEL]


def test_every_station_of_a_run_is_played(tmp_path):
    async def main():
        async with Devices(2) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows >= 40)
        first = list_runs(tmp_path / "record")[0]
        source = PlaybackSource(type="playback", run=f"record/{first.name}", speed=2.0)
        plan = Plan(stations=tuple(Station(name=name, source=source, channels=HEEL) for name in ("s0", "s1")))
        async with recording(plan, tmp_path, clock=FastClock(5.0)) as logger:
            await until(lambda: all(station.state == "ended" for station in logger.now().stations))
            return [station.readings for station in logger.now().stations]

    assert all(count > 10 for count in run(main()))


def test_a_run_that_is_not_there_is_named_with_those_that_are(tmp_path):
    async def main():
        async with Devices(1) as devices, recording(devices.plan(), tmp_path) as logger:
            await until(lambda: logger.now().rows >= 5)
        there = list_runs(tmp_path / "record")[0].name
        (tmp_path / "empty").mkdir()
        runs = {"s0": "no-such-run", "s1": "empty", "s2": f"record/{there}"}
        plan = Plan(
            stations=tuple(
                Station(name=name, source=PlaybackSource(type="playback", run=played), channels=HEEL)
                for name, played in runs.items()
            )
        )
        async with recording(plan, tmp_path) as logger:
            await until(lambda: all(station.said for station in logger.now().stations))
            await until(lambda: logger.now().stations[2].readings > 0)
            now = logger.now()
        return there, {station.name: station.said for station in now.stations}, now.without_readings

    there, said, silent = run(main())
    assert f"no such run: no-such-run; there is record/{there}" in said["s0"]
    assert "the run empty holds no readings" in said["s1"]
    assert [station.name for station in silent] == ["s0", "s1"]


def test_a_run_outside_the_folder_is_not_played(tmp_path):
    async def main():
        source = PlaybackSource(type="playback", run="../../somewhere")
        plan = Plan(stations=(Station(name="s0", source=source, channels=HEEL),))
        with pytest.raises(BadInput, match="inside the test folder"):
            async with recording(plan, tmp_path):
                pass

    run(main())


def test_under_a_fast_clock_the_machine_s_own_pauses_are_no_silence(tmp_path):
    async def main():
        said = []
        clock = FastClock(100.0)
        async with (
            Devices(1, rate_hz=20) as devices,
            recording(devices.plan(), tmp_path, clock=clock, say=said.append) as logger,
        ):
            await until(lambda: logger.now().rows > 20)
        return [n.kind for n in said]

    assert run(main()) == ["reading"]


def test_notices_carry_host_time():
    async def main():
        clock = HandClock()
        writer = MemoryWriter()
        async with recording(Plan(), Path(), clock=clock, writer=writer) as logger:
            logger._say("aft", "silent", "text", {})
            assert logger.now().notices[0].host_ns == clock.host_ns()
        assert ("silent", {"station": "aft", "text": "text"}) in writer.notes

    run(main())


def test_the_rig_waits_no_longer_than_it_says():
    with pytest.raises(TimeoutError, match="never"):
        wait_until(lambda: False, 0.02, "never")
