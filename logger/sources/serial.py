"""Serial ports and pyserial URLs: one reader thread a port, which takes the time stamps."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable, Iterable
from typing import Protocol

import serial
from serial.tools import list_ports

from config.stations import SerialSource
from logger.clock import Clock, wall_s
from logger.sources.source import Sink, SourceLost, run_in_thread

LOOK_S = 0.2
"""How often a reader with nothing to read looks whether it should stop."""


PORT_FAULTS: tuple[type[Exception], ...] = (OSError, ValueError, TypeError, AttributeError)
"""What pyserial raises where a port cannot be used or has vanished between two of its own calls."""
with contextlib.suppress(ImportError):  # POSIX only, and not an OSError
    import termios

    PORT_FAULTS = (*PORT_FAULTS, termios.error)


class PortInfo(Protocol):
    """What is needed of a port in the system's list."""

    device: str
    serial_number: str | None


def find_port(port: str, usb_serial: str, ports: Iterable[PortInfo]) -> str:
    """Name under which an adapter is plugged in now.

    Returns
    -------
    The name of the port whose USB serial number is ``usb_serial``; ``port`` where that is empty, or where several
    ports have that number (one adapter with many ports, cheap ones that all say the same) and it is among them.

    Raises
    ------
    SourceLost where no such adapter is plugged in, or several are and none of them is ``port``: a guess could record
    one station under the name of another.
    """
    if not usb_serial:
        return port
    known = list(ports)
    # Windows writes serial numbers in capitals.
    wanted = usb_serial.casefold()
    found = [info.device for info in known if (info.serial_number or "").casefold() == wanted]
    if not found:
        raise SourceLost(f"no adapter with USB serial number {usb_serial} is plugged in ({len(known)} ports seen)")
    if len(found) > 1 and port not in found:
        names = ", ".join(sorted(found))
        raise SourceLost(f"USB serial number {usb_serial} is that of {names}; put the right one as port into the plan")
    return port if port in found else found[0]


def system_ports() -> list[PortInfo]:
    """Ports the system knows now."""
    return list(list_ports.comports())


class SerialPort:
    """One serial port, read for as long as it lasts."""

    def __init__(
        self, source: SerialSource, sink: Sink, clock: Clock, ports: Callable[[], Iterable[PortInfo]] = system_ports
    ) -> None:
        self._source = source
        self._sink = sink
        self._clock = clock
        self._ports = ports
        self._port_now = source.port

    @property
    def name(self) -> str:
        """The port's name; after replugging, the new one."""
        return self._port_now

    async def run(self, opened: Callable[[], None]) -> None:
        """See `logger.sources.source.Source`."""
        await run_in_thread(f"serial {self._source.port}", self._read, opened)

    def _open(self) -> serial.Serial:
        source = self._source
        wait = min(LOOK_S, source.poll_s) if source.poll else LOOK_S
        try:
            self._port_now = find_port(source.port, source.usb_serial, self._ports() if source.usb_serial else ())
            port = serial.serial_for_url(self._port_now, do_not_open=True)
            port.baudrate, port.bytesize = source.baud, source.bytesize
            port.parity, port.stopbits, port.timeout = source.parity, source.stopbits, wait
            port.write_timeout = 1.0
            # Two readers of one port would each get half of it, and neither would notice.
            port.exclusive = True
            port.open()
        except PORT_FAULTS as error:
            raise SourceLost(plain(error)) from error
        return port

    def _read(self, stop: threading.Event, opened: Callable[[], None]) -> None:
        port = self._open()
        poll = self._source.poll.encode("latin-1", "replace")
        every = self._source.poll_s / self._clock.speed
        due = wall_s()
        try:
            opened()
            sink, now = self._sink, self._clock.monotonic_ns
            while not stop.is_set():
                if poll and wall_s() >= due:
                    port.write(poll)
                    due = max(due + every, wall_s())
                data = port.read(1)
                if not data:
                    continue
                at = now()
                try:
                    # The rest of the burst goes along, under the stamp of its first byte.
                    if more := port.in_waiting:
                        data += port.read(more)
                finally:
                    # Also where the port has vanished meanwhile.
                    sink(data, at)
        except PORT_FAULTS as error:
            if not stop.is_set():
                raise SourceLost(plain(error)) from error
        finally:
            # A port that was pulled out cannot be closed in order; the system has let it go already.
            with contextlib.suppress(*PORT_FAULTS):
                port.close()


def plain(error: Exception) -> str:
    """One line of what a library says went wrong."""
    text = " ".join(str(error).split()) or type(error).__name__
    return text[:200]
