"""Which frequency is the natural roll: what every movement of a weight sets off, dies away after it, and is narrow.

Chop and swell make a vessel roll too, often more than she rolls by herself. They do not know of the movements: the
record between the windows, where weights are moved, shows them as the windows do, and shows the natural roll with what
each movement added (docs/method-heel.md, section 6).
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from dsp.bins import Grid
from dsp.spectrum import Pooled, pooled
from dsp.types import Array, WindowSpan

LONGEST_PERIOD, SHORTEST_PERIOD = 36.0, 1.5
"""s, where a roll is looked for."""
STANDS_OUT = 5.0
"""A peak counts if it is so many times the median of its surroundings."""
LEAST = 0.05
"""A peak with a smaller share of the strongest peak's rolling speed is not taken for the roll."""
HANN = 2.0
"""Half width of a peak in a tapered stretch, over the inverse of its length (zero of the Hann taper's transform)."""
NARROW = 1.4
"""Ratio of frequencies, either way: a lightly damped roll is narrower than this, chop is broader."""
STEADY = 2.0
"""So many times the broad motion of the windows is taken off: the scatter of a periodogram of chop is within it."""
MOST_PIECES = 4
"""Pieces taken of the record between two windows, those that scatter most: there the weight was moved."""
OUTSIDE = 0.1
"""Standard deviation, in the logarithm of period, by which a roll is taken to leave the range that was told."""
FURTHEST = 3.0
"""Such deviations from which on it makes no difference how far outside a peak is."""


def moved_pieces(grid: Grid, heel: Array, windows: tuple[WindowSpan, ...]) -> list[tuple[WindowSpan, ...]]:
    """Cut the record between neighbouring windows into pieces as long as a window, so that spectra can be compared.

    Parameters
    ----------
    heel : (n,) rad on ``grid``, NaN in gaps.

    Returns
    -------
    For each pair of neighbours with record between them the pieces that scatter most.
    """
    ordered = sorted(windows, key=lambda w: w.start)
    usual = float(np.median([w.stop - w.start for w in windows]))
    taken: list[tuple[WindowSpan, ...]] = []
    for before, after in itertools.pairwise(ordered):
        length = min(usual, after.start - before.stop)
        if length <= 0.0:
            continue
        starts = np.linspace(before.stop, after.start - length, round((after.start - before.stop) / length))
        pieces = [WindowSpan("", float(start), float(start) + length) for start in starts]
        scatter = [_scatter(heel[grid.slice(piece.start, piece.stop)]) for piece in pieces]
        taken.append(tuple(pieces[i] for i in sorted(np.argsort(scatter)[-MOST_PIECES:])))
    return taken


def _scatter(heel: Array) -> float:
    """Standard deviation; -1 where nothing was read."""
    here = heel[np.isfinite(heel)]
    return float(np.std(here)) if here.size else -1.0


def common_to(groups: list[list[Array]], step: float) -> Pooled:
    """Pool each group of stretches and take the median of the groups: what one of them alone shows is not in it.

    A passing vessel shows in one window or one pause; the natural roll shows in all.

    Parameters
    ----------
    groups : stretches of heel (n_i,) rad, no NaN. step : s.
    """
    longest = max((stretch.size for group in groups for stretch in group), default=0)
    each = [one for one in (pooled(group, step, longest) for group in groups) if one.stretches]
    if not each:
        return pooled([], step)
    density = np.median([one.density for one in each], axis=0)
    return replace(each[0], density=density, stretches=sum(one.stretches for one in each))


