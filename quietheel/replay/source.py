"""A recorded day played again, through the same view and page as the day itself."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from config.errors import bad
from config.folder import TestFolder
from dsp.types import Day
from logger.archive.reader import read_series
from logger.events import Event, EventLog
from logger.marks import MarkedWindow
from logger.records import Series
from quietheel.jobs.day import make_day
from quietheel.page.source import Beat, LoggerState, Playing
from quietheel.replay.clock import PlayClock


class ReplaySource:
    """Gives out a record in the order in which it came, by a clock of its own.

    The record is held in memory as columns; a beat is a cut of each, so that its cost is that of the readings in it
    and any speed is possible.
    """

    def __init__(
        self,
        place: TestFolder,
        speed: float = 1.0,
        *,
        runs: Sequence[str] | None = None,
        rehearse_in: Path | None = None,
        monotonic_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        """Read the record.

        Parameters
        ----------
        place : test folder.
        speed : seconds of the day for each second of the wall.
        runs : only these runs; None for all.
        rehearse_in : None plays the recorded marks; another folder instead takes new ones, stamped with the time of
            the day played: a rehearsal, for a crew that has not done this before.
        monotonic_ns : the wall.

        Raises
        ------
        BadInput where nothing is recorded.
        """
        self.place = place
        self.plan = place.plan()
        self.series = tuple(one for one in read_series(place.record, runs=runs) if len(one))
        if not self.series:
            raise bad("record", "folder record/", None, "a recorded run to play; `quietheel log` records one")
        self._recorded = () if rehearse_in is not None else tuple(EventLog(place.path).read())
        first = min(int(one.time_ns[0]) for one in self.series)
        last = max(int(one.time_ns[-1]) for one in self.series)
        last = max([last, *(event.at_ns for event in self._recorded)])
        self.clock = PlayClock(first, last, speed, monotonic_ns)
        self.marks: EventLog | None = None if rehearse_in is None else EventLog(rehearse_in, self.clock)
        self._shown = [0] * len(self.series)
        self._anew = False

    @property
    def playing(self) -> Playing | None:
        """How it is played."""
        return Playing(self.clock.speed, self.clock.paused, self.clock.start_ns, self.clock.stop_ns)

    def steer(self, *, paused: object = None, factor: object = None, again: bool = False) -> None:
        """Hold or go on, change the speed by a factor, begin again."""
        if paused is not None:
            self.clock.pause(not self.clock.paused if paused == "turn" else bool(paused))
        if isinstance(factor, (int, float)) and 0.0 < factor < 1e3:
            self.clock.set_speed(self.clock.speed * factor)
        if again:
            self.clock.restart()
            self._anew = True

    def beat(self) -> Beat:
        """Readings and marks up to the moment that is being played."""
        anew, self._anew = self._anew, False
        if anew:
            self._shown = [0] * len(self.series)
        now_ns = self.clock.now_ns()
        readings = []
        for n, one in enumerate(self.series):
            stop = int(np.searchsorted(one.time_ns, now_ns, side="right"))
            if stop > self._shown[n]:
                readings.append(_part(one, self._shown[n], stop))
                self._shown[n] = stop
        says = "the record is played again" if now_ns < self.clock.stop_ns else "the record has been played to its end"
        return Beat(now_ns, tuple(readings), self._events(now_ns), LoggerState(recording=True, says=says), anew)

    def day(self, windows: Sequence[MarkedWindow], stop_ns: int) -> Day:
        """The day up to ``stop_ns``, out of what is in memory."""
        series = tuple(one.between(int(one.time_ns[0]), stop_ns) for one in self.series)
        return make_day(self.plan, series, tuple(windows), self.clock.start_ns)

    def close(self) -> None:
        """Nothing is held open."""

    def _events(self, now_ns: int) -> tuple[Event, ...]:
        if self.marks is not None:
            return tuple(self.marks.read())
        return tuple(event for event in self._recorded if event.at_ns <= now_ns)


def _part(series: Series, start: int, stop: int) -> Series:
    return Series(
        series.station,
        series.quantity,
        series.time_ns[start:stop],
        series.value[start:stop],
        series.unit,
        series.flags[start:stop],
    )
