"""Does she roll faster in this window than on the day: something adds stiffness?"""

from __future__ import annotations

import numpy as np
from scipy.special import stdtrit

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.types import Check, Verdict

LEAST_EFFECT = 0.01
"""Relative shortening below which it does not reject: the day's own period wanders with load and people."""


def check(look: Look) -> Check:
    """Roll period of the window against the day's, one-sided; stiffness goes with the inverse square of the period.

    A randomly pushed swing forgets itself within 1 / (damping w) seconds, so that a window of length L holds about
    L damping w independent amplitudes of two components each: so many degrees of freedom has the period's uncertainty.
    """
    mine, days = look.evidence.window_roll, look.evidence.day_roll
    u = float(np.hypot(mine.period_u, days.period_u))
    if not (np.isfinite(mine.period) and np.isfinite(days.period) and np.isfinite(u) and u > 0):
        return not_made(look, "taut", "no roll period can be made out")
    value = (days.period - mine.period) / u
    limit = float(stdtrit(_dof(look), 1.0 - REJECT["taut period"]))
    shorter = 1.0 - mine.period / days.period
    verdict: Verdict = "rejected" if value > limit and shorter > LEAST_EFFECT else "fine"
    stiffness = (days.period / mine.period) ** 2 - 1.0
    says = (
        f"Roll period {mine.period:.2f} s against {days.period:.2f} s on the day, {value:+.1f} times the uncertainty "
        f"shorter (limit {limit:.1f})"
        + (f"; {100 * stiffness:.0f} % stiffer, by a line, a fender or the ground." if verdict == "rejected" else ".")
    )
    arrays = {
        "time": look.evidence.time,
        "roll": look.evidence.roll,
        "period": np.array([mine.period, days.period]),
        "period_u": np.array([mine.period_u, days.period_u]),
    }
    return Check("taut", value, limit, "standard uncertainties", REJECT["taut period"], verdict, says, arrays)


def _dof(look: Look) -> float:
    damping = look.evidence.day_roll.damping
    damping = damping if np.isfinite(damping) and damping > 0 else 0.03
    return max(3.0, 2.0 * look.length * damping * 2.0 * float(np.pi) / look.period)
