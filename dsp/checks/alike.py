"""How alike are the windows of a day in the strength of their slow motion? Judged from above only.

An estimated strength that comes out near nothing says that slow motion drowned in the noise there, not that the window
was quieter than a law of strengths allows; taken at face value it would make every window seem unlike every other, and
let a disturbance pass for the day's habit. Strengths below `DROWNED` of the middle one are therefore only counted
as below it (a censored likelihood; docs/method-checks.md, section 3).
"""

from __future__ import annotations

import numpy as np
from scipy.special import fdtr, gammaln

from dsp.types import Array

DROWNED = 0.3
"""Share of the middle strength below which an estimate is counted as "below"."""
CHOICES = (1e4, 100.0, 50.0, 25.0, 12.0, 6.0, 4.0)
"""Degrees of freedom of the law of strengths that are tried, from all alike to quite unlike."""


def alike(scale: Array, dof: Array) -> float:
    """Choose the degrees of freedom by which the strengths of windows scatter about the day's.

    Parameters
    ----------
    scale : (m,) estimated variances over the day's.
    dof : (m,) degrees of freedom of each estimate.

    Returns
    -------
    Largest where windows are alike; 30 where fewer than three can be judged.

    >>> alike(np.array([0.9, 1.1, 1.0, 1.05, 0.0]), np.full(5, 12.0)) > 50
    True
    """
    use = dof > 1.5
    if int(use.sum()) < 3:
        return 30.0
    middle = max(float(np.median(scale[use & (scale > 0.05)])) if (use & (scale > 0.05)).any() else 1.0, 1e-6)
    x, d = scale[use] / middle, dof[use]
    values = [_log_likelihood(x, d, shared) - (0.0 if shared == CHOICES[0] else 1.0) for shared in CHOICES]
    return float(CHOICES[int(np.argmax(values))])


def _log_likelihood(x: Array, d: Array, shared: float) -> float:
    seen = x >= DROWNED
    a, b = d[seen], shared
    y = x[seen]
    density = (
        gammaln((a + b) / 2)
        - gammaln(a / 2)
        - gammaln(b / 2)
        + a / 2 * np.log(a / b)
        + (a / 2 - 1) * np.log(y)
        - (a + b) / 2 * np.log1p(a * y / b)
    )
    below = np.log(np.maximum(fdtr(d[~seen], shared, DROWNED), 1e-12))
    # Noise can drown an estimate under any law, so that its chance is never put below one in twenty.
    return float(np.sum(density) + np.sum(np.maximum(below, np.log(0.05))))
