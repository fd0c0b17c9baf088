"""Serial ports and pyserial URLs: one reader thread a port, which takes the time stamps.

With many ports, one on which something comes every 45 ms or oftener is read every 30 ms: 64 stations at 100 Hz would
else wake 64 threads 6400 times a second, which costs most of a core. The stamp is never before the arrival; what the
pause adds to it the repair of times takes away again (docs/method-timing.md).
"""

from __future__ import annotations

import contextlib
import re
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
GATHER_S = 0.03
"""Longest pause in which the readings of a busy line gather, so that a fast station wakes its reader seldom."""
GATHER_BYTES = 1024
"""As many may gather in it, by the line's baud rate and by what came last: a quarter of what a driver holds."""
SHORTEST_S = 0.002
"""A shorter pause saves nothing."""

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
    """One serial port, read for as long as it lasts.

    Parameters
    ----------
    gather_s : wall time for which the readings of a busy line may gather before they are read; 0: read as they come.
        What has gathered is lost if the port vanishes: the system throws it away.
    """

    def __init__(
        self,
        source: SerialSource,
        sink: Sink,
        clock: Clock,
        ports: Callable[[], Iterable[PortInfo]] = system_ports,
        *,
        gather_s: float = 0.0,
    ) -> None:
        self._gather_s = gather_s
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
        due = before = wall_s()
        # What was asked for comes one by one, and the next question must not wait.
        longest = 0.0 if poll else min(self._gather_s / self._clock.speed, GATHER_BYTES * 10.0 / self._source.baud)
        pause = 0.0
        try:
            opened()
            while not stop.is_set():
                if poll and wall_s() >= due:
                    port.write(poll)
                    due = max(due + every, wall_s())
                taken = (pause and self._take_waiting(port)) or self._take_next(port)
                if not taken:
                    pause = 0.0
                    continue
                now = wall_s()
                lasted, before = now - before, now
                pause = min(longest, GATHER_BYTES * lasted / taken) if lasted < 1.5 * longest else 0.0
                if pause < SHORTEST_S:
                    pause = 0.0
                else:
                    stop.wait(pause)
            self._take_waiting(port)
        except PORT_FAULTS as error:
            if not stop.is_set():
                raise SourceLost(plain(error)) from error
        finally:
            # A port that was pulled out cannot be closed in order; the system has let it go already.
            with contextlib.suppress(*PORT_FAULTS):
                port.close()

    def _take_next(self, port: serial.Serial) -> int:
        """Wait for a byte; hand it on with all that came with it, under its moment. How many bytes that were."""
        data = port.read(1)
        if not data:
            return 0
        at = self._clock.monotonic_ns()
        try:
            if more := port.in_waiting:
                data += port.read(more)
        finally:
            # Also where the port has vanished meanwhile.
            self._sink(data, at)
        return len(data)

    def _take_waiting(self, port: serial.Serial) -> int:
        """Hand on what gathered in a pause, under the moment of its end: it had come by then."""
        waiting = port.in_waiting
        if not waiting:
            return 0
        at = self._clock.monotonic_ns()
        self._sink(port.read(waiting), at)
        return waiting


def plain(error: Exception) -> str:
    """One line of what a library says went wrong, each thing once.

    >>> plain(OSError("[Errno 2] could not open port X: [Errno 2] No such file or directory: 'X'"))
    'could not open port X: No such file or directory'
    """
    text = " ".join(str(error).split()) or type(error).__name__
    if text.count("[Errno") > 1:
        text = re.sub(r"\[Errno -?\d+\] ", "", text)
    said, _, name = text.rpartition(": '")
    return (said if name.rstrip("'") in said else text)[:200]
