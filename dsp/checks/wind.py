"""Did wind and heel move together beyond what was taken off, or, with no anemometer, was she less quiet than usual?"""

from __future__ import annotations

import numpy as np
from scipy.special import fdtri

from dsp.checks.budget import CAUTION, REJECT
from dsp.checks.look import Look, graded, normal_limit, not_made
from dsp.types import Check, Verdict

LEAST_DOF = 0.5
"""Degrees of freedom of a window's own strength of slow heel from which on it is judged. Where slow heel drowns in
noise there are hardly any, and a hundred times the usual next to nothing is no gust."""


def check(look: Look) -> Check:
    """Pressure left in the heel, matched against the window's own covariance; without wind, low-frequency power."""
    evidence = look.evidence
    if evidence.wind_pressure is None or float(np.ptp(evidence.wind_pressure)) == 0.0:
        return _unrest(look)
    pressure = evidence.wind_pressure - evidence.wind_pressure.mean()
    scan = look.scan(pressure[None, :])
    left = float(scan.amplitude[0])
    own_u = abs(left / scan.score[0]) if scan.score[0] != 0 else float("inf")
    u = float(np.hypot(own_u, evidence.wind_coefficient_u if np.isfinite(evidence.wind_coefficient_u) else 0.0))
    value = abs(left) / u
    limit = normal_limit(REJECT["wind"], look.dof)
    verdict = graded(value, limit, normal_limit(REJECT["wind"] + CAUTION["wind"], look.dof))
    moved = np.rad2deg(abs(left) * float(np.ptp(pressure)))
    says = (
        f"Wind and heel move together by {moved:.4f} deg more than the day's wind coefficient takes off, {value:.1f} "
        f"times the uncertainty (limit {limit:.1f})."
    )
    evidence_arrays = {
        "time": evidence.time,
        "low": evidence.low,
        "wind_part": evidence.wind_part,
        "pressure": evidence.wind_pressure,
    }
    return Check("wind", value, limit, "standard uncertainties", REJECT["wind"], verdict, says, evidence_arrays)


def _unrest(look: Look) -> Check:
    evidence = look.evidence
    dof = evidence.low_scale_dof
    rate = CAUTION["wind"]
    if not np.isfinite(dof) or dof < LEAST_DOF:
        return not_made(look, "wind", "no wind was measured, and slow heel drowns in the noise of the readings")
    limit = float(fdtri(max(dof, 1.0), look.dof, 1.0 - rate))
    value = evidence.low_scale
    verdict: Verdict = "caution" if value > limit else "fine"
    says = (
        f"No wind was measured; slow heel has {value:.1f} times the variance usual on the day (limit {limit:.1f})"
        + ("; gusts are the likeliest cause." if verdict == "caution" else ".")
    )
    arrays = {"time": evidence.time, "low": evidence.low}
    return Check("wind", value, limit, "ratio of variances", rate, verdict, says, arrays)
