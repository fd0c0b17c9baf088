"""From raw traces to one combined heel on an even grid: mark, choose the grid, align, combine."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dsp.bins import Binned, Grid, grid_over, interpolate_short, station_bins
from dsp.clean import Mask, mark, spread_stamps
from dsp.combine import ASSUMED_SCALE_U, Alignment, align, combined
from dsp.follow import Followed, LeftOut, follow
from dsp.natural import common_to, moved_pieces, roll_frequency
from dsp.types import Array, Day, StationKnowledge, StationMarks, Trace, WindowSpan

BINS_PER_ROLL = 10
"""Bins in a roll period."""
FEWEST_PER_WINDOW = 40
"""Bins in the shortest window, where the stations' rates allow."""
MOST_BINS = 900
"""Bins in the longest window."""
FEWEST_READINGS = 5
"""Good readings that a station must have between the first and the last window to be used."""
FIRST_STEP = 0.25
"""s, bins of the first look for the roll."""
PER_BIN, MOSTLY_THERE = 2.0, 0.8
"""Readings in a bin of the first look from which on a station is fast, and share of the record that fast ones must
cover."""
MARGIN = 900.0
"""s of record used before the first and after the last window."""
LEAST_PLACES, MOSTLY_STILL = 3, 0.8
"""Values at which a coarse station stands in the windows, and share of windows in which it moves by a step at most."""
NOBODY_JUDGED = Followed((), (), np.zeros((0, 0), dtype=bool))


@dataclass(frozen=True)
class Prepared:
    """The day on one grid."""

    traces: tuple[Trace, ...]
    knowledge: tuple[StationKnowledge, ...]
    """One for each trace."""
    marks: tuple[StationMarks, ...]
    noise: Array
    """(s,) rad, of one reading, resolution included."""
    grid: Grid
    bins: tuple[Binned, ...]
    alignment: Alignment
    heel: Array
    """(n,) rad, NaN where all stations are silent."""
    variance: Array
    """(n,) rad2, white noise of ``heel``."""
    aligned: Array
    """(s, n) rad."""
    roll_frequency: float
    """Hz at first look; NaN if no roll stands out."""
    windows: tuple[WindowSpan, ...]
    stations: tuple[str, ...] = ()
    """All stations that were held against each other, in the order of ``followed.apart``."""
    followed: Followed = NOBODY_JUDGED


def has_record(day: Day, span: WindowSpan) -> bool:
    """Whether a window starts before it stops and some station has a reading in it; others have no say in the day."""
    return span.stop > span.start and any(
        int(np.subtract(*np.searchsorted(trace.time, [span.stop, span.start]))) > 0 for trace in day.heel
    )


def prepare(day: Day, most_bins: int = MOST_BINS) -> Prepared | str:
    """Mark, bin, align and combine the heel of a day; or say in a sentence why there is nothing to work on.

    Parameters
    ----------
    most_bins : bins in the longest window at most.
    """
    windows = tuple(w for w in day.windows if has_record(day, w))
    if not windows:
        return "no window with a start before its stop and readings of heel in it"
    start, stop = min(w.start for w in windows) - MARGIN, max(w.stop for w in windows) + MARGIN
    usable, unmoved = _taken(day, start, stop)
    if not usable:
        return "no heel station has readings that change"
    traces, knowledge, marks = (tuple(column) for column in zip(*usable, strict=True))
    first = max(min(float(t.time[0]) for t in traces), start)
    last = min(max(float(t.time[-1]) for t in traces), stop)
    lengths = [w.stop - w.start for w in windows]
    slowest = 1.0 / max(float(np.nanmax([m.rate for m in marks])), 1e-3)
    finest = max(slowest, max(lengths) / most_bins)

    names = tuple(t.station for t in traces)
    look = grid_over(first, last, max(FIRST_STEP, finest))
    scale_u = np.array([k.scale_u if np.isfinite(k.scale_u) else ASSUMED_SCALE_U for k in knowledge])
    seen = tuple(station_bins(look, t, m) for t, m in zip(traces, marks, strict=True))
    followed = follow(look, seen, names, scale_u, windows)
    whole = not followed.apart[list(followed.use)].any()
    seen = tuple(seen[s] for s in followed.use)
    traces, knowledge = (tuple(column[s] for s in followed.use) for column in (traces, knowledge))
    marks = tuple(_parted(traces[i], marks[s], windows, followed.apart[s]) for i, s in enumerate(followed.use))
    followed = replace(followed, left_out=(*followed.left_out, *unmoved))
    noise = _noise(marks)

    def on(step: float) -> Prepared:
        grid = grid_over(first, last, step)
        if whole and grid == look:
            bins = seen
        else:
            bins = tuple(station_bins(grid, t, m) for t, m in zip(traces, marks, strict=True))
        alignment = align(grid, bins, noise, knowledge, windows)
        heel, variance, aligned = combined(grid, bins, noise, alignment)
        nothing = float("nan")
        return Prepared(
            traces, knowledge, marks, noise, grid, bins, alignment, heel, variance, aligned, nothing, windows
        )

    made = on(look.step)
    shown = by_the_fast(made)
    still, moved = (
        common_to([even_parts(made.grid, shown, spans) for spans in groups], made.grid.step)
        for groups in ([(w,) for w in windows], moved_pieces(made.grid, shown, windows))
    )
    frequency, _ = roll_frequency(still, float(np.median(lengths)), moved, day.roll_between)
    wanted = (
        1.0 / (frequency * BINS_PER_ROLL) if np.isfinite(frequency) else max(0.5, float(np.median(lengths)) / 200.0)
    )
    wanted = max(min(wanted, min(lengths) / FEWEST_PER_WINDOW), finest)
    if abs(wanted / made.grid.step - 1.0) > 0.1:
        made = on(wanted)
    return replace(made, roll_frequency=frequency, stations=names, followed=followed)


