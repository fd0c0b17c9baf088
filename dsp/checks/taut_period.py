"""Does she roll faster in this window than in the others at such a heel: something adds stiffness?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.types import Check, Verdict, WindowEvidence

LEAST_EFFECT = 0.01
"""Relative shortening below which it does not reject: the day's own period wanders with load and people."""
FLARE = 0.10
"""Share by which she is stiffer at the largest heel than upright, beforehand (judgement): a wall-sided hull whose BM is
ten times her GM is 4 % stiffer at 3 degrees, a flared one more."""
FEWEST = 4
"""Other windows that are needed to tell how stiffness goes with heel, and how far periods scatter."""
SOUND = 8.0
"""Windows that the scatter is drawn to what uncertainties say by (judgement)."""
HUBER, TURNS = 1.5, 20
"""Standard deviations beyond which a window's pull no longer grows (P. J. Huber, Ann. Math. Statist. 35 (1964)
73-101); rounds of the fit."""


@dataclass(frozen=True)
class Expected:
    """The period that the other windows let expect."""

    period: float
    """s."""
    u: float
    """s, of the expectation; NaN if it cannot be told."""
    scatter: float
    """Factor on the uncertainty of a window's period, 1 or more: by how much periods scatter more than they should."""


def check(look: Look) -> Check:
    """Roll period of the window against the expected one, one-sided; stiffness goes with its inverse square.

    A randomly pushed swing forgets itself within 1 / (damping w) seconds, so that a window of length L holds about
    L damping w independent amplitudes of two components each: so many degrees of freedom has the period's uncertainty.
    """
    mine, usual = look.evidence.window_roll, expected_period(look.evidence)
    u = float(np.hypot(usual.scatter * mine.period_u, usual.u))
    if not (np.isfinite(mine.period) and np.isfinite(usual.period) and np.isfinite(u) and u > 0):
        return not_made(look, "taut", "no roll period can be made out")
    value = (usual.period - mine.period) / u
    limit = float(stdtrit(_dof(look), 1.0 - REJECT["taut period"]))
    shorter = 1.0 - mine.period / usual.period
    verdict: Verdict = "rejected" if value > limit and shorter > LEAST_EFFECT else "fine"
    stiffness = (usual.period / mine.period) ** 2 - 1.0
    says = (
        f"Roll period {mine.period:.2f} s against {usual.period:.2f} s to expect at this heel, {value:+.1f} times the "
        f"uncertainty shorter (limit {limit:.1f})"
        + (f"; {100 * stiffness:.0f} % stiffer, by a line, a fender or the ground." if verdict == "rejected" else ".")
    )
    arrays = {
        "time": look.evidence.time,
        "roll": look.evidence.roll,
        "period": np.array([mine.period, usual.period]),
        "period_u": np.array([usual.scatter * mine.period_u, usual.u]),
    }
    return Check("taut", value, limit, "standard uncertainties", REJECT["taut period"], verdict, says, arrays)


def expected_period(evidence: WindowEvidence) -> Expected:
    """Tell from the other windows which period belongs to this window's heel.

    A hull grows stiffer with heel on both sides alike: ``(T_day / T)^2 = 1 + a + s (heel - upright)^2``, fitted to
    the other windows with bounded influence (Huber's, since some of them may be held), ``a`` drawn to the
    day's period and ``s`` to nothing by `FLARE`. Upright is the middle heel of the day.
    """
    day = evidence.day_roll
    told = np.isfinite(evidence.other_period) & (evidence.other_period_u > 0.0)
    if told.sum() < FEWEST or not (np.isfinite(day.period) and np.isfinite(day.period_u)):
        return Expected(day.period, day.period_u, 1.0)
    period, u = evidence.other_period[told], evidence.other_period_u[told]
    upright = float(np.median(np.append(evidence.other_heel, evidence.mean)))
    heel = np.append(evidence.other_heel[told], evidence.mean) - upright
    design = np.column_stack([np.ones(heel.size), (heel / max(float(np.abs(heel).max()), 1e-9)) ** 2])
    others, mine = design[:-1], design[-1]
    stiffness, known = (day.period / period) ** 2 - 1.0, 2.0 * day.period**2 * u / period**3
    prior = np.diag([1.0 / max(2.0 * day.period_u / day.period, 1e-3) ** 2, 1.0 / FLARE**2])
    weight, scatter = np.ones(period.size), 1.0
    for _ in range(TURNS):
        pull = others.T * (weight / (scatter * known) ** 2)
        covariance = np.linalg.inv(pull @ others + prior)
        fit = covariance @ (pull @ stiffness)
        away = np.maximum(np.abs(stiffness - others @ fit) / known, 1e-12)
        robust = max(1.0, float(np.median(away)) / 0.6745)
        scatter = float(np.sqrt((SOUND + period.size * robust**2) / (SOUND + period.size)))
        weight = np.minimum(1.0, HUBER * scatter / away)
    expected = day.period / float(np.sqrt(max(1.0 + float(mine @ fit), 0.1)))
    return Expected(expected, 0.5 * expected * float(np.sqrt(mine @ covariance @ mine)), scatter)


def _dof(look: Look) -> float:
    damping = look.evidence.day_roll.damping
    damping = damping if np.isfinite(damping) and damping > 0 else 0.03
    return max(3.0, 2.0 * look.length * damping * 2.0 * float(np.pi) / look.period)
