"""Three ways to find when samples were taken from when they arrived; derivation in docs/method-timing.md.

Arrival is never before the sample: ``arrival = sample + delay``, delay at or above a constant floor. The floor itself
cannot be told from arrivals alone; times here are exact up to that constant (milliseconds on a serial line).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Int = NDArray[np.int64]
Float = NDArray[np.float64]
Reals = NDArray[np.floating[Any]]

BLOCK_S = 30.0
"""Length over which the floor of the delay and the beat of a station are taken as straight."""
COARSE = 1.5
"""A device clock that moves on only every so many beats does not separate samples."""
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
    """Beat of a station in ns from its arrivals: median over stretches of 50, so that losses and bursts hardly count.

    Returns 0 where the station has no beat (half of the stretches differ from the median by more than a fifth).
    """
    span = min(50, max(1, (host.size - 1) // 4))
    steps = (host[span:] - host[:-span])[:: max(1, span // 5)] / span
    middle = float(np.median(steps))
    if middle <= 0 or np.median(np.abs(steps - middle)) > 0.2 * middle:
        return 0.0
    return middle


def by_device(host: Int, device: Int, period: float) -> Fitted | None:
    """Carry the device's own times onto the logger's clock by the floor of (arrival - device time).

    None where the device clock is too coarse, stands still, or was stepped.
    """
    order = np.argsort(device, kind="stable")
    ordered, offset = device[order], (host - device)[order]
    steps = np.diff(ordered)
    moving = steps[steps > 0]
    if moving.size < 0.6 * steps.size or (period > 0 and np.median(moving) > COARSE * period):
        return None
    origin = ordered[0]
    at = (ordered - origin) / 1e9
    level = offset - offset[0]
    centres, floors = _floors(at, level / 1e9)
    slope, intercept = _straight(centres, floors)
    away = floors - (intercept + slope * centres)
    if (away < -STEP_S).any() or abs(slope) > 1e-3:
        return None
    good = away < STEP_S / 2
    if good.sum() < max(1, 0.2 * good.size):
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


def by_counting(host: Int, period: float) -> Fitted | None:
    """Number the samples of a steady station and lay them on its beat.

    None where arrivals scatter too much to be counted (bursts).
    """
    steps = np.diff(host) / period
    whole = np.round(steps)
    if np.mean(np.abs(steps - whole) > 0.3) > 0.05 or np.mean(whole == 0) > 0.05:
        return None
    number = np.concatenate([[0], np.cumsum(whole.astype(np.int64))])
    number = _spread_bursts(number, int(30e9 / period))
    at = (host - host[0]).astype(np.float64)
    beat = float(period)
    for _ in range(2):
        # A count that slipped by one shows as a whole beat between the levels of neighbouring blocks.
        centres, levels = _floors(number * (beat / 1e9), (at - number * beat) / 1e9, quantile=0.5)
        jumps = np.round(np.diff(levels) * 1e9 / beat).astype(np.int64)
        if jumps.any():
            where = np.searchsorted(number, (centres[:-1] + centres[1:]) * 0.5e9 / beat)
            for row, jump in zip(where[jumps != 0], jumps[jumps != 0], strict=True):
                number[row:] += jump
            number = np.maximum.accumulate(number)
            centres, levels = _floors(number * (beat / 1e9), (at - number * beat) / 1e9, quantile=0.5)
        slope, _intercept = _straight(centres, levels)
        beat = float(beat * (1.0 + slope))
    residual = (at - number * beat) / 1e9
    centres, floors = _floors(number * (beat / 1e9), residual, quantile=0.05)
    carry = np.interp(number * (beat / 1e9), centres, floors)
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
    """Centre and low quantile of ``level`` in blocks of ``at`` (both s, ``at`` in order); at least one block."""
    count = max(1, int((at[-1] - at[0]) // block))
    edges = np.searchsorted(at, at[0] + (at[-1] - at[0]) * np.arange(1, count) / count)
    bounds = np.unique(np.concatenate([[0], edges, [at.size]]))
    centres, floors = [], []
    for low, high in itertools.pairwise(bounds):
        part = level[low:high]
        centres.append((at[low] + at[high - 1]) / 2.0)
        floors.append(np.min(part) if quantile == 0.0 else np.quantile(part, quantile))
    return np.asarray(centres), np.asarray(floors)


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
