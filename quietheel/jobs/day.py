"""Open a recorded test day: record, marks and plan become the values that the mathematics is handed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from config.folder import TestFolder
from config.plan import Plan
from config.stations import Calibration, Station
from config.units import COVERAGE_95, DEGREE
from dsp.types import Day, StationKnowledge, Trace, Wind, WindowSpan
from logger.archive.reader import read_series, to_frame
from logger.archive.stretch import Span
from logger.archive.thinned import ThinnedRecord, longer_than
from logger.events import Event, EventLog
from logger.marks import CONFIRMATIONS, MarkedWindow, marked_windows
from logger.records import Flag, Quantity, Series

if TYPE_CHECKING:
    import pandas as pd

Counts = dict[tuple[str, Quantity], NDArray[np.int64]]
LONG_ROWS = 5_000_000
"""Readings of heel and trim beyond which a day is long: outside the windows it is read as short means."""
THINNED = (Quantity.HEEL, Quantity.TRIM)
SCANNED_TOGETHER = 2
"""A long day is looked over as means of half a second: a sixteenth of a roll of 8 s shows where it stands still."""
_BAD_FLAGS = int(Flag.SUSPECT | Flag.SATURATED)


@dataclass(frozen=True)
class RecordedDay:
    """One test day as it lies in its folder, ready for `dsp.day.evaluate_day`."""

    folder: TestFolder
    plan: Plan
    events: tuple[Event, ...]
    windows: tuple[MarkedWindow, ...]
    """Every window marked, voided ones included, in order of time."""
    day: Day
    """What the mathematics sees: calibrated traces and the windows that were not voided."""
    series: tuple[Series, ...]
    """The same channels with times repaired, in canonical units, before calibration, with their history.

    Of a long day those of heel and trim hold every reading in and about the windows and short means elsewhere."""
    reader: ThinnedRecord | None = field(default=None, repr=False, compare=False)
    """Of a long day, what was read of it, so that other windows need only their own part."""

    @property
    def standing(self) -> tuple[MarkedWindow, ...]:
        """Windows that were closed and not voided, one for each of ``day.windows``, in the same order."""
        return tuple(window for window in self.windows if not window.voided and window.stop_ns is not None)


def read_frame(folder: Path | str = ".") -> pd.DataFrame:
    """Load a folder's whole record as one pandas frame: time, station, quantity, value, unit, flags.

    >>> import quietheel
    >>> quietheel.read_frame("demo-day").head()  # doctest: +SKIP
    """
    return to_frame(TestFolder(Path(folder)).record)


def open_day(folder: Path | str = ".", *, whole: bool = False) -> RecordedDay:
    """Read plan, marks and record of a test folder.

    Parameters
    ----------
    whole : True reads every reading of a long day too, not only those in and about its windows.

    Returns
    -------
    RecordedDay; times in seconds since the start of the first reading, angles in radians.

    Raises
    ------
    BadInput where the plan, the marks or the record cannot be used.
    """
    place = TestFolder(Path(folder))
    plan, events, windows = _marked(place)
    spans = [(w.start_ns, w.stop_ns) for w in windows if w.stop_ns is not None and not w.voided]
    reader = None if whole else long_record(place.record)
    series, counts = read_long(reader, spans) if reader else (tuple(read_series(place.record)), {})
    day = make_day(plan, series, windows, first_ns(series, windows), counts)
    return RecordedDay(place, plan, events, windows, day, series, reader)


def scanned_day(folder: Path | str = ".") -> RecordedDay:
    """Read a test folder to look over the whole of it: a long day as short means throughout, each as one reading."""
    place = TestFolder(Path(folder))
    plan, events, windows = _marked(place)
    reader = long_record(place.record)
    found = reader.read([], together=SCANNED_TOGETHER) if reader else []
    series = tuple(one.series for one in found) if reader else tuple(read_series(place.record))
    day = make_day(plan, series, windows, first_ns(series, windows))
    return RecordedDay(place, plan, events, windows, day, series, reader)


def day_with(recorded: RecordedDay, spans: tuple[WindowSpan, ...]) -> RecordedDay:
    """The same day with other windows than those marked; of a long one every reading inside them is read."""
    if recorded.reader is None:
        return replace(recorded, day=replace(recorded.day, windows=spans))
    epoch_ns = recorded.day.epoch_ns
    inside = [(epoch_ns + round(span.start * 1e9), epoch_ns + round(span.stop * 1e9)) for span in spans]
    series, counts = read_long(recorded.reader, inside)
    day = make_day(recorded.plan, series, recorded.windows, epoch_ns, counts)
    return replace(recorded, day=replace(day, windows=spans), series=series)


def _marked(place: TestFolder) -> tuple[Plan, tuple[Event, ...], tuple[MarkedWindow, ...]]:
    plan = place.plan()
    events = tuple(EventLog(place.path).read())
    return plan, events, tuple(marked_windows(events, plan))


def first_ns(series: Sequence[Series], windows: Sequence[MarkedWindow]) -> int:
    """The day's epoch, UTC ns: its first reading, or the opening of a window before that."""
    return min([int(s.time_ns[0]) for s in series if len(s)] + [w.start_ns for w in windows], default=0)


def long_record(record: Path) -> ThinnedRecord | None:
    """What reads a record that is long, or None."""
    return ThinnedRecord(record, THINNED) if longer_than(LONG_ROWS, record, THINNED) else None


