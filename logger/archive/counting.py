"""Number the samples of a station with a beat, and lay them under its earliest arrivals; see docs/method-timing.md."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from logger.archive.beat import (
    HANDFUL,
    SAG,
    SOME,
    Count,
    Float,
    Int,
    count_over_time,
    earliest,
    last_of_bursts,
    refined,
    single_period,
    straight,
)
from logger.archive.timefit import BLOCK_S, Fitted, Way, floors_of

COUNTED: Way = "counted samples"
EARLIEST: Way = "earliest arrivals"
LEAST_RESULTANT = 0.6
"""Mean resultant of the phases of a block, below which arrivals cannot be counted."""
SILENCE_NS = 10_000_000_000
"""A longer silence begins a new stretch."""
PAUSE_NS = 500_000_000
"""A silence from here on is looked at: was it a pause, or did what it held back follow at once?"""
NEAR = 4
"""Bursts before and after a silence that say so."""
FEWEST = 20
SUSPICIOUS = 0.03
"""Share of missing samples from which another beat is tried."""


def by_beat(host: Int, sequence: Int | None, period: float) -> tuple[Fitted | None, Way]:
    """Times of a station with a beat, between silences one stretch after another; see `by_counting`, `by_order`."""
    number = np.arange(host.size) if sequence is None else sequence - sequence[0]
    if number.size < 2 or (np.diff(number) <= 0).any():
        number = np.arange(host.size)
    bounds = [0, *_silences(host, number, period), host.size]
    parts: list[Fitted] = []
    ways: list[tuple[int, Way]] = []
    for low, high in itertools.pairwise(bounds):
        fitted, way = _stretch(host[low:high], number[low:high] - number[low], period)
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


def _silences(host: Int, number: Int, period: float) -> list[int]:
    """Rows at which a new stretch begins: after a long silence, or one in which nothing was sent.

    What a stall held back follows at once: the earliest readings after it are as late, by the count, as those before.
    """
    ends = last_of_bursts(host, period)
    late = host[ends] - host[0] - number[ends] * period
    steps = np.diff(host[ends])
    found = []
    for row in np.flatnonzero(steps > max(PAUSE_NS, 5.0 * period, 3.0 * float(np.median(steps)))):
        shift = float(late[row + 1 : row + 1 + NEAR].min() - late[max(0, row + 1 - NEAR) : row + 1].min())
        if steps[row] > max(SILENCE_NS, 50 * period) or shift > 0.6 * (float(steps[row]) - period):
            found.append(int(ends[row]) + 1)
    return found


def _stretch(host: Int, number: Int, period: float) -> tuple[Fitted | None, Way]:
    """One stretch without a pause: by the count alone where it fits, else by numbering, else in order."""
    if host.size < FEWEST:
        return None, "arrival"
    counted = count_over_time(host, number)
    if counted is not None and counted.whole:
        ends = last_of_bursts(host, counted.period)
        return laid(host, number, ends, counted), COUNTED
    fitted = by_counting(host, number, single_period(host) or period)
    if counted is not None and (fitted is None or fitted.lost > SUSPICIOUS * host.size):
        # Bursts of one or two samples look like a faster station of which many are missing.
        other = by_counting(host, number, counted.period, few=SOME[0])
        fitted = other if fitted is None or (other is not None and other.lost < fitted.lost / 2) else fitted
    if fitted is not None:
        return fitted, COUNTED
    return by_order(host, number, period if counted is None else counted.period), EARLIEST


def by_counting(host: Int, number: Int, period: float, few: int = 1) -> Fitted | None:
    """Number the samples of a station of which some are missing.

    The earliest of each ``few`` bursts has a phase against the beat (blocks of them: the direction of the mean of
    exp(2 pi i t / period)); phases are unwrapped from block to block, so a beat that is slightly wrong, or drifts, does
    no harm. A sample belongs to the beat that lies up to 0.7 periods before it or 0.3 after it: delays have one sign.

    None where they scatter too much to be counted: the mean resultant of a block under 0.6, about a fifth of a period
    of exponential delay; or where more than one in twenty shares its beat with another.
    """
    ends = last_of_bursts(host, period)
    at = (host - host[0]).astype(np.float64)
    rows = ends
    if few > 1:
        if ends.size < FEWEST * few:
            return None
        rows = ends[earliest(at[ends] - number[ends] * period, few)]
        period = refined(host[rows], float(np.median(np.diff(at[rows]) / np.diff(number[rows]))))
    phase = _phase(at[rows], period)
    if phase is None:
        return None
    centres, phases, slope = phase
    beats = np.floor(at / period - np.interp(at, centres, phases) + 0.3).astype(np.int64)
    numbers = _numbers(beats, number, ends, rows)
    if np.mean(np.diff(numbers) == 0) > 0.05:
        return None
    beat = period / (1.0 - slope * period / 1e9)
    late = at[ends] - numbers[ends] * beat
    if few > 1 or host.size > HANDFUL * ends.size:
        # The ends of bursts may follow a clock of their own; on the station's beat they all stay within one beat.
        first = late[earliest(late, SOME[0])]
        if first.size < 2 or np.ptp(np.minimum(first[1:], first[:-1])) > beat * (1.05 + SAG * numbers[-1]):
            return None
    spread = float(np.std(late))
    u = spread / beat / max(float(numbers[-1] - numbers[0]), 1.0) * np.sqrt(12.0 / rows.size) + 1e-9
    return laid(host, numbers - numbers[0], ends, Count(beat, u, False))


def _phase(at: Float, period: float) -> tuple[Float, Float, float] | None:
    """Middles of the blocks, their phases against the beat in turns, and the slope of the phases per second."""
    spacing = max(float(at[-1] - at[0]) / at.size, 1.0)
    size = int(np.clip(BLOCK_S * 1e9 / spacing, 20, 200))
    blocks = max(1, at.size // size)
    size = at.size // blocks
    turns = at / period
    # The whole turns are taken off first: a large argument would cost the cosine its last digits.
    arrow = np.exp(2j * np.pi * (turns - np.floor(turns)))[: blocks * size].reshape(blocks, size).mean(axis=1)
    if np.median(np.abs(arrow)) < LEAST_RESULTANT:
        return None
    phases = np.unwrap(np.angle(arrow)) / (2 * np.pi)
    centres = at[: blocks * size].reshape(blocks, size).mean(axis=1)
    slope, _ = straight(centres / 1e9, phases)
    if blocks > 1:
        # The slope carries the phase on beyond the middle of the first and the last block.
        first, last = slope * centres[0] / 1e9, slope * (at[-1] - centres[-1]) / 1e9
        centres = np.concatenate([[0.0], centres, [at[-1]]])
        phases = np.concatenate([[phases[0] - first], phases, [phases[-1] + last]])
    return centres, phases, slope


def _numbers(beats: Int, number: Int, ends: NDArray[np.intp], rows: NDArray[np.intp]) -> Int:
    """Beat of every sample: its running number and what is missing before it.

    How many are missing is read where arrivals are early (``rows``), the middle of five neighbours, so that a late one
    does no harm; a sample between two of these takes it from the end of its own burst, if that lies between theirs.
    """
    missing = beats - number
    known = missing[rows]
    if known.size > 4:
        wide = np.concatenate([known[:1], known[:1], known, known[-1:], known[-1:]])
        a, b, c, d, e = (wide[i : i + known.size] for i in range(5))
        low, high = np.minimum(a, b), np.maximum(a, b)
        low, high = np.maximum(low, np.minimum(c, d)), np.minimum(high, np.maximum(c, d))
        known = np.maximum(np.minimum(low, high), np.minimum(np.maximum(low, high), e))
    # A sample up to a row, and after the row before it, is numbered between what is missing at the two.
    spans = np.diff(np.concatenate([[-1], rows, [number.size - 1]]))
    after = np.repeat(np.append(known, known[-1]), spans)
    before = np.repeat(np.append(known[:1], known), spans)
    before[rows] = known
    own = np.repeat(missing[ends], np.diff(np.concatenate([[-1], ends])))
    numbers: Int = np.maximum.accumulate(number + np.clip(own, np.minimum(before, after), np.maximum(before, after)))
    return numbers


def by_order(host: Int, number: Int, period: float) -> Fitted:
    """Lay samples that cannot be counted under the earliest of a few bursts, evenly between these.

    The running number gives the order (and what the logger itself had to drop); what was lost on the way to it is
    spread over the readings about it. Errors stay below a few beats.
    """
    at = (host - host[0]).astype(np.float64)
    ends = last_of_bursts(host, period)
    late = at - number * period
    groups = [max(1, min(SOME[0], ends.size // 4)), *(few for few in SOME[1:] if ends.size >= FEWEST * few)]
    tried = [ends[earliest(late[ends], few)] for few in groups]
    # Longer groups take away more of the delay, and smear what was lost over more readings.
    rows = min(tried, key=lambda rows: float(np.ptp(late[rows]) if rows.size < 3 else np.std(np.diff(late[rows]))))
    slope, _ = straight(number[rows].astype(np.float64), late[rows])
    carry = np.interp(number, number[rows], late[rows])
    time = host[0] + np.round(number * period + carry).astype(np.int64)
    beat = period + slope
    noise = float(np.std(late[rows] - slope * number[rows]))
    return Fitted(time, 1e9 / beat, 1e9 / beat * noise / max(float(at[-1]), 1.0), 0)


def laid(host: Int, number: Int, ends: NDArray[np.intp], count: Count) -> Fitted:
    """Times on the beat, under the earliest arrivals of blocks of 30 s."""
    on_beat = number * (count.period / 1e9)
    late = (host[ends] - host[0]) / 1e9 - on_beat[ends]
    middles, floors = floors_of(on_beat[ends], late, quantile=0.05)
    carry = np.interp(on_beat, middles, floors)
    time = host[0] + np.round((on_beat + carry) * 1e9).astype(np.int64)
    lost = int((np.diff(number) - 1).clip(min=0).sum())
    rate = 1e9 / count.period
    return Fitted(time, rate, rate * count.u, lost)
