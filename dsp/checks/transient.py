"""Was the window opened before she had settled: a swing at the start that dies away?"""

from __future__ import annotations

import numpy as np
from scipy.special import fdtr, fdtri

from dsp.checks.budget import CAUTION
from dsp.checks.look import Look, not_made
from dsp.checks.swing import FEWEST, swing_of
from dsp.types import Check, Verdict


def check(look: Look) -> Check:
    """First amplitude against what the pushes of the same window keep up: F with 2 and 2 (j - 1) degrees of freedom.

    The estimator models the transient, so that it costs little: a caution, no rejection.
    """
    swing = swing_of(look)
    if swing is None or swing.last - swing.first < FEWEST:
        return not_made(look, "transient", "too few roll periods")
    swing = swing.within()
    pushes = swing.push.size
    kept_up = float(np.mean(np.abs(swing.push) ** 2)) / (1.0 - swing.keep**2)
    value = float(np.abs(swing.amplitude[0]) ** 2) / max(kept_up, 1e-300)
    limit = float(fdtri(2, 2 * pushes, 1.0 - CAUTION["transient"]))
    verdict: Verdict = "caution" if value > limit else "fine"
    says = (
        f"She opens with a swing of {np.rad2deg(abs(swing.amplitude[0])):.3f} deg, {np.sqrt(value):.1f} times what the "
        f"rest of the window keeps up (limit {np.sqrt(limit):.1f})"
        + ("; the window was opened early, the dying swing is taken out." if verdict == "caution" else ".")
    )
    evidence = {
        "time": look.evidence.time,
        "roll": look.evidence.roll,
        "transient": look.evidence.transient,
        "period_time": swing.time,
        "amplitude": np.abs(swing.amplitude),
        "chance": np.array([1.0 - float(fdtr(2, 2 * pushes, value))]),
    }
    return Check("transient", value, limit, "ratio of variances", CAUTION["transient"], verdict, says, evidence)
