"""Serial adapters that come and go: found again by their USB serial number, pulled out, refused."""

import asyncio
import errno
import random
import sys
import time
from dataclasses import dataclass

import pytest
import serial
from doubles import end, needs_pty, until
from rig import DroppableLine, run

from config.stations import SerialSource
from logger.clock import SystemClock
from logger.sources.serial import SerialPort, find_port
from logger.sources.source import SourceLost, run_in_thread
from logger.supervise import StationWatch, Supervisor


@dataclass
class Info:
    device: str
    serial_number: str | None


def test_an_adapter_is_found_again_by_its_usb_serial_number():
    ports = [Info("COM3", None), Info("COM7", "A9X"), Info("COM8", "B1")]
    assert find_port("COM4", "", []) == "COM4"
    assert find_port("COM4", "A9X", ports) == "COM7"
    with pytest.raises(SourceLost, match="A9X is plugged in"):
        find_port("COM4", "A9X", ports[:1])
    assert find_port("COM4", "a9x", ports) == "COM7"


def test_adapters_that_share_a_serial_number_are_told_apart_by_their_port_or_not_at_all():
    ports = [Info("COM7", "0001"), Info("COM8", "0001"), Info("COM9", ""), Info("COM3", None)]
    assert find_port("COM8", "0001", ports) == "COM8"
    with pytest.raises(SourceLost, match="is that of COM7, COM8; put the right one as port"):
        find_port("COM4", "0001", ports)
    # One without a number is never taken for one that has none to name.
    assert find_port("COM4", "", ports) == "COM4"
    with pytest.raises(SourceLost, match="no adapter"):
        find_port("COM9", "0002", ports)


@needs_pty
def test_replugged_under_another_name_it_is_read_again(tmp_path):
    first = DroppableLine(tmp_path, "ttyA")
    plugged = [Info(str(first.path), "A9X")]
    got = []

    async def main():
        source = SerialSource(type="serial", port="/gone/ttyOLD", usb_serial="A9X")
        port = SerialPort(source, lambda data, _: got.append(data), SystemClock(), ports=lambda: plugged)
        opened = asyncio.Event()
        task = asyncio.create_task(port.run(opened.set))
        await opened.wait()
        first.write(b"one\n")
        await until(lambda: b"one\n" in b"".join(got))
        first.unplug()
        plugged.clear()
        with pytest.raises(SourceLost):
            await task
        with pytest.raises(SourceLost, match="A9X"):
            await port.run(lambda: None)
        second = DroppableLine(tmp_path, "ttyB")
        plugged.append(Info(str(second.path), "A9X"))
        opened.clear()
        task = asyncio.create_task(port.run(opened.set))
        await opened.wait()
        assert port.name.endswith("ttyB")
        second.write(b"two\n")
        await until(lambda: b"two\n" in b"".join(got))
        await end(task)
        second.close()

    run(main())


class Pulled:
    """Stands in for a pyserial port that gives one line and vanishes in some way of its own."""

    def __init__(self, vanish, opening=None, closing=None):
        self.vanish, self.opening, self.closing = vanish, opening, closing
        self.given = False

    def open(self):
        if self.opening is not None:
            raise self.opening

    @property
    def in_waiting(self):
        if self.given:
            raise self.vanish
        return 4

    def read(self, count):
        self.given = True
        return b"1.5\n"

    def close(self):
        if self.closing is not None:
            raise self.closing


def ways_to_vanish():
    """What pyserial was seen to raise, by its own code, where an adapter is pulled out."""
    ways = [
        serial.SerialException("device reports readiness to read but returned no data (device disconnected?)"),
        serial.SerialException(
            "ClearCommError failed (PermissionError(13, 'The device does not recognize', None, 22))"
        ),
        serial.PortNotOpenError(),
        OSError(errno.EIO, "Input/output error"),
        OSError(errno.ENXIO, "Device not configured"),
        OSError(errno.ENODEV, "No such device"),
        PermissionError(errno.EACCES, "Access is denied"),
        TypeError("'NoneType' object cannot be interpreted as an integer"),
        AttributeError("'NoneType' object has no attribute 'hEvent'"),
        ValueError("file descriptor cannot be a negative integer (-1)"),
    ]
    if sys.platform != "win32":
        import termios

        ways.append(termios.error(errno.EIO, "Input/output error"))
    return ways


