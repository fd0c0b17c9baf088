"""Does the roll grow for a while, as in the wash of a tug or the waves of a passing vessel?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq
from scipy.special import fdtrc, fdtri

from dsp.alike import Habit, habit
from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.checks.packets import as_many, packets_in
from dsp.checks.swing import FEWEST, OFF, SHARED, Swing, swing_of
from dsp.types import Array, Check, Verdict

SWELLS = 30.0
"""Degrees of freedom that the pushes of one window are worth at most where no other windows tell more: what pushes her
(chop, gusts) swells and fades by a quarter over a minute or two (judgement), so that many pushes do not tell the
strength of the moment any better."""
WITHIN = 3.0
"""The same over the degrees of freedom by which windows differ: what makes windows hours apart unlike each other swells
within them too, with a third of the variance (judgement: strength that is forgotten within four minutes or so)."""
RUNS, PACKETS = 0.3, 0.8
"""Shares of the false alarms of runs and of packets. More than one together, since both see the same; with the other
bounds less than the whole is used up (tests/unit/dsp/test_packets.py)."""


def check(look: Look) -> Check:
    """Strongest run of pushes, or packet of waves in step, against the other pushes of the record and the day's.

    Both are F whose lower part is averaged over what is thought of the day's habit; each has a share of the false
    alarms, split among as many as the overlapping runs and packets come to. The record beside the window tells what is
    usual and where a packet begins; what lies mostly in it is not the window's fault and is not asked.
    """
    swing = swing_of(look)
    if swing is None or swing.entering >= swing.last - 1:
        return not_made(look, "burst", "no two whole roll periods")
    day = habit(look.evidence.other_push, look.evidence.other_push_dof)
    if swing.time.size < FEWEST and not day.tells:
        return not_made(look, "burst", f"fewer than {FEWEST} roll periods, and nothing to compare them with")
    sure = _sure(swing, day)
    rivals = (_strongest_run(swing, day, sure), _strongest_packet(swing, day, sure))
    found = min(rivals, key=lambda one: one.chance * one.tried / one.share)
    ratio = found.inside / found.usual
    limit = _limit(found, day, REJECT["burst"] * found.share / found.tried) / found.usual
    verdict: Verdict = "rejected" if ratio > limit else "fine"
    first, last = found.first, found.first + found.count
    grows = float(np.abs(swing.amplitude[first : last + 1]).max())
    many = f"{found.count} roll periods are" if found.count > 1 else "roll period is"
    says = (
        f"The strongest {many} pushed {np.sqrt(ratio):.1f} times as hard as is usual (limit {np.sqrt(limit):.1f})"
        + (f"; the roll grows to {np.rad2deg(grows):.3f} deg, as in wash." if verdict == "rejected" else ".")
    )
    evidence = {
        "time": look.evidence.time,
        "heel": look.evidence.heel - look.evidence.wind_part - look.evidence.mean,
        "period_time": swing.time,
        "amplitude": np.abs(swing.amplitude),
        "push": np.abs(swing.push),
        "run": np.array([swing.time[first], swing.time[last]]),
    }
    return Check("burst", ratio, limit, "ratio of variances", REJECT["burst"], verdict, says, evidence)


@dataclass(frozen=True)
class _Found:
    """One run or packet, with what was to be expected."""

    chance: float
    """By itself."""
    first: int
    count: int
    inside: float
    """rad2, mean square of its pushes."""
    inside_dof: float
    below: Array
    """(h,) rad2, mean square to expect by each hypothesis of the day's habit."""
    dof: Array
    """(h,) degrees of freedom of ``below``."""
    usual: float
    """rad2, ``below`` on average."""
    tried: float
    """How many independent ones those looked at come to."""
    share: float = 1.0
    """Of the false alarms."""


def _sure(swing: Swing, day: Habit) -> Array:
    """How much of each push (j,) is none of a swing that dies a little faster, slower or quicker than the day's.

    A swing of amplitude ``z`` whose law is off by `OFF` leaves a push of ``OFF |z|`` a period, beside the usual ones.
    """
    seen = np.abs(swing.push) ** 2
    usual = float(np.exp(day.weight @ np.log(day.usual))) if day.tells else float(np.median(seen)) / np.log(2.0)
    usual = max(usual, swing.noise, 1e-300)
    return np.asarray(np.sqrt(usual / (usual + (OFF * np.abs(swing.amplitude[:-1])) ** 2)))


