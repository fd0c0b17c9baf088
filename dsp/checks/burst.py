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
from dsp.checks.swing import FEWEST, SHARED, Swing, swing_of
from dsp.types import Array, Check, Verdict

WIDTHS = (0.8, 1.5, 3.0)
"""Roll periods: half widths of the packets looked for, from one push to a train of waves."""
LEAST_LEFT = 0.1
"""Of a packet, once what is along a dying swing is taken out; less is not told from it."""
OFF = 0.06
"""Share of a swing by which a free period may miss the day's law: damping grows with the swing, period with heel."""
SWELLS = 30.0
"""Degrees of freedom that the pushes of one window are worth at most: what pushes her (chop, gusts) swells and fades by
a quarter over a minute or two (judgement), so that many pushes do not tell the strength of the moment any better."""
NEIGHBOURS = 0.25
"""Correlation of neighbouring pushes (`dsp.checks.swing.SHARED`)."""


def check(look: Look) -> Check:
    """Strongest run of pushes, or packet of waves in step, against the other pushes of the record and the day's.

    Both are F whose lower part is averaged over what is thought of the day's habit; each has half of the false alarms,
    shared among all runs and all packets (Bonferroni). The record beside the window tells what is usual and where a
    packet begins; what lies mostly in it is not the window's fault and is not asked.
    """
    swing = swing_of(look)
    if swing is None or swing.entering >= swing.last - 1:
        return not_made(look, "burst", "no two whole roll periods")
    day = habit(look.evidence.other_push, look.evidence.other_push_dof)
    if swing.time.size < FEWEST and not day.tells:
        return not_made(look, "burst", f"fewer than {FEWEST} roll periods, and nothing to compare them with")
    sure = _sure(swing, day)
    rivals = (_strongest_run(swing, day, sure), _strongest_packet(swing, day, sure))
    found = min(rivals, key=lambda one: one.chance * one.tried)
    ratio = found.inside / found.usual
    limit = _limit(found, day, REJECT["burst"] / len(rivals) / found.tried) / found.usual
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
    """How many were looked at, or as many independent ones as those come to."""


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
    return replace(best, tried=tried)


def _lengths(longest: int) -> list[int]:
    """Lengths of runs that are looked at, in periods: all up to a dozen, then each a quarter longer than the last."""
    lengths = list(range(1, min(longest, 12) + 1))
    while lengths[-1] < longest:
        lengths.append(min(math.ceil(1.25 * lengths[-1]), longest))
    return lengths


def _strongest_packet(swing: Swing, day: Habit, sure: Array) -> _Found:
    """Find the unlikeliest packet: pushes in step with a roll that grows and falls as a bell, of free phase and size.

    Where phases are in step, a packet of ``n`` pushes is tested with two degrees of freedom in place of ``2 n``. A
    dying swing whose damping or period is not quite the day's leaves pushes in step too, proportional to itself; what
    is along it is therefore taken out of pushes and packets alike.
    """
    size = swing.push.size
    places = np.arange(size + 1, dtype=np.float64)
    middle, width = _packets(swing)
    bell = np.exp(-0.5 * ((places - middle[:, None]) / width[:, None]) ** 2)
    shape = sure * (bell[:, 1:] - swing.keep * bell[:, :-1])
    dying = sure * swing.keep ** places[:-1]
    dying /= np.linalg.norm(dying)
    shape -= np.outer(shape @ dying, dying)
    shape /= np.maximum(np.sqrt(np.sum(shape**2, axis=1)), LEAST_LEFT * np.max(bell))[:, None]
    push = sure * swing.push
    push = push - dying * (dying @ push)
    spread = 1.0 + 2.0 * NEIGHBOURS * np.sum(shape[:, 1:] * shape[:, :-1], axis=1)
    along = np.abs(shape @ push) ** 2
    outside = np.maximum(float(np.sum(np.abs(push) ** 2)) - along, 0.0) / max(size - 2, 1)
    one = _unlikeliest(along / spread, 2.0, outside, 2.0 * (size - 2) / SHARED, day, swing.noise)
    at = one.first
    first = int(np.clip(np.floor(middle[at] - 1.5 * width[at]), 0, size - 1))
    last = int(np.clip(np.ceil(middle[at] + 1.5 * width[at]), first + 1, size))
    return replace(one, first=first, count=last - first, tried=_as_many(shape, width, one.chance))


def _packets(swing: Swing) -> tuple[Array, Array]:
    """Middle and half width (m,) of each packet, in periods; what lies mostly beside the window is not among them."""
    middles, widths = [], []
    begin, end = swing.first - 0.5, swing.last - 0.5
    for width in WIDTHS:
        low, high = begin + 0.5 * width, end - 0.5 * width
        each = np.arange(low, high + 0.01, 0.5) if high > low else np.array([0.5 * (begin + end)])
        middles.append(each)
        widths.append(np.full(each.size, width))
    return np.concatenate(middles), np.concatenate(widths)


def _as_many(shape: Array, width: Array, chance: float) -> float:
    """Return how many independent packets have as good a chance of a maximum as these, which overlap.

    Along packets of one width the score is an envelope; it comes above ``u`` (in mean squares) with a chance of at
    most ``exp(-u) [1 + l sqrt(u / pi)]``, l the length in radians of the walk of the unit templates (expected
    upcrossings of a Rayleigh envelope: Rice 1945, Bell Syst. Tech. J. 24, section 3.7, from memory). Never more than
    there are.

    Parameters
    ----------
    shape : (m, j) unit templates. width : (m,) those of one width stand one after the other.
    chance : of the best one by itself.
    """
    steep = float(np.sqrt(max(-np.log(max(chance, 1e-300)), 1.0) / np.pi))
    many = 0.0
    for one in WIDTHS:
        rows = shape[width == one]
        beside = np.clip(np.sum(rows[1:] * rows[:-1], axis=1), -1.0, 1.0)
        many += min(1.0 + float(np.arccos(np.abs(beside)).sum()) * steep, rows.shape[0])
    return many


def _unlikeliest(inside: Array, free: float, outside: Array, rest: float, day: Habit, noise: float) -> _Found:
    """Choose among mean squares (m,) of ``free`` degrees of freedom, each against ``outside`` (m,) of ``rest``.

    Nothing is less usual than ``noise`` (rad2), so that figures of a record without motion are no bursts.
    """
    rest = 1.0 / (1.0 / max(rest, 1e-3) + 1.0 / SWELLS)
    dof = rest + day.dof
    below = np.maximum((rest * outside[:, None] + day.dof * day.usual) / dof, max(noise, 1e-300))
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
