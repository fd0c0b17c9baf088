"""The beat of a station from its arrivals, whether they come one by one or by the handful; see docs/method-timing.md.

What is certain is the count of the readings; an arrival bounds the moment of its sample from above, most closely for
the last of a burst. So everything here rests on the last arrival of each burst, and on the earliest of a few of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Int = NDArray[np.int64]
Float = NDArray[np.float64]
Reals = NDArray[np.floating[Any]]

TOGETHER = 0.25
"""Arrivals nearer than this share of the beat are one burst."""
SOME = (6, 24, 96)
"""Bursts of which the earliest is taken as on time: the fewer the better, the more the delays scatter the more."""
PROMPT = 0.3
"""Of a beat: scatter of the delay below which each arrival tells of its own."""
HANDFUL = 1.5
"""Samples in a burst, on average, from which there are several."""
SURE = 0.005
"""Standard uncertainty of a beat, relative, beyond which it may be chance."""
LEAST_BLOCKS = 8
"""Of so many bursts, to say by the count alone that nothing is missing."""
HALF_A_SAMPLE = 0.6
"""Of a beat: what the earliest arrivals shift by where a sample is missing; between none and one."""
SAG = 1e-4 / 8.0
"""What a clock whose rate drifts by 1e-4 within a stretch departs from a straight line, in lengths of the stretch."""
ENOUGH = 120
"""Points of a straight line by medians; more are thinned."""
MANY = 5000
"""Spans of one length whose middle is taken; more are thinned."""
MOST_TWICE = 1.0 / 3.0
"""Share of arrivals beyond the count of beats up to which they may be lines sent twice."""


@dataclass(frozen=True)
class Count:
    """A station's beat by the count of its readings over time."""

    period: float
    """ns."""
    u: float
    """Standard uncertainty of it, relative."""
    whole: bool
    """Whether nothing is missing and there was no pause, as far as arrivals can tell."""


def last_of_bursts(host: Int, period: float) -> NDArray[np.intp]:
    """Rows of the last arrival of each burst."""
    return np.flatnonzero(np.append(np.diff(host) >= TOGETHER * period, True))


def earliest(late: Reals, few: int) -> NDArray[np.intp]:
    """Rows of the smallest of each ``few`` neighbours; what fills no group is left out."""
    groups = late.size // few
    rows: NDArray[np.intp] = np.argmin(late[: groups * few].reshape(groups, few), axis=1) + np.arange(groups) * few
    return rows


def count_over_time(host: Int, number: Int) -> Count | None:
    """Beat by count over time: a straight line under the earliest arrivals against the running number.

    A missing sample makes all arrivals from there on later by a beat. So nothing is missing where the earliest of
    twelve bursts before and of twelve after any place differ by less than 0.6 of a beat, and all stay within one beat
    (and what the device's clock drifts). Where most are prompt the very last tells of its own. Where bursts hold
    several samples their ends wander through a whole beat and leap back by themselves; then only the second counts.
    Where that does not fit, more bursts are taken together, whose earliest must stay within 0.6 of a beat: delays of
    many beats, and gulps nearly as long as a beat. None where there are too few bursts.
    """
    period = float(host[-1] - host[0]) / max(float(number[-1] - number[0]), 1.0)
    if host.size < 2 or period <= 0:
        return None
    ends = last_of_bursts(host, period)
    at, count = (host[ends] - host[0]).astype(np.float64), (number[ends] - number[0]).astype(np.float64)
    handfuls = host.size > HANDFUL * ends.size
    found: Count | None = None
    for few in SOME:
        if ends.size < LEAST_BLOCKS * few:
            break
        for _ in range(3):
            late = at - count * period
            rows = earliest(late, few)
            slope, _ = straight(count[rows], late[rows])
            period += slope
        every = at - count * period
        late = every[rows]
        pairs = np.minimum(late[:-1], late[1:])
        steps = np.append(pairs[2:] - pairs[:-2], [pairs[1] - late[0], late[-1] - pairs[-2]])
        first = few == SOME[0]
        whole = bool(np.ptp(pairs) < ((1.05 if first else HALF_A_SAMPLE) + SAG * count[-1]) * period)
        whole &= bool((handfuls and first) or steps.max() < HALF_A_SAMPLE * period)
        prompt = not handfuls and _scatter(every) < (PROMPT + SAG * count[-1]) * period
        whole &= not prompt or bool(every[-1] - late[-1] < HALF_A_SAMPLE * period)
        u = float(np.std(late) * np.sqrt(12.0 / min(late.size, ENOUGH)) / (count[-1] * period)) + 1e-9
        whole &= u < SURE
        if whole or found is None:
            found = Count(period, u, whole)
        if whole:
            break
    return found


def _scatter(late: Float) -> float:
    """How late most arrivals are beyond the earliest ones."""
    low, high = np.quantile(late[:: max(1, late.size // 1000)], [0.05, 0.9])
    return float(high - low)


def single_period(host: Int) -> float:
    """Beat in ns by single steps; 0 where most of them are not near the middle one.

    A lost sample makes a double step and does not enter. Then ever longer lags, each divided by the whole number of
    beats that the lag before makes of it: jitter shrinks with the lag.
    """
    steps = np.diff(host)
    beat = float(np.median(steps))
    near = steps[np.abs(steps - beat) < 0.5 * beat]
    if beat <= 0 or near.size < 0.6 * steps.size or beat * steps.size > (1.0 + MOST_TWICE) * float(host[-1] - host[0]):
        return 0.0
    return refined(host, float(np.mean(near)))


def refined(host: Int, beat: float) -> float:
    """Better beat from lags twice as long each time, as long as the beat before numbers them without doubt."""
    lag = 2
    while lag <= host.size // 4:
        spans = (host[lag:] - host[:-lag])[:: max(1, host.size // MANY)]
        beats = np.round(spans / beat)
        good = beats > 0
        if not good.any():
            break
        better = float(np.median(spans[good] / beats[good]))
        if abs(better / beat - 1.0) * float(np.median(beats)) > 0.3:
            break
        beat = better
        lag *= 2
    return beat


def nominal_period(host: Int) -> float:
    """Beat of a station in ns from its arrivals; 0 where it has none.

    By the count where that fits, else by single steps; where samples come in bursts and some are missing, by long
    stretches, so that what is missing counts as time.
    """
    if host.size < 3:
        return 0.0
    counted = count_over_time(host, np.arange(host.size))
    if counted is not None and counted.whole:
        return counted.period
    return single_period(host) or _long_stretches(host)


def _long_stretches(host: Int) -> float:
    """Needs enough of them to tell a beat from chance (whose scatter shrinks much slower)."""
    if host.size < 400:
        return 0.0
    span = host.size // 8
    steps = (host[span:] - host[:-span])[:: max(1, span // 20)] / span
    middle = float(np.median(steps))
    return middle if middle > 0 and np.median(np.abs(steps - middle)) < 0.03 * middle else 0.0


def straight(x: Float, y: Float) -> tuple[float, float]:
    """Slope and intercept by medians (Theil 1950, Sen 1968): half of the blocks may be late."""
    if x.size < 2:
        return 0.0, float(y[0]) if y.size else 0.0
    if x.size > ENOUGH:
        pick = np.linspace(0, x.size - 1, ENOUGH).astype(int)
        x, y = x[pick], y[pick]
    first, second = np.triu_indices(x.size, 1)
    slope = float(np.median((y[second] - y[first]) / (x[second] - x[first])))
    return slope, float(np.median(y - slope * x))
