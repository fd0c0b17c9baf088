"""A recorded run played again as if it happened now."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from config.stations import PlaybackSource
from logger.archive.layout import list_runs
from logger.archive.reader import read_series
from logger.clock import SECOND, Clock
from logger.records import Flag, Quantity, Series
from logger.sources.source import SourceLost

MOST_NAMED = 4
"""Runs named, the newest ones, where one is not there."""
STEP_S = 0.05
"""Readings of so long a stretch are handed over together."""

Play = Callable[[Quantity, float, int, Flag], object]
"""``play(quantity, value, host_ns, flags)``."""


@dataclass(frozen=True)
class Played:
    """One recorded reading."""

    time_ns: int
    quantity: Quantity
    value: float
    flags: Flag


def in_order(series: list[Series]) -> Iterator[Played]:
    """Merge the series of one station by time."""
    if not series:
        return
    time = np.concatenate([s.time_ns for s in series])
    value = np.concatenate([s.value for s in series])
    flags = np.concatenate([s.flags for s in series])
    which = np.concatenate([np.full(len(s), n) for n, s in enumerate(series)])
    for at in np.argsort(time, kind="stable"):
        yield Played(int(time[at]), series[which[at]].quantity, float(value[at]), Flag(int(flags[at])))


class Playback:
    """Plays one station of a run.

    Parameters
    ----------
    source : run and speed. folder : the run's folder.
    station : name of the station in the plan; the run's station of that name is played, or its only one.
    """

    def __init__(self, source: PlaybackSource, folder: Path, station: str, play: Play, clock: Clock) -> None:
        self._source = source
        self._folder = folder
        self._station = station
        self._play = play
        self._clock = clock

    @property
    def name(self) -> str:
        """Name of the run."""
        return self._folder.name

    async def run(self, opened: Callable[[], None]) -> None:
        """See `logger.sources.source.Source`; ends with the run."""
        if not self._folder.is_dir():
            raise SourceLost(f"no such run: {self._source.run}; {_runs_beside(self._folder)}")
        try:
            found = read_series(self._folder, repair=False)
        except OSError as error:
            raise SourceLost(f"the run cannot be read: {error.strerror or error}") from error
        stations = {series.station for series in found}
        name = self._station if self._station in stations else next(iter(stations), "") if len(stations) == 1 else ""
        played = [series for series in found if series.station == name]
        if not stations:
            raise SourceLost(f"the run {self._source.run} holds no readings")
        if not played:
            raise SourceLost(f"the run holds no station {self._station}; it holds {', '.join(sorted(stations))}")
        opened()
        began = self._clock.monotonic_ns()
        first: int | None = None
        for one in in_order(played):
            if first is None:
                first = one.time_ns
            due = began + round((one.time_ns - first) / self._source.speed)
            ahead = (due - self._clock.monotonic_ns()) / SECOND
            if ahead > STEP_S / 2:
                await self._clock.sleep(max(ahead, STEP_S))
            self._play(one.quantity, one.value, self._clock.host_ns(due), one.flags)


def _runs_beside(folder: Path) -> str:
    """Say which runs could be meant: finished ones beside it and in the record of the same test folder."""
    found = [
        info.folder.relative_to(folder.parent).as_posix()
        for place in (folder.parent, folder.parent / "record")
        if place.is_dir()
        for info in list_runs(place)
        if not info.cut_off  # such as the one that is being recorded
    ]
    return f"there is {', '.join(found[-MOST_NAMED:])}" if found else "there is none beside it"
