"""Does the heel creep through the window more than slow motion explains: a tank filling, a tide, a sensor warming?"""

from __future__ import annotations

import numpy as np

from dsp.checks.budget import CAUTION, REJECT
from dsp.checks.look import Look, graded, normal_limit
from dsp.types import Check


def check(look: Look) -> Check:
    """Straight line against the window's own covariance."""
    line = look.seconds / max(look.length, 1e-9) - 0.5
    scan = look.scan_apart([look.whitened(line[None, :])])[0][0]
    value, size = float(abs(scan.score[0])), float(scan.amplitude[0])
    dof = look.free_dof(line)
    limit = normal_limit(REJECT["drift"], dof)
    verdict = graded(value, limit, normal_limit(REJECT["drift"] + CAUTION["drift"], dof))
    says = (
        f"The heel creeps by {np.rad2deg(size):+.4f} deg over the window, {value:.1f} times the uncertainty "
        f"(limit {limit:.1f})."
    )
    evidence = {"time": look.evidence.time, "low": look.evidence.low, "line": size * line}
    return Check("drift", value, limit, "standard uncertainties", REJECT["drift"], verdict, says, evidence)
