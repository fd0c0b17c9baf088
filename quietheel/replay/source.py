"""A recorded day played again, through the same view and page as the day itself."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from pathlib import Path

from config.errors import bad
from config.folder import TestFolder
from dsp.types import Day
from logger.events import Event, EventLog
from logger.marks import MarkedWindow
from quietheel.page.pulse import KEEP_S
from quietheel.page.sofar import RecordSoFar
from quietheel.page.source import Beat, LoggerState, Playing
from quietheel.replay.clock import PlayClock
from quietheel.replay.reel import Reel

SHOWN_NS = round(KEEP_S * 1e9)
"""A beat goes no further back, ns: the view keeps no more."""


class ReplaySource:
    """Gives out a record in the order in which it came, by a clock of its own.

    Some minutes of it are in memory at a time; a beat is a cut of them, and goes back no further than what is shown, so
    that any speed is possible.
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
        """Open the record.

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
        self._reel = Reel(place.record, runs)
        if not self._reel.channels:
            raise bad("record", "folder record/", None, "a recorded run to play; `quietheel log` records one")
        self._recorded = () if rehearse_in is not None else tuple(EventLog(place.path).read())
        self._so_far = RecordSoFar(place, self.plan, runs=runs, growing=False)
        last = max([self._reel.last_ns, *(event.at_ns for event in self._recorded)])
        self.clock = PlayClock(self._reel.first_ns, last, speed, monotonic_ns)
        self.marks: EventLog | None = None if rehearse_in is None else EventLog(rehearse_in, self.clock)
        self._shown_ns = 0
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
            self._shown_ns = 0
        now_ns = self.clock.now_ns()
        readings = self._reel.between(max(self._shown_ns, now_ns - SHOWN_NS), now_ns)
        self._shown_ns = now_ns
        says = "the record is played again" if now_ns < self.clock.stop_ns else "the record has been played to its end"
        return Beat(now_ns, readings, self._events(now_ns), LoggerState(recording=True, says=says), anew)

    def day(self, windows: Sequence[MarkedWindow], stop_ns: int) -> Day:
        """The day up to ``stop_ns``."""
        return self._so_far.day(windows, stop_ns)

    def close(self) -> None:
        """Nothing is held open."""

    def _events(self, now_ns: int) -> tuple[Event, ...]:
        if self.marks is not None:
            return tuple(self.marks.read())
        return tuple(event for event in self._recorded if event.at_ns <= now_ns)
