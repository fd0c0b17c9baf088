"""Put irregular samples of several stations on one even grid: bin means, their counts, and the combination.

Within a bin shorter than a twelfth of the roll period the motion is a straight line to within 1 % of the roll
amplitude, so that the mean of a bin, with the number of samples behind it, holds all that the samples say about
motion slower than the bin (sufficiency of the mean under white noise; docs/method-heel.md, section 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.types import Array, StationMarks, Trace, WindowSpan

LEAST_COVERED = 0.8
"""Share of a window for which a station must have been on: part of a swing has another mean than the whole."""


@dataclass(frozen=True)
class Grid:
    """An even time grid."""

    start: float
    """s since the epoch, lower edge of the first bin."""
    step: float
    """s."""
    size: int

    @property
    def time(self) -> Array:
        """(size,) s, bin centres."""
        return np.asarray(self.start + (np.arange(self.size) + 0.5) * self.step, dtype=np.float64)

    def slice(self, start: float, stop: float) -> slice:
        """Return the bins whose centres lie in ``[start, stop)``."""
        low = int(np.ceil((start - self.start) / self.step - 0.5 - 1e-9))
        high = int(np.ceil((stop - self.start) / self.step - 0.5 - 1e-9))
        return slice(min(max(low, 0), self.size), min(max(high, 0), self.size))


@dataclass(frozen=True)
class Binned:
    """Bin means of one channel."""

    mean: Array
    """(size,) NaN where no good sample fell into the bin."""
    count: Array
    """(size,) number of good samples."""


def binned(grid: Grid, time: Array, value: Array, good: np.ndarray) -> Binned:
    """Average the good samples of a channel in the bins of the grid.

    >>> b = binned(Grid(0.0, 1.0, 2), np.array([0.2, 0.6, 1.5]), np.array([1.0, 3.0, 5.0]), np.ones(3, bool))
    >>> b.mean.tolist(), b.count.tolist()
    ([2.0, 5.0], [2.0, 1.0])
    """
    place = np.floor((time - grid.start) / grid.step).astype(np.int64)
    use = good & (place >= 0) & (place < grid.size)
    place = place[use]
    count = np.bincount(place, minlength=grid.size).astype(np.float64)
    total = np.bincount(place, weights=value[use], minlength=grid.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        return Binned(mean=np.where(count > 0, total / count, np.nan), count=count)


def station_bins(grid: Grid, trace: Trace, marks: StationMarks) -> Binned:
    """Average one station's good samples; a mean of several readings counts as so many."""
    if not trace.count.size:
        return binned(grid, trace.time, trace.value, marks.good)
    sums = binned(grid, trace.time, trace.value * trace.count, marks.good)
    many = binned(grid, trace.time, trace.count, marks.good)
    return Binned(mean=sums.mean / many.mean, count=np.where(many.count > 0, many.count * many.mean, 0.0))


def window_means(grid: Grid, bins: tuple[Binned, ...], windows: tuple[WindowSpan, ...]) -> tuple[Array, Array]:
    """Average each station in each window, tapered so that a swing cut off at the edges counts little.

    Returns
    -------
    mean : (s, k) in the unit of the bins; NaN where a station was on for less than `LEAST_COVERED` of the window.
    share : (s, k) standard deviation of the mean for readings whose white noise has that of one; NaN likewise.
    """
    mean, share = (np.full((len(bins), len(windows)), np.nan) for _ in range(2))
    for k, span in enumerate(windows):
        part = grid.slice(span.start, span.stop)
        length = part.stop - part.start
        whole = np.sin(np.pi * (np.arange(length) + 0.5) / max(length, 1)) ** 2
        for s, one in enumerate(bins):
            value, number = one.mean[part], one.count[part]
            here = number > 0
            if here.sum() >= 4 and here.mean() >= LEAST_COVERED:
                taper = whole[here]
                mean[s, k] = float(np.sum(taper * value[here]) / taper.sum())
                share[s, k] = float(np.sqrt(np.sum(taper**2 / number[here])) / taper.sum())
    return mean, share


def grid_over(start: float, stop: float, step: float) -> Grid:
    """Return the grid that covers ``[start, stop]`` in bins of ``step``."""
    return Grid(start, step, max(1, int(np.ceil((stop - start) / step))))


def interpolate_short(value: Array, longest: int) -> Array:
    """Fill runs of at most ``longest`` missing bins by straight lines; longer ones stay NaN."""
    missing = ~np.isfinite(value)
    if not missing.any() or missing.all():
        return value
    index = np.arange(value.size)
    filled = np.interp(index, index[~missing], value[~missing])
    edge = np.diff(np.concatenate([[0], missing.astype(np.int8), [0]]))
    starts, stops = np.flatnonzero(edge == 1), np.flatnonzero(edge == -1)
    result = value.copy()
    for a, b in zip(starts, stops, strict=True):
        if b - a <= longest and a > 0 and b < value.size:
            result[a:b] = filled[a:b]
    return result


__all__ = ["Array", "Binned", "Grid", "binned", "grid_over", "interpolate_short", "station_bins", "window_means"]