def _strongest_run(swing: Swing, day: Habit, sure: Array) -> _Found:
    """Find the unlikeliest run of the window's pushes, whatever their phases: from one push to all of them."""
    power = np.abs(sure * swing.push) ** 2
    total = np.concatenate([[0.0], np.cumsum(power)])
    size, tried = power.size, 0.0
    enter, leave = swing.entering, swing.last - 1
    longest = leave - enter if day.tells else min(leave - enter, size // 2)
    best: _Found | None = None
    for count in _lengths(longest):
        starts = np.arange(enter, leave - count + 1)
        inside = total[starts + count] - total[starts]
        tried += inside.size
        free = 2.0 * count / (1.0 if count == 1 else SHARED)
        outside = np.maximum(total[-1] - inside, 0.0) / max(size - count, 1)
        one = _unlikeliest(inside / count, free, outside, 2.0 * (size - count) / SHARED, day, swing.noise)
        if best is None or one.chance < best.chance:
            best = replace(one, first=int(starts[one.first]), count=count)
    assert best is not None
    return replace(best, tried=_runs_as_many(tried), share=RUNS)


def _runs_as_many(tried: float) -> float:
    """Return how many independent runs have as good a chance of a maximum as so many that overlap.

    By Monte Carlo at 0.002 false alarms a third of them and less, for 3 to 80 pushes (tests/unit/dsp/test_packets.py).
    """
    return min(2.0 + 0.35 * tried, tried)


def _lengths(longest: int) -> list[int]:
    """Lengths of runs that are looked at, in periods: all up to a dozen, then each a quarter longer than the last."""
    lengths = list(range(1, min(longest, 12) + 1))
    while lengths[-1] < longest:
        lengths.append(min(math.ceil(1.25 * lengths[-1]), longest))
    return lengths


def _strongest_packet(swing: Swing, day: Habit, sure: Array) -> _Found:
    """Find the unlikeliest packet: pushes in step with a roll that grows and falls as a bell."""
    size, packets = swing.push.size, packets_in(swing, sure)
    outside = np.maximum(packets.energy - packets.along, 0.0) / max(size - 2, 1)
    one = _unlikeliest(packets.along / packets.spread, 2.0, outside, 2.0 * (size - 2) / SHARED, day, swing.noise)
    middle, reach = packets.middle[one.first], 1.5 * packets.width[one.first]
    first = int(np.clip(np.floor(middle - reach), 0, size - 1))
    last = int(np.clip(np.ceil(middle + reach), first + 1, size))
    return replace(one, first=first, count=last - first, tried=as_many(packets, one.chance), share=PACKETS)


def _unlikeliest(inside: Array, free: float, outside: Array, rest: float, day: Habit, noise: float) -> _Found:
    """Choose among mean squares (m,) of ``free`` degrees of freedom, each against ``outside`` (m,) of ``rest``.

    Nothing is less usual than ``noise`` (rad2), so that figures of a record without motion are no bursts.
    """
    swells = WITHIN * day.dof if day.tells else np.full_like(day.dof, SWELLS)
    rests = 1.0 / (1.0 / max(rest, 1e-3) + 1.0 / swells)
    dof = rests + day.dof
    below = np.maximum((rests * outside[:, None] + day.dof * day.usual) / dof, max(noise, 1e-300))
    chances = fdtrc(free, dof, inside[:, None] / below) @ day.weight
    at = int(np.argmin(chances))
    usual = float(np.exp(day.weight @ np.log(below[at])))
    return _Found(float(chances[at]), at, 1, float(inside[at]), free, below[at], dof, usual, inside.size)


def _limit(found: _Found, day: Habit, chance: float) -> float:
    """Mean square (rad2) that would have this chance."""
    each = found.below * fdtri(found.inside_dof, found.dof, 1.0 - chance)
    low, high = float(each.min()), float(each.max())
    if high <= low * (1.0 + 1e-9):
        return high

    def beyond(size: float) -> float:
        return float(fdtrc(found.inside_dof, found.dof, size / found.below) @ day.weight) - chance

    return float(brentq(beyond, low, high))
