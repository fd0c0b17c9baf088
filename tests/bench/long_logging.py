"""The whole logger over sockets for as many rows as a day of 18 hours has: is its memory flat?

    python tests/bench/long_logging.py [--rows 38900000] [--rate 60000]

Six stations speak NMEA over TCP from another process, as fast as ``--rate`` lines a second in all (100 times life for
6 x 100 Hz); a tenth of the lines is garbage, so that what keeps garbage is under load too. Prints one table; exit code
1 where a bar is missed.
"""

from __future__ import annotations

import argparse
import asyncio
import multiprocessing
import os
import socket
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from memory import resident_mb

from config.plan import Plan
from config.stations import ChannelMap, Station, TcpSource
from logger.dialects.nmea import sentence
from logger.service import recording, run_logger

STATIONS = 6
FLATNESS_MB = 40.0
LARGEST_MB = 250.0


def feed(ports, rows: int, rate: float) -> None:
    """Serve so many sentences, shared out evenly."""
    servers = [socket.create_server(("127.0.0.1", 0)) for _ in range(STATIONS)]
    ports.extend([server.getsockname()[1] for server in servers])
    peers = [server.accept()[0] for server in servers]
    lines = [sentence(f"HEXDR,A,{n / 300:.3f},D,HEEL") for n in range(-450, 450)]
    blocks = [b"".join(lines[at : at + 90]) + b"no sentence at all\r\n" * 9 for at in range(0, 900, 90)]
    sent, began, turn = 0, time.monotonic(), 0
    while sent < rows:
        for peer in peers:
            peer.sendall(blocks[turn % 10])
        sent += 90 * STATIONS
        turn += 1
        time.sleep(max(0.0, began + sent / rate - time.monotonic()))
    for peer in peers:
        peer.close()
    os._exit(0)


async def log(rows: int, rate: float) -> dict[str, float]:
    """Log them all; memory is looked at every half second."""
    ports = multiprocessing.Manager().list()
    feeder = multiprocessing.Process(target=feed, args=(ports, rows, rate), daemon=True)
    feeder.start()
    while len(ports) < STATIONS:
        await asyncio.sleep(0.05)
    stations = tuple(
        Station(
            name=f"s{n}",
            dialect="nmea",
            source=TcpSource(type="tcp", host="127.0.0.1", port=port),
            channels=(ChannelMap(quantity="heel", field="HEEL", unit="deg"),),
        )
        for n, port in enumerate(ports)
    )
    memory: list[float] = []
    with tempfile.TemporaryDirectory() as folder:
        began = time.monotonic()
        async with recording(Plan(stations=stations), Path(folder)) as run:
            while feeder.is_alive():
                await asyncio.sleep(0.5)
                memory.append(resident_mb())
                print(f"\r{run.now().rows:>12,} rows, {memory[-1]:.0f} MB", end="", file=sys.stderr, flush=True)
            await asyncio.sleep(1)
            now = run.now()
            elapsed = time.monotonic() - began
        print(file=sys.stderr)
        size = sum(file.stat().st_size for file in Path(folder).rglob("*.parquet")) / 1e6
    # The first fifth warms up: code, pools and the first sealed segment.
    steady = memory[len(memory) // 5 :]
    half = len(steady) // 2
    return {
        "rows": now.rows,
        "bytes dropped": sum(s.queue.dropped_bytes for s in now.stations if s.queue),
        "pieces of garbage": sum(s.no_readings for s in now.stations),
        "rows a second": now.rows / elapsed,
        "resident, largest, MB": max(memory),
        "resident, median of the first half, MB": float(np.median(steady[:half])),
        "resident, median of the second half, MB": float(np.median(steady[half:])),
        "sealed, MB": size,
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=38_900_000)
    parser.add_argument("--rate", type=float, default=60_000)
    options = parser.parse_args()
    found = run_logger(log(options.rows, options.rate))
    for what, figure in found.items():
        print(f"{what:<44}{figure:>16,.1f}")
    growth = found["resident, median of the second half, MB"] - found["resident, median of the first half, MB"]
    good = growth <= FLATNESS_MB and found["resident, largest, MB"] <= LARGEST_MB
    print(f"{'flat and under 250 MB':<44}{'holds' if good else 'MISSED':>16}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
