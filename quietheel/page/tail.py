"""The day as it happens: follows the record that the logger, often another process, is writing."""

from __future__ import annotations

from collections.abc import Sequence

from config.folder import TestFolder
from dsp.types import Day
from logger.archive.disk import disk_state
from logger.archive.reader import channel_pieces, read_series
from logger.archive.tail import Arrived, Tail
from logger.clock import UtcClock
from logger.events import Event, EventLog
from logger.marks import MarkedWindow
from logger.records import Quantity, Series
from quietheel.page.notes import Notes
from quietheel.page.sofar import RecordSoFar
from quietheel.page.source import Beat, LoggerState, Playing
from quietheel.page.strip import KEEP

ASLEEP_S = 10.0
"""Without a new reading for so long the run counts as not being written."""
AHEAD_NS = 60_000_000_000
OVER_NS = 3_600_000_000_000
"""A day whose last reading is so far ahead of the clock, or so old, is over."""


class _RunTime:
    """The run's host time as far as its notes give it, else the system's."""

    def __init__(self, notes: Notes) -> None:
        self._notes = notes

    def utc_ns(self) -> int:
        """UTC now, ns."""
        return self._notes.run_clock().utc_ns()


class TailSource:
    """Follows the newest run of a test folder and the marks as they come."""

    def __init__(self, place: TestFolder, *, clock: UtcClock | None = None) -> None:
        """Read the plan; ``clock`` gives UTC now, left out it is the run's own host time."""
        self.place = place
        self.plan = place.plan()
        self._notes = Notes()
        self._given_clock = clock is not None
        self.clock: UtcClock = clock or _RunTime(self._notes)
        self.marks: EventLog | None = EventLog(place.path, self.clock)
        self._tail = Tail(place.record)
        self._so_far = RecordSoFar(place, self.plan)
        self._last: dict[tuple[str, Quantity], int] = {}
        self._newest_ns = 0
        self._first_beat = True
        self._events: tuple[Event, ...] = ()
        self._stamp: tuple[int, int] = (-1, -1)
        self._rate = 0.0
        self._before_ns = 0

    @property
    def playing(self) -> Playing | None:
        """The day happens now."""
        return None

    def beat(self) -> Beat:
        """Readings and marks since the beat before; at first the last ten minutes."""
        arrived = self._tail.look()
        if self._tail.run is not None:
            self._notes.look(self._tail.run.folder)
        events = self._marks()
        if self._first_beat:
            last = [piece.last_ns for pieces in channel_pieces(self.place.record) for piece in pieces]
            self._newest_ns = max(last, default=0)
        now_ns, over = self._now(events)
        if self._first_beat:
            self._first_beat = False
            start_ns = now_ns - KEEP * 1_000_000_000
            readings = read_series(self.place.record, start_ns=start_ns, repair=over)
            if over and readings:
                # Of a day that is over the readings' own times count: those of a fast clock arrive in bursts.
                now_ns = self._newest_ns = max(int(one.time_ns[-1]) for one in readings)
        else:
            readings = [one for one in map(self._rising, arrived) if len(one)]
        for one in readings:
            self._last[one.station, one.quantity] = int(one.time_ns[-1])
            self._newest_ns = max(self._newest_ns, int(one.time_ns[-1]))
        rows = sum(len(one) for one in readings)
        return Beat(now_ns, tuple(readings), events, self._logger(now_ns, rows))

    def day(self, windows: Sequence[MarkedWindow], stop_ns: int) -> Day:
        """Read the record up to a moment, times repaired, as `quietheel reduce` does."""
        return self._so_far.day(windows, stop_ns)

    def close(self) -> None:
        """Nothing is held open."""

    def _now(self, events: Sequence[Event]) -> tuple[int, bool]:
        """The moment shown, UTC ns, and whether the day is over: then it is shown as it stood at its end.

        Over is a day whose last reading is more than an hour old, or lies ahead of this clock, as in a day simulated.
        """
        now_ns = self.clock.utc_ns()
        if self._given_clock or not self._newest_ns:
            return now_ns, False
        marks = [event.at_ns for event in events if event.at_ns - self._newest_ns < OVER_NS]
        newest_ns = max([self._newest_ns, *marks])
        if -AHEAD_NS <= now_ns - newest_ns <= OVER_NS:
            return now_ns, False
        return self._newest_ns, True

    def _rising(self, arrived: Arrived) -> Series:
        """Drop what was shown already and put the rest in order of arrival."""
        after = arrived.time_ns > self._last.get((arrived.station, arrived.quantity), 0)
        order = arrived.time_ns[after].argsort(kind="stable")
        return Series(
            arrived.station,
            arrived.quantity,
            arrived.time_ns[after][order],
            arrived.value[after][order],
            arrived.unit,
            arrived.flags[after][order],
        )

    def _marks(self) -> tuple[Event, ...]:
        try:
            found = self.place.events.stat()
        except FileNotFoundError:
            return ()
        stamp = (found.st_size, found.st_mtime_ns)
        if stamp != self._stamp:
            self._events = tuple(EventLog(self.place.path).read())
            self._stamp = stamp
        return self._events

    def _logger(self, now_ns: int, rows: int) -> LoggerState:
        gone_s = (now_ns - self._before_ns) * 1e-9 if self._before_ns else 0.0
        self._before_ns = now_ns
        if 0 < gone_s < 60:
            self._rate += min(1.0, gone_s / 20.0) * (rows / gone_s - self._rate)
        run = self._tail.run
        if run is None:
            return LoggerState(says="nothing recorded yet; `quietheel log` records")
        recording = run.cut_off and now_ns - self._newest_ns < ASLEEP_S * 1e9
        if recording:
            says = f"run {run.name} is being written"
        elif run.cut_off:
            says = f"run {run.name} stands still; `quietheel log` goes on in a new run"
        else:
            says = f"run {run.name} was stopped{f' ({run.stop_reason})' if run.stop_reason else ''}"
        disk = disk_state(self.place.record, self._rate)
        return LoggerState(
            run=run.name,
            recording=recording,
            says=says,
            counts=self._notes.counts(),
            clock=self._notes.clock_says,
            clock_well=self._notes.clock_well,
            disk_hours=disk.hours_left,
            disk_free_gb=disk.free_bytes / 1e9,
        )
