"""Registers polled over a serial line."""

import asyncio
import os
import struct
import threading
import time

import pytest
from doubles import end, needs_pty, until
from rig import DroppableLine, run

from config.stations import ModbusSource, RegisterMap
from logger.clock import FastClock, SystemClock
from logger.sources.modbus import Block, ModbusLine, blocks
from logger.sources.source import SourceLost


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
