"""Stations before the day: listen to them for a while, check what came, work out signs and calibration."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from config.errors import bad
from config.folder import TestFolder
from config.plan import Plan
from config.stations import Station
from logger.archive.writer import Appended, FlushResult
from logger.records import CANONICAL_UNIT, Quantity, Reading, Series
from logger.service import recording, run_logger
from logger.stations.check import ChannelCheck, check_channel


class _Memory:
    """Stands in for the record: what is heard while checking is kept in memory and never on disk."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.readings: list[Reading] = []

    def start(self) -> Path:
        return self.folder

    def append(self, readings: Sequence[Reading]) -> Appended:
        first = len(self.readings)
        self.readings.extend(readings)
        return Appended(first, len(self.readings))

    def note(self, kind: str, data: dict[str, object]) -> None:
        return None

    def flush(self, *, sync: bool | None = None) -> FlushResult:
        return FlushResult(len(self.readings), len(self.readings), 0, 0)

    def stop(self, reason: str) -> FlushResult:
        return self.flush()


def listen(folder: Path | str, seconds: float, only: Sequence[str] = ()) -> tuple[Series, ...]:
    """Listen to the plan's stations and return what they said; nothing is recorded.

    Parameters
    ----------
    seconds : how long.
    only : names of stations; empty for all that can be read.

    Raises
    ------
    BadInput where the plan cannot be used or names no such station.
    """
    place = TestFolder(Path(folder))
    plan = readable(place.plan(), only)
    memory = _Memory(place.path)

    async def hear() -> None:
        async with recording(plan, place.path, writer=memory):
            await asyncio.sleep(seconds)

    run_logger(hear())
    return series_of(memory.readings)


def check(series: Sequence[Series], stations: Sequence[Station]) -> tuple[ChannelCheck, ...]:
    """Check every channel that a station should have sent; a channel without a reading is there too, empty."""
    heard = {(one.station, one.quantity): one for one in series}
    found = []
    for station in stations:
        for channel in station.channels if station.source.type != "manual" else ():
            quantity = Quantity(channel.quantity)
            empty = series_of([], station.name, quantity)
            found.append(check_channel(heard.get((station.name, quantity), empty[0]), station))
    return tuple(found)


def series_of(readings: Sequence[Reading], station: str = "", quantity: Quantity = Quantity.HEEL) -> tuple[Series, ...]:
    """Gather readings into series by channel, times of arrival made to rise; one empty series where there are none."""
    channels: dict[tuple[str, Quantity], list[Reading]] = {}
    for reading in readings:
        channels.setdefault((reading.station, reading.quantity), []).append(reading)
    if not channels:
        channels[station, quantity] = []
    return tuple(_series(name, what, rows) for (name, what), rows in channels.items())


def _series(station: str, quantity: Quantity, rows: list[Reading]) -> Series:
    time_ns = np.array([row.host_ns for row in rows], dtype=np.int64)
    if time_ns.size:
        time_ns = np.maximum.accumulate(time_ns)
        time_ns = np.maximum.accumulate(time_ns - np.arange(time_ns.size)) + np.arange(time_ns.size)
    return Series(
        station,
        quantity,
        time_ns,
        np.array([row.value for row in rows], dtype=np.float64),
        CANONICAL_UNIT[quantity],
        np.array([int(row.flags) for row in rows], dtype=np.uint16),
        ("as they arrived",),
    )


def readable(plan: Plan, only: Sequence[str]) -> Plan:
    """The plan with the stations that can be listened to; raises BadInput where one of ``only`` is not among them."""
    names = [station.name for station in plan.stations]
    for name in only:
        if name not in names:
            raise bad(
                "command line", "STATION", name, f"one of: {', '.join(names) or 'none, the plan has no stations'}"
            )
    stations = tuple(s for s in plan.stations if s.source.type != "manual" and (not only or s.name in only))
    if not stations:
        raise bad("plan.toml", "stations", None, "at least one station that can be read, not by hand")
    return plan.model_copy(update={"stations": stations})
