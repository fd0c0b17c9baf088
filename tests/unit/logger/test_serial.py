"""One serial port: bytes, stamps, what gathers, what is lost."""

import asyncio
import threading
import time

import pytest
from doubles import end, needs_pty, until
from rig import DroppableLine, run

from config.stations import SerialSource
from logger.clock import SystemClock
from logger.sources.serial import SerialPort
from logger.sources.source import SourceLost


@needs_pty
def test_bytes_from_a_port_are_stamped_in_order(tmp_path):
    line = DroppableLine(tmp_path)
    got = []

    async def main():
        opened = asyncio.Event()
        port = SerialPort(
            SerialSource(type="serial", port=str(line.path)), lambda data, at: got.append((data, at)), SystemClock()
        )
        task = asyncio.create_task(port.run(opened.set))
        await opened.wait()
        for n in range(20):
            line.write(b"%d\n" % n)
            await asyncio.sleep(0.002)
        await until(lambda: b"".join(d for d, _ in got).count(b"\n") == 20)
        await end(task)

    run(main())
    line.close()
    assert b"".join(d for d, _ in got).split() == [b"%d" % n for n in range(20)]
    stamps = [at for _, at in got]
    assert stamps == sorted(stamps)


@needs_pty
def test_stamps_hold_while_the_loop_is_blocked(tmp_path):
    line = DroppableLine(tmp_path)
    got = []

    async def main():
        clock = SystemClock()
        opened = asyncio.Event()
        port = SerialPort(
            SerialSource(type="serial", port=str(line.path)), lambda data, at: got.append((data, at)), clock
        )
        task = asyncio.create_task(port.run(opened.set))
        await opened.wait()
        await asyncio.sleep(0.05)
        sent = []

        def talk():
            for _ in range(5):
                sent.append(clock.monotonic_ns())
                line.write(b"x\n")
                time.sleep(0.03)

        thread = threading.Thread(target=talk)
        thread.start()
        time.sleep(0.2)  # the loop does nothing meanwhile
        thread.join()
        await until(lambda: len(got) >= 5)
        await end(task)
        delays = [(at - before) / 1e6 for before, (_, at) in zip(sent, got, strict=True)]
        assert max(delays) < 25

    run(main())
    line.close()


def gathered(line, talk, *, gather_s=0.03, **settings):
    """What a port whose readings gather hands on while ``talk(line, clock)`` writes to it, and then is stopped."""
    got = []

    async def main():
        clock, opened = SystemClock(), asyncio.Event()
        source = SerialSource(type="serial", port=str(line.path), **settings)
        port = SerialPort(source, lambda data, at: got.append((data, at)), clock, gather_s=gather_s)
        task = asyncio.create_task(port.run(opened.set))
        await opened.wait()
        try:
            return await asyncio.to_thread(talk, line, clock)
        finally:
            await end(task)

    said = run(main())
    line.close()
    return said, got


@needs_pty
def test_readings_of_a_busy_line_gather_and_are_never_stamped_before_they_came(tmp_path):
    def talk(line, clock):
        sent = []
        for n in range(200):
            line.write(b"%06d\n" % n)
            sent.append(clock.monotonic_ns())
            time.sleep(0.005)
        return sent

    sent, got = gathered(DroppableLine(tmp_path), talk)
    assert b"".join(data for data, _ in got) == b"".join(b"%06d\n" % n for n in range(200))
    assert len(got) < 80
    stamps = [at for data, at in got for _ in range(data.count(b"\n"))]
    late = [(at - own) / 1e6 for at, own in zip(stamps, sent, strict=True)]
    # A write returns a little after its bytes are there.
    assert min(late) > -2 and sorted(late)[100] < 60


@needs_pty
@pytest.mark.parametrize("after_s", [0.0, 0.003, 0.012, 0.029])
def test_what_gathers_when_the_logger_stops_is_not_lost(tmp_path, after_s):
    def talk(line, clock):
        for n in range(40):
            line.write(b"%06d\n" % n)
            time.sleep(0.005)
        time.sleep(after_s)

    _, got = gathered(DroppableLine(tmp_path), talk)
    assert b"".join(data for data, _ in got).count(b"\n") == 40


@needs_pty
def test_a_line_at_full_speed_never_waits_until_the_port_overflows(tmp_path):
    line_s = 640 / 921_600
    text = [b"%062d\n" % n for n in range(2000)]

    def talk(line, clock):
        began = time.monotonic()
        for n, one in enumerate(text):
            assert line.write(one)
            time.sleep(max(0.0, began + (n + 1) * line_s - time.monotonic()))

    def overflows(place):
        place.mkdir()
        try:
            _, got = gathered(DroppableLine(place), talk, baud=921_600)
        except AssertionError:
            return True
        return b"".join(data for data, _ in got) != b"".join(text)

    # A machine that stalls for 45 ms overflows a real port as well; a logger that waits does so every time.
    assert not all(overflows(tmp_path / str(attempt)) for attempt in range(3))


@needs_pty
def test_a_slow_line_is_read_at_once_also_where_others_gather(tmp_path):
    def talk(line, clock):
        sent = []
        for _ in range(8):
            sent.append(clock.monotonic_ns())
            line.write(b"x\n")
            time.sleep(0.1)
        return sent

    sent, got = gathered(DroppableLine(tmp_path), talk)
    stamps = [at for data, at in got for _ in range(data.count(b"\n"))]
    late = sorted((at - own) / 1e6 for own, at in zip(sent, stamps, strict=True))
    assert late[4] < 15


@needs_pty
def test_a_port_pulled_out_is_a_lost_source(tmp_path):
    line = DroppableLine(tmp_path)

    async def main():
        opened = asyncio.Event()
        port = SerialPort(SerialSource(type="serial", port=str(line.path)), lambda *_: None, SystemClock())
        task = asyncio.create_task(port.run(opened.set))
        await opened.wait()
        line.unplug()
        with pytest.raises(SourceLost):
            await asyncio.wait_for(task, 3)

    run(main())


def test_a_port_that_is_not_there_is_a_lost_source():
    async def main():
        port = SerialPort(SerialSource(type="serial", port="/nowhere/COM99"), lambda *_: None, SystemClock())
        with pytest.raises(SourceLost):
            await port.run(lambda: None)
        odd = SerialPort(SerialSource(type="serial", port="nosuch://x"), lambda *_: None, SystemClock())
        with pytest.raises(SourceLost):
            await odd.run(lambda: None)

    run(main())


def test_a_device_that_speaks_when_asked_is_asked():
    got = []

    async def main():
        source = SerialSource(type="serial", port="loop://", poll="ASK\r", poll_s=0.02)
        task = asyncio.create_task(
            SerialPort(source, lambda data, _: got.append(data), SystemClock()).run(lambda: None)
        )
        await until(lambda: b"".join(got).count(b"ASK\r") >= 3)
        await end(task)

    run(main())
