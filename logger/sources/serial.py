"""Serial ports and pyserial URLs: one reader thread a port, which takes the time stamps."""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterable
from typing import Protocol

import serial
from serial.tools import list_ports

from config.stations import SerialSource
from logger.clock import Clock
from logger.sources.source import Sink, SourceLost, run_in_thread

LOOK_S = 0.2
"""How often a reader with nothing to read looks whether it should stop."""


class PortInfo(Protocol):
    """What is needed of a port in the system's list."""

    device: str
    serial_number: str | None


def find_port(port: str, usb_serial: str, ports: Iterable[PortInfo]) -> str:
    """Name under which an adapter is plugged in now.

    Returns
    -------
    The name of the port whose USB serial number is ``usb_serial``; ``port`` where that is empty.

    Raises
    ------
    SourceLost where no such adapter is plugged in.
    """
    if not usb_serial:
        return port
    known = list(ports)
    for info in known:
        if info.serial_number == usb_serial:
            return info.device
    raise SourceLost(f"no adapter with USB serial number {usb_serial} is plugged in ({len(known)} ports seen)")


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
        self._port_now = find_port(source.port, source.usb_serial, self._ports() if source.usb_serial else ())
        wait = min(LOOK_S, source.poll_s) if source.poll else LOOK_S
        try:
            port = serial.serial_for_url(self._port_now, do_not_open=True)
            port.baudrate, port.bytesize = source.baud, source.bytesize
            port.parity, port.stopbits, port.timeout = source.parity, source.stopbits, wait
            port.write_timeout = 1.0
            port.open()
        except (OSError, ValueError) as error:
            raise SourceLost(_plain(error)) from error
        return port

    def _read(self, stop: threading.Event, opened: Callable[[], None]) -> None:
        port = self._open()
        poll = self._source.poll.encode("latin-1", "replace")
        every = self._source.poll_s / self._clock.speed
        due = time.monotonic()
        try:
            opened()
            sink, now = self._sink, self._clock.monotonic_ns
            while not stop.is_set():
                if poll and time.monotonic() >= due:
                    port.write(poll)
                    due = max(due + every, time.monotonic())
                waiting = port.in_waiting
                data = port.read(waiting or 1)
                if not data:
                    continue
                at = now()
                if not waiting and (more := port.in_waiting):
                    # Woken by the first byte of a burst: take the rest along, under the stamp of the first.
                    data += port.read(more)
                sink(data, at)
        except (OSError, TypeError, AttributeError) as error:
            # pyserial raises TypeError or AttributeError where a port vanishes between two of its own calls.
            if not stop.is_set():
                raise SourceLost(_plain(error)) from error
        finally:
            # A port that was pulled out cannot be closed in order; the system has let it go already.
            with contextlib.suppress(OSError):
                port.close()


def _plain(error: Exception) -> str:
    text = " ".join(str(error).split()) or type(error).__name__
    return text[:200]
