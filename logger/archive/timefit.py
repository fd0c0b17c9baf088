"""Three ways to find when samples were taken from when they arrived; derivation in docs/method-timing.md.

Arrival is never before the sample: ``arrival = sample + delay``, delay at or above a constant floor. The floor itself
cannot be told from arrivals alone; times here are exact up to that constant (milliseconds on a serial line).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Int = NDArray[np.int64]
Way = Literal["device time", "counted samples", "earliest arrivals", "arrival"]
"""How times were found."""
Float = NDArray[np.float64]
Reals = NDArray[np.floating[Any]]

BLOCK_S = 30.0
"""Length over which the floor of the delay and the beat of a station are taken as straight."""
COUNTED: Way = "counted samples"
EARLIEST: Way = "earliest arrivals"
COARSE = 1.5
"""A device clock that moves on only every so many beats does not separate samples."""
STEEPEST = 2e-4
"""Drift of a device clock beyond which its slope is not believed (quartz: below 1e-4, common practice)."""
STEP_S = 0.5
"""A device clock that jumps by more against the logger's is not trusted for that stretch."""


@dataclass(frozen=True)
class Fitted:
    """Times of the samples, in the order of the arrivals."""

    time_ns: Int
    rate_hz: float
    rate_u_hz: float
    lost: int


def nominal_period(host: Int) -> float:
    """Beat of a station in ns from its arrivals; 0 where it has none.

    Single steps near the median tell it first (a lost sample makes a double step and does not count). Then ever longer
    lags, each divided by the whole number of beats that the lag before makes of it: jitter shrinks with the lag.
    Where samples come in bursts single steps say nothing, and a median over long stretches must do.
    """
    if host.size < 3:
        return 0.0
    steps = np.diff(host)
    beat = float(np.median(steps))
    near = steps[np.abs(steps - beat) < 0.5 * beat]
    if beat <= 0 or near.size < 0.6 * steps.size:
        return _bursty_period(host)
    beat = float(np.median(near))
    lag = 10
    while lag <= host.size // 4:
        spans = host[lag:] - host[:-lag]
        beats = np.round(spans / beat)
        better = float(np.median(spans[beats > 0] / beats[beats > 0]))
        if abs(better / beat - 1.0) * lag > 0.3:
            break
        beat = better
        lag *= 10
    return beat