def read_long(
    reader: ThinnedRecord, spans: Sequence[Span], stop_ns: int | None = None
) -> tuple[tuple[Series, ...], Counts]:
    """Every channel, the fast ones as means outside the spans, with the readings behind each value."""
    found = reader.read(spans, stop_ns)
    counts = {(one.series.station, one.series.quantity): one.count for one in found if one.count.size}
    return tuple(one.series for one in found), counts


def make_day(
    plan: Plan,
    series: tuple[Series, ...],
    windows: tuple[MarkedWindow, ...],
    epoch_ns: int,
    counts: Counts | None = None,
) -> Day:
    """Turn calibrated series and marks into what the mathematics is handed.

    Parameters
    ----------
    counts : (station, quantity) -> readings behind each value, of channels that were thinned.
    """
    stations = {station.name: station for station in plan.stations}
    traces: dict[Quantity, list[Trace]] = {}
    for one in series:
        if len(one):
            count = (counts or {}).get((one.station, one.quantity))
            traces.setdefault(one.quantity, []).append(_trace(one, stations.get(one.station), epoch_ns, count))
    spans = tuple(_span(window, epoch_ns) for window in windows if not window.voided and window.stop_ns is not None)
    heel = tuple(traces.get(Quantity.HEEL, []))
    names = [trace.station for trace in heel] + [
        s.name for s in plan.stations if s.kind in ("pendulum", "u_tube") and s.name not in {t.station for t in heel}
    ]
    return Day(
        epoch_ns=epoch_ns,
        heel=heel,
        windows=spans,
        knowledge=tuple(_knowledge(name, stations.get(name)) for name in names),
        trim=tuple(traces.get(Quantity.TRIM, [])),
        wind=_wind(traces, stations),
        tension=tuple(traces.get(Quantity.LINE_TENSION, [])),
    )


def _trace(series: Series, station: Station | None, epoch_ns: int, count: NDArray[np.int64] | None) -> Trace:
    calibration = station.calibration if station else Calibration()
    time = np.asarray((series.time_ns - epoch_ns) * 1e-9, dtype=np.float64)
    bad = _BAD_FLAGS
    if not any("device time" in line for line in series.history):
        bad |= int(Flag.LATE)  # came in a burst after an outage, and nothing says when it was taken
    suspect = (series.flags & bad) != 0
    factor = {Quantity.WIND_DIRECTION: DEGREE, Quantity.LINE_TENSION: 1e3}.get(series.quantity, 1.0)
    zero = 0.0
    if series.quantity in (Quantity.HEEL, Quantity.TRIM):
        zero, factor = calibration.zero_deg, calibration.scale * DEGREE
    value = (series.value - zero) * factor
    good = np.isfinite(value)
    kept = slice(None) if good.all() else good
    behind = np.zeros(0) if count is None else count[kept].astype(np.float64)
    return Trace(series.station, time[kept], np.asarray(value[kept], dtype=np.float64), suspect[kept], behind)


def _knowledge(name: str, station: Station | None) -> StationKnowledge:
    if station is None:
        return StationKnowledge(name)
    known = station.calibration

    def standard(u95: float | None, factor: float) -> float:
        return math.nan if u95 is None else u95 * factor / COVERAGE_95

    return StationKnowledge(
        name=name,
        scale_u=standard(known.scale_u95_percent, 0.01),
        drift_u=standard(known.drift_u95_deg_per_h, DEGREE / 3600.0),
        yaw_u=standard(known.yaw_u95_deg, DEGREE),
        zero_u=standard(known.zero_u95_deg, DEGREE),
        noise=math.nan if known.noise_deg is None else known.noise_deg * DEGREE,
        range=math.inf if known.range_deg is None else known.range_deg * DEGREE,
        hand_read=station.kind in ("pendulum", "u_tube"),
    )


def _wind(traces: dict[Quantity, list[Trace]], stations: dict[str, Station]) -> Wind | None:
    """Take the mast with the most readings; a direction from north is no use without the heading and is left out."""
    masts = traces.get(Quantity.WIND_SPEED, [])
    if not masts:
        return None
    speed = max(masts, key=lambda trace: trace.time.size)
    station = stations.get(speed.station)
    directions = [t for t in traces.get(Quantity.WIND_DIRECTION, []) if t.station == speed.station]
    if not directions or (station is not None and station.direction_reference == "north"):
        return Wind(speed.time, speed.value)
    angle = directions[0]
    sine = np.interp(speed.time, angle.time, np.sin(angle.value))
    cosine = np.interp(speed.time, angle.time, np.cos(angle.value))
    return Wind(speed.time, speed.value, np.arctan2(sine, cosine))


def _span(window: MarkedWindow, epoch_ns: int) -> WindowSpan:
    assert window.stop_ns is not None
    return WindowSpan(
        label=window.label,
        start=(window.start_ns - epoch_ns) * 1e-9,
        stop=(window.stop_ns - epoch_ns) * 1e-9,
        moved_at=math.nan if window.moved_ns is None else (window.moved_ns - epoch_ns) * 1e-9,
        confirmed=frozenset(window.confirmed),
        expected_confirmations=frozenset() if window.imported else frozenset(CONFIRMATIONS),
        hand_readings=tuple(window.hand_readings),
    )
