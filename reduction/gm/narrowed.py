"""Draw the windows' covariance in where windows lie closer to the plot than it says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dsp.types import BudgetLine, DayHeel, WindowHeel
from reduction.gm.consistency import Consensus
from reduction.gm.problem import Problem, heel_dof


def narrowed(problem: Problem, day: DayHeel, found: Consensus) -> tuple[Problem, DayHeel]:
    """Weigh the scale of the windows' covariance by what they are off the curve.

    The spectrum of slow heel is learnt inside stretches and known to some degrees of freedom; what it does to means of
    windows minutes apart is an extrapolation, and windows about one curve show it directly. With ``v`` degrees of
    freedom behind a covariance C and ``chi2`` of the windows about the curve, ``m`` of them left over, the scale of C
    has the mean ``(v + chi2) / (v + m)`` and ``v + m`` degrees of freedom.

    Parameters
    ----------
    found : the windows that agree. Where some were left out for lying apart the rest lies close by choice, and says
        nothing; more scatter than C says is the business of `reduction.gm.widened`.

    Returns
    -------
    Problem and day with covariance, windows and degrees of freedom to suit; as they were, where C is not too wide.

    References
    ----------
    The conjugate law of a variance (inverse chi-square): any textbook of Bayesian statistics, for example A. Gelman et
    al., Bayesian Data Analysis, section 2.6 (from memory).
    """
    free = found.fit.dof - (found.bend is not None) - (found.list_change is not None)
    known = heel_dof(day)
    if found.excluded or not found.consistent or free < 1 or not np.isfinite(known):
        return problem, day
    scale = (known + found.chi2) / (known + free)
    if scale >= 1.0:
        return problem, day
    windows = tuple(_closer(window, scale, free) for window in day.windows)
    return (
        replace(problem, windows_heel=windows, covariance=scale * problem.covariance),
        replace(day, windows=windows, covariance=scale * day.covariance, dof=known + free),
    )


def _closer(window: WindowHeel, scale: float, free: int) -> WindowHeel:
    lines = tuple(BudgetLine(line.source, float(np.sqrt(scale)) * line.u, line.note) for line in window.budget)
    return replace(window, u=float(np.sqrt(scale)) * window.u, dof=window.dof + free, budget=lines)


__all__ = ["narrowed"]
