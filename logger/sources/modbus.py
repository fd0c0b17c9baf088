"""Modbus RTU: registers polled over one serial line, several devices on it one after the other.

A frame is the registers of the plan's map in its order, each as two bytes big-endian. A device that does not answer is
asked less often, so that it does not hold up the others on the line.
"""

from __future__ import annotations

import contextlib
import logging
import struct
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from config.stations import ModbusSource, RegisterMap
from logger.clock import Clock, wall_s
from logger.dialects.registers import width
from logger.sources.serial import PORT_FAULTS, PortInfo, find_port, plain, system_ports
from logger.sources.source import Sink, SourceLost, run_in_thread

ANSWER_S = 0.3
"""How long a device may take to answer."""
MOST_REGISTERS = 120
"""In one request; the protocol allows 125 (Modbus application protocol 6.3, from memory)."""
WIDEST_GAP = 8
"""Registers nobody wants that are read along rather than asking twice."""


_library = logging.getLogger("pymodbus.logging")
_library.addHandler(logging.NullHandler())
_library.propagate = False
"""A device that does not answer is said by its station's watch; the library's own lines would double it."""


@dataclass(frozen=True)
class Block:
    """Registers asked for in one request."""

    table: str
    address: int
    count: int


def blocks(registers: Sequence[RegisterMap]) -> list[Block]:
    """Gather a map into as few requests as is sensible.

    >>> blocks([RegisterMap(name="roll", address=1), RegisterMap(name="temp", address=4, kind="int32")])
    [Block(table='input', address=1, count=5)]
    """
    found: list[Block] = []
    for register in sorted(registers, key=lambda r: (r.table, r.address)):
        end = register.address + width(register)
        last = found[-1] if found else None
        if last and last.table == register.table and register.address <= last.address + last.count + WIDEST_GAP:
            count = max(last.count, end - last.address)
            if count <= MOST_REGISTERS:
                found[-1] = Block(last.table, last.address, count)
                continue
        found.append(Block(register.table, register.address, end - register.address))
    return found


@dataclass
class _Device:
    source: ModbusSource
    sink: Sink
    due: float = 0.0
    failures: int = 0
    requests: list[Block] = field(default_factory=list)


class ModbusLine:
    """One serial line with the devices on it.

    Parameters
    ----------
    devices : source and sink of each station on the line; line settings are those of the first.
    """

    def __init__(
        self,
        devices: Sequence[tuple[ModbusSource, Sink]],
        clock: Clock,
        ports: Callable[[], Iterable[PortInfo]] = system_ports,
    ) -> None:
        self._devices = [_Device(source, sink, requests=blocks(source.registers)) for source, sink in devices]
        self._line = devices[0][0]
        self._clock = clock
        self._ports = ports
        self._port_now = self._line.port

    @property
    def name(self) -> str:
        """The port's name."""
        return self._port_now

    async def run(self, opened: Callable[[], None]) -> None:
        """See `logger.sources.source.Source`."""
        await run_in_thread(f"modbus {self._line.port}", self._poll, opened)

    def _poll(self, stop: threading.Event, opened: Callable[[], None]) -> None:
        try:
            from pymodbus.client import ModbusSerialClient
        except ImportError:
            raise SourceLost("Modbus needs the extra: pip install 'quietheel[modbus]'") from None
        line = self._line
        try:
            self._port_now = find_port(line.port, line.usb_serial, self._ports() if line.usb_serial else ())
        except PORT_FAULTS as error:
            raise SourceLost(plain(error)) from error
        client = ModbusSerialClient(
            self._port_now,
            baudrate=line.baud,
            parity=line.parity,
            stopbits=line.stopbits,
            timeout=ANSWER_S,
            retries=0,
        )
        try:
            if not client.connect():
                raise SourceLost(f"{self._port_now} cannot be opened with these settings")
            opened()
            while not stop.is_set():
                due = min(self._devices, key=lambda device: device.due)
                wait = due.due - wall_s()
                if wait > 0:
                    stop.wait(min(wait, 0.2))
                    continue
                self._ask(client, due)
        except PORT_FAULTS as error:
            raise SourceLost(plain(error)) from error
        finally:
            with contextlib.suppress(*PORT_FAULTS):
                client.close()  # type: ignore[no-untyped-call]

    def _ask(self, client: object, device: _Device) -> None:
        every = device.source.poll_s / self._clock.speed
        began = wall_s()
        found = self._read(client, device)
        if found is None:
            device.failures += 1
            device.due = wall_s() + min(1.0, every * 2 ** min(device.failures, 10))
            return
        device.failures = 0
        device.sink(found, self._clock.monotonic_ns())
        device.due = max(device.due + every, began)

    def _read(self, client: object, device: _Device) -> bytes | None:
        from pymodbus.exceptions import ConnectionException, ModbusException

        words: dict[tuple[str, int], int] = {}
        for block in device.requests:
            ask = getattr(client, f"read_{block.table}_registers")
            try:
                answer = ask(block.address, count=block.count, device_id=device.source.unit_address)
            except ConnectionException as error:
                raise SourceLost(str(error)[:200]) from error
            except ModbusException:
                return None
            if answer.isError() or len(answer.registers) != block.count:
                return None
            for offset, word in enumerate(answer.registers):
                words[block.table, block.address + offset] = word
        return b"".join(
            struct.pack(">H", words[register.table, register.address + offset])
            for register in device.source.registers
            for offset in range(width(register))
        )
