"""Does she roll faster in this window than in the others at such a heel: something adds stiffness?"""

from __future__ import annotations

import numpy as np
from scipy.special import stdtrit

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.stiffening import Expected, expected_period
from dsp.types import Check, Verdict, WindowEvidence

LEAST_EFFECT = 0.01
"""Relative shortening below which it does not reject: the day's own period wanders with load and people."""
MOST_EFFECT = 0.10
"""Relative shortening beyond which it asks for caution only: what makes her a quarter stiffer takes a fifth of the
heel, which the comparison of the windows sees; if that does not, chop was followed in place of the roll."""


def check(look: Look) -> Check:
    """Roll period of the window against the expected one, one-sided; stiffness goes with its inverse square.

    A randomly pushed swing forgets itself within 1 / (damping w) seconds, so that a window of length L holds about
    L damping w independent amplitudes of two components each: so many degrees of freedom has the period's uncertainty.
    """
    mine, usual = look.evidence.window_roll, _expected(look.evidence)
    u = float(np.hypot(usual.scatter * mine.period_u, usual.u))
    if not (np.isfinite(mine.period) and np.isfinite(usual.period) and np.isfinite(u) and u > 0):
        return not_made(look, "taut", "no roll period can be made out")
    value = (usual.period - mine.period) / u
    limit = float(stdtrit(_dof(look), 1.0 - REJECT["taut period"]))
    shorter = 1.0 - mine.period / usual.period
    verdict: Verdict = "fine"
    if value > limit and shorter > LEAST_EFFECT:
        verdict = "rejected" if shorter < MOST_EFFECT else "caution"
    stiffness = (usual.period / mine.period) ** 2 - 1.0
    says = (
        f"Roll period {mine.period:.2f} s against {usual.period:.2f} s to expect at this heel, {value:+.1f} times the "
        f"uncertainty shorter (limit {limit:.1f})"
        + {
            "fine": ".",
            "rejected": f"; {100 * stiffness:.0f} % stiffer, by a line, a fender or the ground.",
            "caution": f"; {100 * stiffness:.0f} % stiffer would show in the heel, or it is chop and no roll.",
        }[verdict]
    )
    arrays = {
        "time": look.evidence.time,
        "roll": look.evidence.roll,
        "period": np.array([mine.period, usual.period]),
        "period_u": np.array([usual.scatter * mine.period_u, usual.u]),
    }
    return Check("taut", value, limit, "standard uncertainties", REJECT["taut period"], verdict, says, arrays)


def _expected(evidence: WindowEvidence) -> Expected:
    """By the other windows; else the day's."""
    day = evidence.day_roll
    others = evidence.other_heel, evidence.other_period, evidence.other_period_u
    return expected_period(evidence.mean, *others, (day.period, day.period_u))


def _dof(look: Look) -> float:
    damping = look.evidence.day_roll.damping
    damping = damping if np.isfinite(damping) and damping > 0 else 0.03
    return max(3.0, 2.0 * look.length * damping * 2.0 * float(np.pi) / look.period)