def by_the_fast(made: Prepared) -> Array:
    """Heel (n,) on the grid by the stations that read at least twice a bin, or by the fastest where none does.

    A slow station comes and goes from bin to bin, and what it shows otherwise than the others (its height, its filter)
    with it: a line that is no roll.
    """
    rate = np.nan_to_num([m.rate for m in made.marks])
    fast = np.flatnonzero(rate >= min(PER_BIN / made.grid.step, 0.9 * float(rate.max())))
    if fast.size in (0, rate.size):
        return made.heel
    old = made.alignment
    some = replace(old, zero=old.zero[fast], scale=old.scale[fast], drift=old.drift[fast])
    heel = combined(made.grid, tuple(made.bins[s] for s in fast), made.noise[fast], some)[0]
    covered = np.count_nonzero(np.isfinite(heel)) >= MOSTLY_THERE * np.count_nonzero(np.isfinite(made.heel))
    return heel if covered else made.heel


def prepare_like(day: Day, known: Prepared) -> Prepared | str:
    """Prepare a piece of record with the stations' alignment, the grid's step and the roll of an earlier one.

    Stations that were not there before are left out.
    """
    windows = tuple(w for w in day.windows if has_record(day, w))
    if not windows:
        return "no window with a start before its stop and readings of heel in it"
    place = {trace.station: s for s, trace in enumerate(known.traces)}
    usable = [u for u in _taken(day, -np.inf, np.inf)[0] if u[0].station in place]
    if not usable:
        return "no heel station has readings that change"
    traces, knowledge, marks = (tuple(column) for column in zip(*usable, strict=True))
    chosen = np.array([place[t.station] for t in traces])
    first, last = min(float(t.time[0]) for t in traces), max(float(t.time[-1]) for t in traces)
    grid = grid_over(first, last, known.grid.step)
    bins = tuple(station_bins(grid, t, m) for t, m in zip(traces, marks, strict=True))
    old, blank = known.alignment, np.full((chosen.size, len(windows)), np.nan)
    alignment = replace(
        old, zero=old.zero[chosen], scale=old.scale[chosen], drift=old.drift[chosen], residual=blank, residual_u=blank
    )
    noise = known.noise[chosen]
    heel, variance, aligned = combined(grid, bins, noise, alignment)
    return Prepared(
        traces, knowledge, marks, noise, grid, bins, alignment, heel, variance, aligned, known.roll_frequency, windows
    )


def _parted(trace: Trace, marks: StationMarks, windows: tuple[WindowSpan, ...], apart: Mask) -> StationMarks:
    """Mark the windows in which a station is far off, each to the middle between it and its neighbours."""
    if not apart.any():
        return marks
    middle = np.array([0.5 * (w.start + w.stop) for w in windows])
    nearest = np.argmin(np.abs(trace.time[:, None] - middle[None, :]), axis=1)
    return replace(marks, apart=apart[nearest])