@pytest.mark.parametrize("fault", ways_to_vanish(), ids=lambda fault: f"{type(fault).__name__} {fault}"[:40])
@pytest.mark.parametrize("where", ["reading", "opening", "closing"])
def test_however_an_adapter_vanishes_it_is_a_lost_source(monkeypatch, fault, where):
    got = []
    pulled = Pulled(
        fault if where == "reading" else serial.SerialException("gone"),
        opening=fault if where == "opening" else None,
        closing=fault if where == "closing" else None,
    )
    monkeypatch.setattr(serial, "serial_for_url", lambda *_, **__: pulled)

    async def main():
        port = SerialPort(SerialSource(type="serial", port="COM4"), lambda data, _: got.append(data), SystemClock())
        with pytest.raises(SourceLost):
            await port.run(lambda: None)

    run(main())
    assert got == ([] if where == "opening" else [b"1.5\n"])


def test_a_list_of_ports_that_cannot_be_made_is_a_lost_source():
    def ports():
        raise OSError(errno.ENODEV, "an adapter vanished while the list was made")

    async def main():
        source = SerialSource(type="serial", port="COM4", usb_serial="A9X")
        with pytest.raises(SourceLost, match="vanished"):
            await SerialPort(source, lambda *_: None, SystemClock(), ports=ports).run(lambda: None)

    run(main())


@needs_pty
def test_a_port_that_somebody_reads_already_is_not_read_twice(tmp_path):
    line = DroppableLine(tmp_path)

    async def main():
        opened = asyncio.Event()
        source = SerialSource(type="serial", port=str(line.path))
        task = asyncio.create_task(SerialPort(source, lambda *_: None, SystemClock()).run(opened.set))
        await opened.wait()
        with pytest.raises(SourceLost, match="lock"):
            await SerialPort(source, lambda *_: None, SystemClock()).run(lambda: None)
        await end(task)

    run(main())
    line.close()


@needs_pty
def test_replugged_with_access_denied_for_its_first_second_it_is_read_again_by_itself(tmp_path, monkeypatch):
    """The whole way: supervised, pulled out in the midst of a line, back under another name, opened by udev later."""
    first = DroppableLine(tmp_path, "ttyUSB0")
    plugged = [Info(str(first.path), "A9X"), Info("/dev/ttyOTHER", "B1"), Info("/dev/ttyNONE", None)]
    got, said, denied = [], [], []
    true_open = serial.Serial.open

    def open_port(port):
        if denied and time.monotonic() < denied[0]:
            raise serial.SerialException(errno.EACCES, f"could not open port {port.port}: Permission denied")
        true_open(port)

    monkeypatch.setattr(serial.Serial, "open", open_port)

    async def main():
        clock = SystemClock()
        source = SerialSource(type="serial", port="/gone/ttyOLD", usb_serial="A9X")
        port = SerialPort(source, lambda data, _: got.append(data), clock, ports=lambda: plugged)
        watch = StationWatch("aft", lambda: port.name, 2.0, clock, lambda *what: said.append(what[2]))
        supervisor = Supervisor(port, [watch], clock, random.Random(3), lambda *what: said.append(what[2]))
        task = asyncio.create_task(supervisor.run())
        await until(lambda: supervisor.times_opened == 1)
        first.write(b"one\nhal")
        await until(lambda: b"hal" in b"".join(got))
        first.unplug()
        plugged.clear()
        await until(lambda: any("A9X is plugged in" in text for text in said))
        second = DroppableLine(tmp_path, "ttyUSB3")
        back = time.monotonic() + 1.0
        denied.append(back)
        plugged.append(Info(str(second.path), "A9X"))
        await until(lambda: supervisor.times_opened == 2)
        assert time.monotonic() - back < 2.0
        assert any("Permission denied" in text for text in said)
        assert port.name.endswith("ttyUSB3")
        second.write(b"two\n")
        await until(lambda: b"two\n" in b"".join(got))
        await end(task)
        second.close()

    run(main())


def test_what_a_reader_raises_comes_out_on_the_loop():
    def broken(stop, opened):
        raise SourceLost("no")

    async def main():
        with pytest.raises(SourceLost, match="no"):
            await run_in_thread("x", broken, lambda: None)

    run(main())
