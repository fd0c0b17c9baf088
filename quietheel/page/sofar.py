"""The record as far as it has come, for the mathematics; live and played again alike."""

from __future__ import annotations

from collections.abc import Sequence

from config.folder import TestFolder
from config.plan import Plan
from dsp.types import Day
from logger.archive.reader import read_series
from logger.archive.thinned import ThinnedRecord, longer_than
from logger.marks import MarkedWindow
from logger.records import Series
from quietheel.jobs import day as jobs


class RecordSoFar:
    """Makes the day up to a moment out of a record, as `quietheel reduce` would if it ended there.

    A long day is read as short means outside its windows. What was read of sealed pieces and of closed windows is kept,
    so that another window costs its own part only.

    Parameters
    ----------
    place, plan : the test folder.
    runs : only these runs; None for all.
    growing : False where nothing more comes; then a short record is read once.
    """

    def __init__(
        self, place: TestFolder, plan: Plan, *, runs: Sequence[str] | None = None, growing: bool = True
    ) -> None:
        self._record, self._plan, self._runs, self._growing = place.record, plan, runs, growing
        self._long = ThinnedRecord(place.record, jobs.THINNED, runs=runs, keep=True)
        self._whole: tuple[Series, ...] | None = None

    def day(self, windows: Sequence[MarkedWindow], stop_ns: int) -> Day:
        """The day up to ``stop_ns`` (UTC) with these windows."""
        if longer_than(jobs.LONG_ROWS, self._record, jobs.THINNED, stop_ns, self._runs):
            spans = [(w.start_ns, w.stop_ns) for w in windows if w.stop_ns is not None]
            series, counts = jobs.read_long(self._long, spans, stop_ns)
        else:
            series, counts = self._short(stop_ns), {}
        return jobs.make_day(self._plan, series, tuple(windows), jobs.first_ns(series, windows), counts)

    def _short(self, stop_ns: int) -> tuple[Series, ...]:
        if self._growing or longer_than(jobs.LONG_ROWS, self._record, jobs.THINNED, None, self._runs):
            return tuple(read_series(self._record, stop_ns=stop_ns, runs=self._runs))
        if self._whole is None:
            self._whole = tuple(read_series(self._record, runs=self._runs))
        cut = (one.between(int(one.time_ns[0]), stop_ns) for one in self._whole)
        return tuple(one for one in cut if len(one))