def _taken(
    day: Day, start: float, stop: float
) -> tuple[list[tuple[Trace, StationKnowledge, StationMarks]], tuple[LeftOut, ...]]:
    """Traces between two moments, with knowledge and marks; and the stations whose readings never change."""
    by_name = {k.name: k for k in day.knowledge}

    def taken(raw: Trace) -> tuple[Trace, StationKnowledge, StationMarks]:
        keep = _between(raw.time, start, stop)
        suspect = raw.suspect[keep] if raw.suspect.size == raw.time.size else np.zeros(raw.time[keep].size, dtype=bool)
        count = raw.count[keep] if raw.count.size == raw.time.size else np.zeros(0)
        trace = Trace(raw.station, spread_stamps(raw.time[keep]), raw.value[keep], suspect, count)
        known = by_name.get(raw.station, StationKnowledge(raw.station))
        return trace, known, _unless_coarse(trace, mark(trace, known), day.windows)

    # Medians of long traces run beside each other; which thread does one changes nothing.
    with ThreadPoolExecutor(max_workers=2) as pool:
        made = list(pool.map(taken, day.heel))
    read = [one for one in made if one[2].good.sum() >= FEWEST_READINGS]
    change = [float(np.ptp(one[0].value[one[2].good])) > 0.0 for one in read]
    unmoved = tuple(
        LeftOut(one[0].station, "stuck", 0.0, "never changed its value")
        for one, lives in zip(read, change, strict=True)
        if not lives
    )
    return [one for one, lives in zip(read, change, strict=True) if lives], unmoved


def _unless_coarse(trace: Trace, marks: StationMarks, windows: tuple[WindowSpan, ...]) -> StationMarks:
    """Take back "stuck" from a station that is coarser than the motion: it stands still in windows, each at its place.

    A station that hangs does so at one value or two, and moves by more than a step of its rounding where it does not
    hang. What rounding leaves in the mean of a window that stands still is a source of its own (`dsp.rounding`).
    """
    if not (marks.stuck.any() and marks.resolution > 0.0):
        return marks
    moves, places = [], set()
    for span in windows:
        low, high = (int(i) for i in np.searchsorted(trace.time, [span.start, span.stop]))
        value = trace.value[low:high][~(marks.suspect | marks.spike)[low:high]]
        if value.size >= FEWEST_READINGS:
            first, middle, last = np.quantile(value, [0.02, 0.5, 0.98])
            moves.append((last - first) / marks.resolution)
            places.add(round(float(middle) / marks.resolution))
    if len(moves) < 3 or len(places) < LEAST_PLACES or np.mean(np.array(moves) < 1.5) < MOSTLY_STILL:
        return marks
    return replace(marks, stuck=np.zeros_like(marks.stuck))


def _between(time: Array, start: float, stop: float) -> slice | NDArray[np.intp]:
    """Readings from ``start`` to ``stop`` in order of time; of a trace in order, without a copy of it."""
    if bool((time[1:] >= time[:-1]).all()):
        return slice(int(np.searchsorted(time, start)), int(np.searchsorted(time, stop, side="right")))
    order = np.argsort(time, kind="stable")
    return order[(time[order] >= start) & (time[order] <= stop)]


def _noise(marks: tuple[StationMarks, ...]) -> Array:
    """Standard deviation of one reading of each station, rounding to its resolution included."""
    return np.array([float(np.hypot(np.nan_to_num(m.noise), m.resolution / np.sqrt(12.0))) for m in marks])


def even_parts(grid: Grid, heel: Array, windows: tuple[WindowSpan, ...]) -> list[Array]:
    """Cut the windows out of the combined heel; short gaps are bridged, windows with longer ones give their parts."""
    parts: list[Array] = []
    for span in windows:
        value = interpolate_short(heel[grid.slice(span.start, span.stop)], 4)
        here = np.isfinite(value)
        edge = np.diff(np.concatenate([[0], here.astype(np.int8), [0]]))
        for a, b in zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1), strict=True):
            if b - a >= 8:
                parts.append(value[a:b])
    return parts
