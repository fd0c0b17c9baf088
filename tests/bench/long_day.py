"""Write 18 hours of 6 stations at 100 Hz (38.9 M rows) as fast as the archive takes them; memory must stay flat.

    python tests/bench/long_day.py FOLDER [--hours 18] [--device-time]

Prints rows a second, resident memory hour by hour and bytes a row; leaves FOLDER/record for `read_day.py`.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from memory import peak_mb, resident_mb

from logger.archive.writer import RunWriter
from logger.records import Channel, Flag, Quantity, Reading

START = 1_778_743_800_000_000_000
STATIONS = ("aft", "amidships", "forward", "bridge", "port rail", "starboard rail")
RATE = 100


class SimulatedClock:
    """Stands at the simulated second."""

    def __init__(self) -> None:
        self.now = START

    def utc_ns(self) -> int:
        """Simulated UTC."""
        return self.now


def second(number: int, rng: np.random.Generator, words: list[str], device_time: bool) -> list[Reading]:
    """All readings of one second in order of arrival, heel with a slow roll, arrivals up to some ms late."""
    at = number + np.arange(RATE) / RATE
    readings = []
    for place, station in enumerate(STATIONS):
        code = np.rint(1000 * (1.2 * np.sin(2 * np.pi * at / 8.0) + 0.3)).astype(int) + rng.integers(-4, 5, RATE)
        sample = START + (at * 1e9).astype(np.int64) + place * 1_000_000
        arrival = sample + (rng.exponential(2e6, RATE)).astype(np.int64)
        rows = zip(np.maximum.accumulate(arrival).tolist(), sample.tolist(), code.tolist(), strict=True)
        readings += [
            Reading(
                station,
                Quantity.HEEL,
                a,
                s if device_time else None,
                c / 1000,
                words[c + 3000],
                Flag.NONE,
                number * RATE + n,
            )
            for n, (a, s, c) in enumerate(rows)
        ]
    readings.sort(key=lambda reading: reading.host_ns)
    return readings


def run(folder: Path, hours: float, device_time: bool) -> dict[str, object]:
    """Write the day; returns the figures."""
    rng = np.random.default_rng(5)
    words = [f"{code / 1000:.3f} deg" for code in range(-3000, 3001)]
    clock = SimulatedClock()
    channels = [Channel(station, Quantity.HEEL, "deg", f"mqtt:pier/{station}") for station in STATIONS]
    writer = RunWriter(folder / "record", channels, "0" * 64, clock)
    writer.start()
    begun = time.perf_counter()
    memory = []
    for number in range(int(hours * 3600)):
        clock.now = START + number * 1_000_000_000
        writer.append(second(number, rng, words, device_time))
        result = writer.flush()
        if result.error:
            raise SystemExit(result.error)
        if number % 3600 == 3599 or number == 599:
            memory.append(round(resident_mb(), 1))
            print(f"{(number + 1) / 3600:5.2f} h  {result.visible_rows:>10} rows  {memory[-1]:6.1f} MB", flush=True)
    stopped = writer.stop("end of the day")
    taken = time.perf_counter() - begun
    size = sum(path.stat().st_size for path in writer.folder.glob("*.parquet"))
    return {
        "rows": stopped.safe_rows,
        "seconds": round(taken, 1),
        "rows_per_s": round(stopped.safe_rows / taken),
        "resident_mb_by_hour": memory,
        "peak_mb": round(peak_mb(), 1),
        "sealed_mb": round(size / 1e6, 1),
        "bytes_a_row": round(size / max(1, stopped.safe_rows), 2),
        "bar": "flat and under 250 MB",
    }


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--hours", type=float, default=18.0)
    parser.add_argument("--device-time", action="store_true")
    given = parser.parse_args()
    print(json.dumps(run(given.folder, given.hours, given.device_time)))