def roll_frequency(
    still: Pooled, shortest: float, moved: Pooled | None = None, between: tuple[float, float] | None = None
) -> tuple[float, float]:
    """Find the frequency of the natural roll.

    Of the peaks that stand out of what is slower, in the windows or in speed with the record between, the one of most
    rolling speed beyond the broad motion of the windows; where there is none, the one of most speed that stands out of
    the octaves around it in the windows, and where there is none, of what lies beside it as far as short windows tell
    them apart. Speed (density times frequency squared) keeps the slow swing on the moorings
    from being taken for the roll, and makes the level's own change under a weight flat. A range that was told orders
    the peaks; it makes none, and it forbids none.

    Parameters
    ----------
    still : common to the windows.
    shortest : s, length of a window; slower motion than two thirds of it cannot be told.
    moved : common to `moved_pieces`; None or empty where there is no record between the windows.
    between : s, shortest and longest natural period that is likely, if told.

    Returns
    -------
    frequency : Hz, NaN if nothing stands out.
    prominence : ratio of the peak to its surroundings.
    """
    if still.frequency.size < 8:
        return float("nan"), 0.0
    lowest = max(1.0 / LONGEST_PERIOD, 1.5 / shortest)
    both, shown = still, [still.density]
    if moved is not None and moved.stretches:
        rest = np.interp(moved.frequency, still.frequency, still.density)
        both = replace(moved, density=0.5 * (moved.density + rest))
        shown = [rest, both.density * both.frequency**2]
    place = _peaks(both, lowest)
    at = both.frequency[place]
    broad = STEADY * _median(still.frequency, still.density, at / NARROW, at * NARROW)
    stands = np.max([one[place] / _median(both.frequency, one, 0.5 * at, at) for one in shown], axis=0)
    found = _first(both, place, both.density[place] - broad, stands, between)
    if found:
        return found
    place = _peaks(still, lowest)
    at, density = still.frequency[place], still.density[place]
    stands = density / _median(still.frequency, still.density, 0.5 * at, 2.0 * at)
    found = _first(still, place, density, stands, between)
    if found:
        return found
    # In windows of three periods or fewer the octave below lies within the width that the window gives every peak.
    beside = at - HANN / shortest
    stands = density / _median(still.frequency, still.density, 0.5 * beside, beside)
    return _first(still, place, density, np.where(beside > 0.0, stands, 0.0), between) or (float("nan"), 0.0)


def _peaks(spectrum: Pooled, lowest: float) -> NDArray[np.intp]:
    """Where rolling speed is more than on either side, from ``lowest`` Hz on."""
    frequency = spectrum.frequency
    speed = spectrum.density * frequency**2
    peak = np.zeros(frequency.size, dtype=bool)
    peak[1:-1] = (speed[1:-1] >= speed[:-2]) & (speed[1:-1] >= speed[2:])
    return np.flatnonzero(peak & (frequency >= lowest) & (frequency <= min(1.0 / SHORTEST_PERIOD, 0.8 * frequency[-1])))


def _first(
    spectrum: Pooled, place: NDArray[np.intp], own: Array, stands: Array, between: tuple[float, float] | None
) -> tuple[float, float] | None:
    """Of the peaks at ``place`` the one that ranks first, and by how much it stands out; None if none does."""
    speed = own * spectrum.frequency[place] ** 2
    counts = (speed > LEAST * np.max(speed, initial=0.0)) & (stands > STANDS_OUT)
    if not counts.any():
        return None
    place, speed, stands = place[counts], speed[counts], stands[counts]
    best = int(np.argmax(np.log(speed) + _likely(spectrum.frequency[place], between)))
    return _interpolated(spectrum.frequency, spectrum.density, int(place[best])), float(stands[best])


def _likely(frequency: Array, between: tuple[float, float] | None) -> Array:
    """Logarithm of how likely each frequency is by the range that was told: 0 within, Gaussian beyond, to a floor."""
    if between is None:
        return np.zeros(frequency.size)
    beyond = np.maximum(np.log(between[0] * frequency), -np.log(between[1] * frequency))
    return np.asarray(-0.5 * np.clip(beyond / OUTSIDE, 0.0, FURTHEST) ** 2)


def _median(frequency: Array, value: Array, first: Array, last: Array) -> Array:
    """Median of ``value`` from each frequency of ``first`` to that of ``last``; never quite 0."""
    start = np.minimum(np.searchsorted(frequency, first, side="right"), frequency.size - 1)
    stop = np.maximum(np.searchsorted(frequency, last), start + 1)
    return np.maximum([np.median(value[a:b]) for a, b in zip(start, stop, strict=True)], 1e-300)


def _interpolated(frequency: Array, density: Array, i: int) -> float:
    """Vertex of the parabola through the logarithms of three bins."""
    left, middle, right = np.log(np.maximum(density[i - 1 : i + 2], 1e-300))
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(frequency[i] + float(np.clip(shift, -0.5, 0.5)) * (frequency[1] - frequency[0]))
