"""The wire itself: every byte that is played arrives, over each transport."""

import asyncio
import socket
import sys
from collections.abc import AsyncIterator, Coroutine
from dataclasses import replace
from pathlib import Path

import pytest
import serial

from config.stations import Station
from logger.clock import FastClock
from sim.day import SimulatedDay, simulate
from sim.feeds import due_marks, open_feed
from sim.feeds.feed import Transport
from sim.kinds import make_kind
from sim.wire import frames
from sim.wire_faults import WireFault

STATIONS = tuple(
    Station(
        name=name,
        dialect="nmea",
        channels=[{"quantity": "heel", "field": "HEEL"}],
        source={"type": "mqtt", "topic": f"pier/{name}"},
    )
    for name in ("aft", "middle", "forward")
)


def run(work: Coroutine[None, None, None]) -> None:
    with asyncio.Runner(loop_factory=asyncio.SelectorEventLoop) as runner:
        runner.run(work)


@pytest.fixture(scope="module")
def day() -> SimulatedDay:
    scenario = make_kind("quiet", 3)
    short = scenario.schedule.model_copy(
        update={
            "window_s": 5.0,
            "lift_s": 2.0,
            "settle_s": 1.0,
            "after_s": 1.0,
            "gangway_s": 2.0,
            "first_window_s": 12.0,
            "tail_s": 5.0,
        }
    )
    return simulate(scenario.model_copy(update={"schedule": short}))


def wanted(day: SimulatedDay, name: str) -> bytes:
    station = next(s for s in STATIONS if s.name == name)
    return b"".join(frame.data for frame in frames(station, day.signals))


def collect(port: serial.SerialBase, size: int, into: bytearray) -> None:
    while len(into) < size:
        part = port.read(4096)
        if not part:
            return
        into += part


async def play_to_serial(day: SimulatedDay, how: Transport) -> None:
    size = len(wanted(day, "aft"))
    got = bytearray()
    async with open_feed(day, STATIONS[:1], transports={"aft": how}) as feed:
        source = feed.sources["aft"]
        assert source.type == "serial"

        def read() -> None:
            with serial.serial_for_url(source.port, baudrate=source.baud, timeout=3) as port:
                collect(port, size, got)

        reader = asyncio.create_task(asyncio.to_thread(read))
        await feed.play(FastClock(500.0, day.epoch_ns))
        await reader
        assert feed.sent == feed.messages
    assert bytes(got) == wanted(day, "aft")


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_pty_loses_nothing(day: SimulatedDay) -> None:
    run(play_to_serial(day, "pty"))


@pytest.mark.filterwarnings("ignore:.*setDaemon:DeprecationWarning")  # in pyserial's own client
@pytest.mark.filterwarnings("ignore:.*setName:DeprecationWarning")
def test_rfc2217_loses_nothing(day: SimulatedDay) -> None:
    run(play_to_serial(day, "rfc2217"))


def test_tcp_loses_nothing_to_a_slow_reader(day: SimulatedDay) -> None:
    async def work() -> None:
        got = bytearray()
        async with open_feed(day, STATIONS[:1], transports={"aft": "tcp"}) as feed:
            source = feed.sources["aft"]
            assert source.type == "tcp"

            async def read() -> None:
                reader, writer = await asyncio.open_connection(source.host, source.port, limit=1024)
                while len(got) < len(wanted(day, "aft")):
                    got.extend(await reader.read(700))
                    await asyncio.sleep(0)
                writer.close()

            reading = asyncio.create_task(read())
            await feed.play(FastClock(2000.0, day.epoch_ns))
            await reading
        assert bytes(got) == wanted(day, "aft")

    run(work())


async def heard(port: int, count: int) -> AsyncIterator[tuple[str, bytes]]:
    import aiomqtt

    async with aiomqtt.Client("127.0.0.1", port, protocol=aiomqtt.ProtocolVersion.V311) as client:
        await client.subscribe("pier/#", qos=1)
        yield "", b""
        async for message in client.messages:
            assert isinstance(message.payload, bytes)
            yield str(message.topic), message.payload
            count -= 1
            if not count:
                return


def test_mqtt_loses_nothing(day: SimulatedDay) -> None:
    pytest.importorskip("amqtt")
    from logger.broker import embedded_broker

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]

    async def work() -> None:
        async with embedded_broker(port), open_feed(day, STATIONS, f"mqtt://127.0.0.1:{port}") as feed:
            count = sum(feed.messages.values())
            got: dict[str, bytes] = {}
            ready = asyncio.Event()

            async def listen() -> None:
                async for topic, payload in heard(port, count):
                    ready.set()
                    got[topic] = got.get(topic, b"") + payload

            listening = asyncio.create_task(listen())
            await ready.wait()
            await feed.play(FastClock(2000.0, day.epoch_ns))
            await asyncio.wait_for(listening, 30)
            for name in ("aft", "middle", "forward"):
                assert got[f"pier/{name}"] == wanted(day, name)

    run(work())


def test_faults_of_the_wire_are_played(day: SimulatedDay) -> None:
    fault = WireFault(station="aft", garbage=0.05, cut=0.05, stall_at_s=5.0, stall_for_s=20.0)
    spoilt = replace(day, scenario=day.scenario.model_copy(update={"wire": (fault,)}))

    async def work() -> None:
        got = bytearray()
        async with open_feed(spoilt, STATIONS[:1], transports={"aft": "tcp"}) as feed:
            source = feed.sources["aft"]
            assert source.type == "tcp"
            reader, writer = await asyncio.open_connection(source.host, source.port)

            async def read() -> None:
                while part := await reader.read(4096):
                    got.extend(part)

            reading = asyncio.create_task(read())
            await feed.play(FastClock(2000.0, day.epoch_ns))
            assert feed.sent == feed.messages == {"aft": len(frames(STATIONS[0], day.signals))}
        await reading
        writer.close()
        assert bytes(got) != wanted(day, "aft")
        lines = bytes(got).split(b"\r\n")
        whole = [line for line in wanted(day, "aft").split(b"\r\n") if line and line in lines]
        assert 0.8 * len(frames(STATIONS[0], day.signals)) < len(whole) < len(frames(STATIONS[0], day.signals))

    run(work())


def test_a_topic_without_a_broker_is_an_error_that_says_so(day: SimulatedDay) -> None:
    async def work() -> None:
        async with open_feed(day, STATIONS) as feed:
            with pytest.raises(Exception, match="running broker"):
                await feed.play(FastClock(2000.0, day.epoch_ns))

    run(work())


def test_marks_fall_due_in_order_of_the_clock(day: SimulatedDay) -> None:
    async def work() -> None:
        clock = FastClock(1000.0, day.epoch_ns)
        seen = [mark async for mark in due_marks(day.marks, clock)]
        assert tuple(seen) == day.marks
        assert clock.host_ns() >= day.marks[-1].time_ns

    run(work())


def test_packaged_feeds_need_no_front_door() -> None:
    text = "".join(p.read_text(encoding="utf-8") for p in (Path(__file__).parents[3] / "sim").rglob("*.py"))
    for package in ("dsp", "reduction", "quietheel"):
        assert f"\nfrom {package}" not in text
        assert f"\nimport {package}" not in text
