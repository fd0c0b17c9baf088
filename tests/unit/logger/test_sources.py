import asyncio
import errno
import os
import random
import struct
import sys
import threading
import time
from dataclasses import dataclass

import pytest
import serial
from rig import DroppableLine, run

from config.stations import ModbusSource, RegisterMap, SerialSource, TcpSource
from logger.clock import FastClock, SystemClock
from logger.sources.modbus import Block, ModbusLine, blocks
from logger.sources.serial import SerialPort, find_port
from logger.sources.source import SourceLost, run_in_thread
from logger.sources.tcp import TcpLine
from logger.supervise import StationWatch, Supervisor

needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="no ptys here")


@dataclass
class Info:
    device: str
    serial_number: str | None


async def until(done, seconds=5.0):
    async with asyncio.timeout(seconds):
        while not done():
            await asyncio.sleep(0.005)


async def end(task):
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


# --- serial --------------------------------------------------------------------------------------------------------


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

    _, got = gathered(DroppableLine(tmp_path), talk, baud=921_600)
    assert b"".join(data for data, _ in got) == b"".join(text)


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


# --- TCP -----------------------------------------------------------------------------------------------------------


def test_a_tcp_line_until_the_other_side_closes():
    got = []

    async def main():
        async def serve(reader, writer):
            writer.write(b"1.5\r\n")
            await writer.drain()
            writer.close()

        server = await asyncio.start_server(serve, "127.0.0.1", 0)
        port = server.sockets[0].getsockname()[1]
        line = TcpLine(
            TcpSource(type="tcp", host="127.0.0.1", port=port), lambda data, at: got.append((data, at)), SystemClock()
        )
        with pytest.raises(SourceLost, match="closed"):
            await line.run(lambda: None)
        server.close()
        await server.wait_closed()
        with pytest.raises(SourceLost):
            await line.run(lambda: None)
        assert line.name == f"127.0.0.1:{port}"

    run(main())
    assert b"".join(d for d, _ in got) == b"1.5\r\n"


# --- Modbus --------------------------------------------------------------------------------------------------------


def crc16(data):
    """Modbus over serial line, appendix B: polynomial 0xA001, start 0xFFFF."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return struct.pack("<H", crc)


class Device(threading.Thread):
    """Answers reads of holding (3) and input (4) registers on the far end of a pty."""

    def __init__(self, handle, units):
        super().__init__(daemon=True)
        self.handle, self.units, self.asked = handle, units, []
        self.done = threading.Event()

    def run(self):
        held = b""
        while not self.done.is_set():
            try:
                held += os.read(self.handle, 256)
            except BlockingIOError:
                time.sleep(0.001)
                continue
            except OSError:
                return
            while len(held) >= 8:
                request, held = held[:8], held[8:]
                unit, code, start, count = struct.unpack(">BBHH", request[:6])
                assert crc16(request[:6]) == request[6:]
                self.asked.append((unit, code, start, count))
                words = self.units.get(unit)
                if words is not None:
                    body = struct.pack(">BBB", unit, code, 2 * count)
                    body += b"".join(struct.pack(">H", words.get((code, start + n), 0)) for n in range(count))
                    os.write(self.handle, body + crc16(body))


def modbus(unit, port="x", **more):
    registers = (
        RegisterMap(name="roll", address=10, kind="int16"),
        RegisterMap(name="temp", address=12, kind="uint16"),
        RegisterMap(name="fine", address=100, kind="int32", table="holding"),
    )
    return ModbusSource(
        type="modbus", port=port, unit_address=unit, registers=registers, poll_s=0.02, parity="N", **more
    )


def test_registers_are_asked_for_in_few_requests():
    assert blocks(modbus(1).registers) == [Block("holding", 100, 2), Block("input", 10, 3)]
    far = [RegisterMap(name="a", address=0), RegisterMap(name="b", address=50)]
    assert len(blocks(far)) == 2
    many = [RegisterMap(name=str(n), address=n) for n in range(200)]
    assert [b.count for b in blocks(many)] == [120, 80]


@needs_pty
def test_registers_polled_over_a_line_with_one_dead_device(tmp_path):
    pytest.importorskip("pymodbus")
    line = DroppableLine(tmp_path)
    device = Device(line._master, {1: {(4, 10): 0xFFFF, (4, 12): 21, (3, 100): 0x0001, (3, 101): 0x0002}})
    device.start()
    got, dead = [], []

    async def main():
        port = str(line.path)
        devices = [
            (modbus(1, port), lambda data, _: got.append(data)),
            (modbus(9, port), lambda data, _: dead.append(data)),
        ]
        opened = asyncio.Event()
        task = asyncio.create_task(ModbusLine(devices, SystemClock()).run(opened.set))
        await asyncio.wait_for(opened.wait(), 5)
        await until(lambda: len(got) >= 5, 10)
        await end(task)

    run(main())
    # The thread must be over before its handle is closed and given to somebody else.
    device.done.set()
    device.join()
    assert got[0] == struct.pack(">HHHH", 0xFFFF, 21, 0x0001, 0x0002)
    assert not dead
    assert {(unit, code, start, count) for unit, code, start, count in device.asked if unit == 1} == {
        (1, 3, 100, 2),
        (1, 4, 10, 3),
    }
    line.close()


def test_a_modbus_port_that_is_not_there_is_a_lost_source():
    pytest.importorskip("pymodbus")

    async def main():
        line = ModbusLine([(modbus(1, "/nowhere/COM99"), lambda *_: None)], FastClock(10))
        with pytest.raises(SourceLost):
            await line.run(lambda: None)

    run(main())
