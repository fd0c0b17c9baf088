"""Is the motion cut off on one side, as a line that snatches or a fender that stops her would make it?"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.types import Check, Verdict

COARSE = 0.7
"""Steps of rounding that the motion must scatter by at least, or rounding shapes it."""


def check(look: Look) -> Check:
    """Skewness of the motion beside slow heel against that of a Gaussian process of the same correlation.

    The third moment of a Gaussian process with autocorrelation r has variance ``6 / n sum r(k)^3`` over lags
    (independent samples: 6 / n). Slow heel is predicted and taken off first: of its few swings in a window most may lie
    on one side, and no contact is needed for that.
    """
    evidence = look.evidence
    motion = evidence.heel - evidence.wind_part - evidence.mean - evidence.transient - look.slow_heel
    scale = float(np.std(motion))
    n = motion.size
    if n < 40 or scale == 0.0:
        return not_made(look, "taut", "too little motion to judge its shape")
    coarsest = max((marks.resolution for marks in evidence.marks), default=0.0)
    if scale < COARSE * coarsest:
        return not_made(look, "taut", "the stations are coarser than the motion whose shape is asked")
    covariance = evidence.covariance - look.slow_covariance
    deviation = np.sqrt(np.maximum(np.diag(covariance), 1e-30))
    alike = covariance / np.outer(deviation, deviation)
    third = float(np.sum(alike * alike * alike)) / n**2
    u = float(np.sqrt(6.0 * max(third, 1.0 / n)))
    skew = float(np.mean((motion - motion.mean()) ** 3)) / scale**3
    value = abs(skew) / u
    limit = float(-ndtri(REJECT["taut shape"] / 2))
    verdict: Verdict = "rejected" if value > limit and abs(skew) > 0.5 else "fine"
    side = "starboard" if skew < 0 else "port"
    says = f"Skewness of the motion {skew:+.2f}, {value:.1f} times its uncertainty (limit {limit:.1f})" + (
        f"; she is stopped short to {side}." if verdict == "rejected" else "."
    )
    arrays = {"time": evidence.time, "heel": evidence.heel, "sorted": np.sort(motion)}
    return Check("taut", value, limit, "standard uncertainties", REJECT["taut shape"], verdict, says, arrays)
