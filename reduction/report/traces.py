"""The day's records made light enough to draw: lowest, mean and highest of each small stretch of time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from dsp.types import Array, Day, Trace


@dataclass(frozen=True)
class Envelope:
    """One channel in equal stretches of time. Nothing that stuck out of the record is lost in it."""

    station: str
    time: Array
    """(m,) s since the epoch, middle of the readings of each stretch; stretches without a reading are left out."""
    low: Array
    mean: Array
    high: Array
    """(m,) in the unit of the trace."""
    step: float
    """s, length of a stretch; a jump in ``time`` of more than two steps is a gap in the record."""


@dataclass(frozen=True)
class RawSummary:
    """What one station sent inside one window, before any mathematics."""

    window: str
    station: str
    samples: int
    first: float
    last: float
    """s since the epoch."""
    mean: float
    deviation: float
    low: float
    high: float
    """rad."""


@dataclass(frozen=True)
class Traces:
    """Everything the figures draw that is not in the answer."""

    epoch_ns: int = 0
    heel: tuple[Envelope, ...] = ()
    """rad."""
    wind: Envelope | None = None
    """m/s."""
    tension: tuple[Envelope, ...] = ()
    """N."""
    windows: dict[str, tuple[Envelope, ...]] = field(default_factory=dict)
    """Heel inside each window, finer, by label of the window; rad."""
    raw: tuple[RawSummary, ...] = ()
    wind_in_window: dict[str, tuple[float, float]] = field(default_factory=dict)
    """Window -> (mean, strongest) wind speed, m/s."""


def plot_traces(day: Day, *, stretches: int = 900, window_stretches: int = 240) -> Traces:
    """Make the light traces of a day.

    Parameters
    ----------
    day : as handed to the mathematics.
    stretches : how many stretches the whole day is cut into.
    window_stretches : how many each window is cut into.

    Returns
    -------
    Traces; a channel without readings is left out.

    Examples
    --------
    >>> t = np.arange(1000) / 10.0
    >>> day = Day(epoch_ns=0, heel=(Trace("aft", t, np.sin(t)),), windows=())
    >>> traces = plot_traces(day, stretches=50)
    >>> traces.heel[0].time.size, round(float(traces.heel[0].high.max()), 3)
    (50, 1.0)
    """
    start, stop = _bounds(day)
    windows: dict[str, tuple[Envelope, ...]] = {}
    raw: list[RawSummary] = []
    wind_in_window: dict[str, tuple[float, float]] = {}
    for span in day.windows:
        parts = [cut(trace, span.start, span.stop) for trace in day.heel]
        windows[span.label] = tuple(envelopes(parts, span.start, span.stop, window_stretches))
        raw += [summary(span.label, part) for part in parts if part.time.size]
        if day.wind is not None:
            inside = (day.wind.time >= span.start) & (day.wind.time < span.stop)
            if inside.any():
                speed = day.wind.speed[inside]
                wind_in_window[span.label] = (float(speed.mean()), float(speed.max()))
    wind = [] if day.wind is None else [Trace("wind", day.wind.time, day.wind.speed)]
    return Traces(
        epoch_ns=day.epoch_ns,
        heel=tuple(envelopes(day.heel, start, stop, stretches)),
        wind=next(iter(envelopes(wind, start, stop, stretches)), None),
        tension=tuple(envelopes(day.tension, start, stop, stretches)),
        windows=windows,
        raw=tuple(raw),
        wind_in_window=wind_in_window,
    )


def cut(trace: Trace, start: float, stop: float) -> Trace:
    """Return the part of a trace with ``start <= time < stop``."""
    low, high = np.searchsorted(trace.time, [start, stop])
    return Trace(trace.station, trace.time[low:high], trace.value[low:high])


def envelopes(traces: Iterable[Trace], start: float, stop: float, stretches: int) -> Iterable[Envelope]:
    """Cut each trace into equal stretches of time; the work is linear in the number of readings."""
    step = max(stop - start, 1e-9) / stretches
    edges = start + step * np.arange(stretches)
    for trace in traces:
        if not trace.time.size:
            continue
        first = np.unique(np.searchsorted(trace.time, edges))
        first = first[first < trace.time.size]
        if not first.size or first[0] != 0:
            first = np.concatenate([[0], first])
        count = np.diff(np.append(first, trace.time.size))
        yield Envelope(
            station=trace.station,
            time=np.add.reduceat(trace.time, first) / count,
            low=np.minimum.reduceat(trace.value, first),
            mean=np.add.reduceat(trace.value, first) / count,
            high=np.maximum.reduceat(trace.value, first),
            step=float(step),
        )


def summary(window: str, part: Trace) -> RawSummary:
    """Say in figures what a station sent inside a window."""
    return RawSummary(
        window=window,
        station=part.station,
        samples=int(part.time.size),
        first=float(part.time[0]),
        last=float(part.time[-1]),
        mean=float(part.value.mean()),
        deviation=float(part.value.std()),
        low=float(part.value.min()),
        high=float(part.value.max()),
    )


def _bounds(day: Day) -> tuple[float, float]:
    times = [trace.time for trace in day.heel if trace.time.size]
    if times:
        return min(float(t[0]) for t in times), max(float(t[-1]) for t in times)
    spans = [edge for window in day.windows for edge in (window.start, window.stop)]
    return (min(spans), max(spans)) if spans else (0.0, 1.0)
