"""What stands in for devices, the record and patience in the tests of the logger."""

import asyncio
import sys
import threading
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from config.plan import Plan
from config.stations import ChannelMap, Station, TcpSource
from logger.archive.writer import Appended, FlushResult
from logger.dialects.nmea import sentence

HEEL = (ChannelMap(quantity="heel", field="HEEL", unit="deg"),)


needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="no ptys here")


async def until(done, seconds=5.0):
    async with asyncio.timeout(seconds):
        while not done():
            await asyncio.sleep(0.005)


async def end(task):
    task.cancel()
    with pytest.raises(asyncio.CancelledError):
        await task


def tcp(port):
    return TcpSource(type="tcp", host="127.0.0.1", port=port)


@dataclass
class MemoryWriter:
    """Stands in for the record; the disk can be made full."""

    rows: list = field(default_factory=list)
    notes: list = field(default_factory=list)
    error: str = ""
    safe: int = 0
    stopped: str = ""
    slow_s: float = 0.0

    def start(self):
        return Path("run-1")

    def append(self, readings):
        first = len(self.rows)
        self.rows += readings
        return Appended(first, len(self.rows))

    def note(self, kind, data):
        self.notes.append((kind, data))

    def flush(self, *, sync=None):
        if not self.error:
            self.safe = len(self.rows)
        return FlushResult(self.safe, self.safe, len(self.rows) - self.safe, 0, self.error)

    def stop(self, reason):
        threading.Event().wait(self.slow_s)
        self.stopped = reason
        return self.flush()


class Devices:
    """Devices that speak NMEA over TCP, on ports of their own."""

    def __init__(self, count, rate_hz=50.0, garbage=False):
        self.count, self.rate, self.garbage = count, rate_hz, garbage
        self.ports, self.sent = [], [0] * count

    async def __aenter__(self):
        self.servers = [
            await asyncio.start_server(lambda r, w, n=n: self.talk(n, w), "127.0.0.1", 0) for n in range(self.count)
        ]
        self.ports = [s.sockets[0].getsockname()[1] for s in self.servers]
        self.talking = set()
        self.silent = set()
        return self

    async def talk(self, number, writer):
        self.talking.add(asyncio.current_task())
        try:
            while True:
                if number not in self.silent:
                    writer.write(sentence(f"HEXDR,A,{self.sent[number]},D,HEEL"))
                    if self.garbage:
                        writer.write(b"\x00\xff garbage\r\n")
                    self.sent[number] += 1
                await asyncio.sleep(1 / self.rate)
        except asyncio.CancelledError:
            return
        finally:
            writer.transport.abort()

    async def __aexit__(self, *what):
        for task in self.talking:
            task.cancel()
        await asyncio.gather(*self.talking, return_exceptions=True)
        for server in self.servers:
            server.close()
            await server.wait_closed()
        # Transports close in the next turn of the loop.
        await asyncio.sleep(0.01)

    def plan(self, **more):
        stations = tuple(
            Station(name=f"s{n}", dialect="nmea", source=tcp(p), channels=HEEL, **more)
            for n, p in enumerate(self.ports)
        )
        return Plan(stations=stations)
