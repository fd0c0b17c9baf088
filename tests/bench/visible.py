"""From arrival to visible: how long until a reading can be seen in the live state, and by others in the journal?

    python tests/bench/visible.py [--seconds 20]

Six stations speak at 50 Hz over TCP. Prints one table; exit code 1 where 99 % under 1 s is missed.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
from collections import deque
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from config.plan import Plan
from config.stations import ChannelMap, Station, TcpSource
from logger.archive.writer import Appended, FlushResult, RunWriter
from logger.clock import SystemClock
from logger.dialects.nmea import sentence
from logger.records import Reading
from logger.service import recording, run_logger

STATIONS, RATE_HZ = 6, 50.0


class Watched(RunWriter):
    """The run's writer, timed."""

    waiting: deque[tuple[int, int]]
    handed: list[float]
    visible: list[float]

    def append(self, readings: Sequence[Reading]) -> Appended:
        done = super().append(readings)
        now = self.clock.utc_ns()
        self.handed += [(now - reading.host_ns) / 1e9 for reading in readings]
        self.waiting.extend((done.first + n, reading.host_ns) for n, reading in enumerate(readings))
        return done

    def flush(self, *, sync: bool | None = None) -> FlushResult:
        result = super().flush(sync=sync)
        now = self.clock.utc_ns()
        while self.waiting and self.waiting[0][0] < result.visible_rows:
            self.visible.append((now - self.waiting.popleft()[1]) / 1e9)
        return result


async def talk(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    try:
        while True:
            writer.write(sentence("HEXDR,A,1.25,D,HEEL"))
            await asyncio.sleep(1 / RATE_HZ)
    except asyncio.CancelledError:
        writer.transport.abort()


async def measure(seconds: float) -> Watched:
    """Log for so long."""
    clock = SystemClock()
    servers = [await asyncio.start_server(talk, "127.0.0.1", 0) for _ in range(STATIONS)]
    stations = tuple(
        Station(
            name=f"s{n}",
            dialect="nmea",
            source=TcpSource(type="tcp", host="127.0.0.1", port=server.sockets[0].getsockname()[1]),
            channels=(ChannelMap(quantity="heel", field="HEEL"),),
        )
        for n, server in enumerate(servers)
    )
    plan = Plan(stations=stations)
    with tempfile.TemporaryDirectory() as folder:
        from logger.wiring import Line

        channels = [channel for s in stations for channel in Line(s, plan.broker).intake.channels]
        writer = Watched(Path(folder) / "record", channels, "", clock)
        writer.waiting, writer.handed, writer.visible = deque(), [], []
        async with recording(plan, Path(folder), clock=clock, writer=writer):
            await asyncio.sleep(seconds)
    for server in servers:
        server.close()
    return writer


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    writer = run_logger(measure(parser.parse_args().seconds))
    good = True
    for what, delays in (("live state", writer.handed), ("journal", writer.visible)):
        middle, most, worst = np.quantile(delays, [0.5, 0.99, 1.0])
        good = good and most < 1.0
        print(f"{what:<12} median {middle:6.3f} s   99 % {most:6.3f} s   worst {worst:6.3f} s   of {len(delays):,}")
    print("99 % under 1 s:", "holds" if good else "MISSED")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
