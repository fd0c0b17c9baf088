"""When samples were taken by the device's own clock, and what the ways share; derivation in docs/method-timing.md.

Arrival is never before the sample: ``arrival = sample + delay``, delay at or above a constant floor. The floor itself
cannot be told from arrivals alone; times here are exact up to that constant (milliseconds on a serial line).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from logger.archive.beat import Float, Int, Reals, straight

Way = Literal["device time", "counted samples", "earliest arrivals", "arrival"]
"""How times were found."""

BLOCK_S = 30.0
"""Length over which the floor of the delay and the beat of a station are taken as straight."""
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
    centres, floors = floors_of(at, level / 1e9)
    slope, intercept = _below(centres, floors) if steady else straight(centres, floors)
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


def _jumps(host: Int, device: Int, beat: float) -> bool:
    """Whether the device clock may have been set: it leaps, or goes back, while the arrivals do not."""
    leap = np.diff(device) - beat
    far = np.abs(leap) > max(STEP_S * 1e9, 4.0 * beat)
    return bool((np.abs(leap - (np.diff(host) - beat))[far] > STEP_S * 1e9).any())


def _regular(steps: Int) -> bool:
    middle = float(np.median(steps))
    return middle > 0 and float(np.mean(np.abs(steps / middle - 1.0) < 0.2)) > 0.95


def floors_of(at: Reals, level: Reals, quantile: float = 0.0, block: float = BLOCK_S) -> tuple[Float, Float]:
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
