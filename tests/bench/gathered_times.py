"""Twelve serial lines at 1 to 200 Hz through the whole logger, whose readers let busy lines gather: times after repair.

    python tests/bench/gathered_times.py [--seconds 70]

Needs ptys. Prints one line a station: error of the repaired times against the moments of sending, less the median.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import tempfile
import threading
import time
from pathlib import Path

import numpy as np
from throughput import HEEL, Pair

from config.plan import Plan
from config.stations import SerialSource, Station
from logger.archive.reader import read_with_timing
from logger.dialects.nmea import sentence
from logger.service import recording, run_logger

RATES_HZ = (1.0, 5.0, 10.0, 20.0, 25.0, 33.3, 50.0, 50.0, 100.0, 100.0, 200.0, 200.0)


class Device(threading.Thread):
    """Sends at its rate, and knows when."""

    def __init__(self, number: int, stop: threading.Event) -> None:
        super().__init__()
        self.pair, self.rate_hz, self.stop = Pair(), RATES_HZ[number], stop
        self.sent: list[float] = []
        self.due = 0.0137 * number

    def run(self) -> None:
        self.due += time.time()
        while not self.stop.is_set():
            self.due += 1.0 / self.rate_hz
            time.sleep(max(0.0, self.due - time.time()))
            self.sent.append(self.due)
            os.write(self.pair.master, sentence(f"HEXDR,A,{len(self.sent) % 9000 / 100:.2f},D,HEEL"))


async def record(folder: Path, devices: list[Device], seconds: float) -> None:
    stations = [
        Station(
            name=f"s{number:02d}",
            dialect="nmea",
            source=SerialSource(type="serial", port=device.pair.path, baud=115_200),
            channels=HEEL,
        )
        for number, device in enumerate(devices)
    ]
    async with recording(Plan(stations=stations), folder) as run:
        while not all(one.times_opened for one in run.supervisors):
            await asyncio.sleep(0.05)
        for device in devices:
            device.start()
        await asyncio.sleep(seconds)
        devices[0].stop.set()
        for device in devices:
            await asyncio.to_thread(device.join)
        await asyncio.sleep(0.3)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=70.0)
    seconds = parser.parse_args().seconds
    stop = threading.Event()
    devices = [Device(number, stop) for number in range(len(RATES_HZ))]
    with tempfile.TemporaryDirectory() as folder:
        run_logger(record(Path(folder), devices, seconds))
        for device, (series, timing) in zip(devices, read_with_timing(Path(folder) / "record"), strict=True):
            device.pair.close()
            told = f"{device.rate_hz:5g} Hz: {len(series)} of {len(device.sent)}, {timing[0].way}"
            if len(series) == len(device.sent):
                error = (series.time_ns / 1e9 - np.array(device.sent)) * 1e3
                error -= np.median(error)
                told += f" at {timing[0].rate_hz:.4f} Hz, worst error {np.abs(error).max():.2f} ms"
            print(told)


if __name__ == "__main__":
    main()
