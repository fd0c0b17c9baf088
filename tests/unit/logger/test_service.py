"""The logger as a whole: a day in short, dead stations, full disks, clocks, how it ends."""

import asyncio
import itertools
from pathlib import Path

import pytest
from doubles import HEEL, Devices, MemoryWriter, tcp, until
from hand_clock import HandClock
from rig import free_port, run, wait_until

from config.errors import BadInput
from config.plan import Plan
from config.stations import Station
from logger.archive.reader import list_runs, read_series
from logger.clock import FastClock
from logger.records import Flag
from logger.service import recording


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