def _bursty_period(host: Int) -> float:
    """Beat by long stretches; needs enough of them to tell a beat from chance (whose scatter shrinks much slower)."""
    if host.size < 400:
        return 0.0
    span = host.size // 8
    steps = (host[span:] - host[:-span])[:: max(1, span // 20)] / span
    middle = float(np.median(steps))
    return middle if middle > 0 and np.median(np.abs(steps - middle)) < 0.03 * middle else 0.0


def by_device(host: Int, device: Int, period: float) -> Fitted | None:
    """Carry the device's own times onto the logger's clock by the floor of (arrival - device time).

    None where the device clock is too coarse, stands still, or was stepped.
    """
    order = np.argsort(device, kind="stable")
    ordered, offset = device[order], (host - device)[order]
    steps = np.diff(ordered)
    moving = steps[steps > 0]
    if moving.size < 0.6 * steps.size:
        return None
    steady = _regular(moving) and not _jumps(host, device, float(np.median(moving)))
    if not steady and period > 0 and np.median(moving) > COARSE * period:
        return None
    origin = ordered[0]
    at = (ordered - origin) / 1e9
    level = offset - offset[0]
    centres, floors = _floors(at, level / 1e9)
    slope, intercept = _below(centres, floors) if steady else _straight(centres, floors)
    away = floors - (intercept + slope * centres)
    if (away < -STEP_S).any() or abs(slope) > 1e-3:
        return None
    good = away < STEP_S / 2
    if good.sum() < (1 if steady else max(1, 0.2 * good.size)):
        return None
    carry = np.interp(at, centres[good], floors[good]) * 1e9 + offset[0]
    time = np.empty_like(device)
    time[order] = ordered + carry.astype(np.int64)
    beat = float(np.median(moving)) * (1.0 + slope)
    gaps = np.round(steps / np.median(moving)) - 1.0
    lost = int(gaps[gaps > 0].sum()) if np.mean(np.abs(steps / np.median(moving) - 1.0) < 0.2) > 0.8 else 0
    span = float(at[-1]) or 1.0
    mean_beat = span * 1e9 / (ordered.size - 1 + lost) * (1.0 + slope) if lost or _regular(steps) else beat
    noise = float(np.std(away[good])) if good.sum() > 2 else STEP_S
    return Fitted(time, 1e9 / mean_beat, 1e9 / mean_beat * noise / span, lost)


def by_beat(host: Int, sequence: Int | None, period: float) -> tuple[Fitted | None, Way]:
    """Times of a station with a beat, between silences one stretch after another; see `by_counting`, `by_order`."""
    silences = np.flatnonzero(np.diff(host) > max(10e9, 50 * period)) + 1
    bounds = [0, *silences.tolist(), host.size]
    parts: list[Fitted] = []
    ways: list[tuple[int, Way]] = []
    for low, high in itertools.pairwise(bounds):
        fitted: Fitted | None = None
        way: Way = "arrival"
        if high - low >= 20:
            fitted, way = by_counting(host[low:high], period), COUNTED
            if fitted is None:
                numbers = None if sequence is None else sequence[low:high]
                fitted, way = by_order(host[low:high], numbers, period), EARLIEST
        parts.append(fitted or Fitted(host[low:high], float("nan"), float("nan"), 0))
        ways.append((high - low, way))
    size = np.asarray([part.time_ns.size for part in parts], dtype=np.float64)
    rates = np.asarray([part.rate_hz for part in parts])
    known = np.isfinite(rates)
    if not known.any():
        return None, "arrival"
    rate = float(np.average(rates[known], weights=size[known]))
    doubt = float(np.sqrt(np.sum((size * [part.rate_u_hz for part in parts])[known] ** 2)) / size[known].sum())
    times = np.concatenate([part.time_ns for part in parts]) if len(parts) > 1 else parts[0].time_ns
    return Fitted(times, rate, doubt, sum(part.lost for part in parts)), max(ways)[1]


def by_counting(host: Int, period: float) -> Fitted | None:
    """Number the samples of a steady station and lay them on its beat.

    Each block of arrivals has a phase against the beat (the direction of the mean of exp(2 pi i t / period)); phases
    are unwrapped from block to block, so a beat that is slightly wrong, or drifts, does no harm. A sample belongs to
    the beat that lies up to 0.7 periods before it or 0.3 after it: delays have one sign.

    None where arrivals scatter too much to be counted: the mean resultant of a block under 0.6, about a fifth of a
    period of exponential delay.
    """
    at = (host - host[0]).astype(np.float64)
    size = int(np.clip(BLOCK_S * 1e9 / period, 20, 200))
    blocks = max(1, at.size // size)
    size = at.size // blocks
    turns = at / period
    # The whole turns are taken off first: a large argument would cost the cosine its last digits.
    arrow = np.exp(2j * np.pi * (turns - np.floor(turns)))[: blocks * size].reshape(blocks, size).mean(axis=1)
    if np.median(np.abs(arrow)) < 0.6:
        return None
    phases = np.unwrap(np.angle(arrow)) / (2 * np.pi)
    centres = at[: blocks * size].reshape(blocks, size).mean(axis=1)
    slope, _ = _straight(centres / 1e9, phases)
    if blocks > 1:
        # The slope carries the phase on beyond the middle of the first and the last block.
        centres = np.concatenate([[0.0], centres, [at[-1]]])
        phases = np.concatenate(
            [
                [phases[0] - slope * (centres[1] - 0.0) / 1e9],
                phases,
                [phases[-1] + slope * (at[-1] - centres[-2]) / 1e9],
            ]
        )
    number = np.floor(turns - np.interp(at, centres, phases) + 0.3).astype(np.int64)
    number = np.maximum.accumulate(number)
    if np.mean(np.diff(number) == 0) > 0.05:
        return None
    number = _spread_bursts(number - number[0], int(30e9 / period))
    beat = period / (1.0 - slope * period / 1e9)
    residual = (at - number * beat) / 1e9
    on_beat = number * (beat / 1e9)
    middles, floors = _floors(on_beat, residual, quantile=0.05)
    carry = np.interp(on_beat, middles, floors)
    time = host[0] + np.round(number * beat + carry * 1e9).astype(np.int64)
    spread = float(np.std(residual - carry))
    span = float(number[-1] - number[0]) or 1.0
    relative = spread * 1e9 / beat / span * np.sqrt(12.0 / number.size) + 1e-9
    lost = int((np.diff(number) - 1).clip(min=0).sum())
    return Fitted(time, 1e9 / beat, 1e9 / beat * relative, lost)


def by_order(host: Int, sequence: Int | None, period: float) -> Fitted | None:
    """Lay samples that come in bursts on straight pieces under their earliest arrivals.

    The running number gives the order (and what the logger itself had to drop); inside a block of ``BLOCK_S`` samples
    are taken as evenly spaced. Errors stay below a few beats.
    """
    number = np.arange(host.size, dtype=np.float64) if sequence is None else (sequence - sequence[0]).astype(np.float64)
    if number.size < 2 or (np.diff(number) <= 0).any():
        number = np.arange(host.size, dtype=np.float64)
    at = (host - host[0]) / 1e9
    beat = period / 1e9
    centres, floors = _floors(number * beat, at - number * beat, quantile=0.05, block=BLOCK_S / 3.0)
    carry = np.interp(number * beat, centres, floors)
    slope, _ = _straight(centres, floors)
    time = host[0] + np.round((number * beat + carry) * 1e9).astype(np.int64)
    rate = 1.0 / (beat * (1.0 + slope))
    noise = float(np.std(floors - slope * centres)) if floors.size > 2 else period / 1e9
    return Fitted(time, rate, rate * noise / max(float(at[-1]), 1e-9), 0)


def _jumps(host: Int, device: Int, beat: float) -> bool:
    """Whether the device clock may have been set: it leaps, or goes back, while the arrivals do not."""
    leap = np.diff(device) - beat
    far = np.abs(leap) > max(STEP_S * 1e9, 4.0 * beat)
    return bool((np.abs(leap - (np.diff(host) - beat))[far] > STEP_S * 1e9).any())


def _regular(steps: Int) -> bool:
    middle = float(np.median(steps))
    return middle > 0 and float(np.mean(np.abs(steps / middle - 1.0) < 0.2)) > 0.95


def _spread_bursts(number: Int, reach: int) -> Int:
    """Samples with the same number came in a burst: set them back into the gap before it, if there is one in reach.

    >>> _spread_bursts(np.array([0, 1, 5, 5, 5, 6]), 100).tolist()
    [0, 1, 3, 4, 5, 6]
    """
    ties = np.flatnonzero(np.diff(number) <= 0)
    moved = number.copy()
    for row in ties:
        wanted = moved[row + 1] - 1
        place = row
        while place >= 0 and row - place < reach and moved[place] > wanted:
            place -= 1
            wanted -= 1
        if row - place < reach and place >= 0:
            moved[place + 1 : row + 1] = moved[row + 1] - np.arange(row - place, 0, -1)
    return moved


def _floors(at: Reals, level: Reals, quantile: float = 0.0, block: float = BLOCK_S) -> tuple[Float, Float]:
    """Middle and low quantile of ``level`` in blocks of equal count that last about ``block`` (``at`` in order; s).

    What does not fill the last block is joined by as many rows before it, so that every block has the same count.
    """
    blocks = max(1, int((at[-1] - at[0]) // block))
    size = max(1, at.size // blocks)
    blocks = at.size // size
    rank = min(size - 1, int(quantile * size))
    whole = blocks * size
    floors = np.partition(level[:whole].reshape(blocks, size), rank, axis=1)[:, rank]
    starts = np.arange(blocks) * size
    if whole < at.size and (at.size - whole) > size // 4:
        starts = np.append(starts, at.size - size)
        floors = np.append(floors, np.partition(level[-size:], rank)[rank])
    return (at[starts] + at[starts + size - 1]) / 2.0, np.asarray(floors, dtype=np.float64)


def _straight(x: Float, y: Float) -> tuple[float, float]:
    """Slope and intercept by medians (Theil 1950, Sen 1968): half of the blocks may be late."""
    if x.size < 2:
        return 0.0, float(y[0]) if y.size else 0.0
    if x.size > 120:
        pick = np.linspace(0, x.size - 1, 120).astype(int)
        x, y = x[pick], y[pick]
    first, second = np.triu_indices(x.size, 1)
    slope = float(np.median((y[second] - y[first]) / (x[second] - x[first])))
    return slope, float(np.median(y - slope * x))


def _below(x: Float, y: Float) -> tuple[float, float]:
    """Slope and intercept of the line that touches ``y`` from below about its middle.

    For a device clock that beats steadily: then whatever the arrivals do is delay, delay is never negative, and the
    lower hull of (arrival - device time) is the clock (Moon, Skelly and Towsley 1999), however few blocks reach it.
    """
    hull: list[int] = []
    for i in range(x.size):
        while len(hull) > 1 and (y[hull[-1]] - y[hull[-2]]) * (x[i] - x[hull[-2]]) >= (y[i] - y[hull[-2]]) * (
            x[hull[-1]] - x[hull[-2]]
        ):
            hull.pop()
        hull.append(i)
    if len(hull) < 2:
        return 0.0, float(y[0]) if y.size else 0.0
    middle = (x[0] + x[-1]) / 2.0
    right = next(n for n in range(1, len(hull)) if x[hull[n]] >= middle or n == len(hull) - 1)
    a, b = hull[right - 1], hull[right]
    slope = float((y[b] - y[a]) / (x[b] - x[a]))
    if abs(slope) > STEEPEST:
        # Too few blocks reach the hull to tell the slope; device clocks are far better than this.
        slope = 0.0
    return slope, float(np.min(y - slope * x))
