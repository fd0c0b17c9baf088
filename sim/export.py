"""A synthetic day as plain tables, in the layout that `quietheel import` takes."""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

from sim.day import SimulatedDay


def rfc3339(ns: int) -> str:
    """UTC to the microsecond.

    >>> rfc3339(1_936_506_600_250_000_000)
    '2031-05-14T06:30:00.250000Z'
    """
    return f"{dt.datetime.fromtimestamp(ns // 10**9, dt.UTC):%Y-%m-%dT%H:%M:%S}.{ns % 10**9 // 1000:06d}Z"


def write_tables(day: SimulatedDay, folder: Path) -> None:
    """Write ``readings.csv``, ``windows.csv`` and ``truth.json`` into a folder.

    readings: time, sensor, quantity, value, unit; windows: movement, start, stop, moment_tm (of test weights and people
    at their stations, as truly placed).
    """
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "readings.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["time", "sensor", "quantity", "value", "unit"])
        for one in day.readings():
            value, _, unit = one.sent.partition(" ")
            table.writerow([rfc3339(one.host_ns), one.station, one.quantity.value, value, unit])
    with (folder / "windows.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file)
        table.writerow(["movement", "start", "stop", "moment_tm"])
        for window in day.truth.windows:
            start, stop = rfc3339(window.start_ns), rfc3339(window.stop_ns)
            table.writerow([window.label, start, stop, f"{window.moment_tm:.4f}"])
    day.truth.write(folder / "truth.json")
