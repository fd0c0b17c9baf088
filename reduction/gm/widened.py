"""Widen the windows of a day by what they scatter about the plot beyond their own intervals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr, stdtr

from dsp.types import BudgetLine, DayHeel, WindowHeel
from reduction.gm.consistency import Scatter
from reduction.gm.problem import Array, Mask, Problem, heel_dof

SOURCE = "slow heel between windows"
MATCHED = 0.975
"""Quantile in which Student's law is made to agree with the mixture of normals that scatter of unknown size gives."""
FEWEST, MANY = 2.0, 1e6
"""Degrees of freedom between which that is looked for."""


def widened(problem: Problem, day: DayHeel, scatter: Scatter, gain: Array, used: Mask) -> tuple[Problem, DayHeel]:
    """Give every window the scatter as one more source.

    Parameters
    ----------
    gain : (k,) change of GM for a change of heel of each window of ``used``; what the degrees of freedom behind GM's
        interval are taken for.

    Returns
    -------
    The problem and the day with wider windows, and degrees of freedom to suit.
    """
    if scatter.variance <= 0.0:
        return problem, day
    windows = tuple(_wider(one, scatter) for one in day.windows)
    more = scatter.variance * np.eye(len(windows))
    before = float(gain @ problem.covariance[np.ix_(used, used)] @ gain)
    return (
        replace(problem, windows_heel=windows, covariance=problem.covariance + more),
        replace(
            day,
            windows=windows,
            covariance=day.covariance + more,
            dof=joint_dof(before, float(gain @ gain), heel_dof(day), scatter),
        ),
    )


def _wider(window: WindowHeel, scatter: Scatter) -> WindowHeel:
    line = BudgetLine(SOURCE, float(np.sqrt(scatter.variance)), "how the windows scatter about the plot")
    return replace(
        window,
        u=float(np.sqrt(window.u**2 + scatter.variance)),
        dof=joint_dof(window.u**2, 1.0, window.dof, scatter),
        budget=(*window.budget, line),
    )


def joint_dof(own: float, pull: float, dof: float, scatter: Scatter) -> float:
    """Degrees of freedom of ``own`` (known to ``dof``) and ``pull`` times the scatter, taken together.

    The scatter's size is thought of with `Scatter.share`, so that an error is a mixture of normals; its 97.5 % quantile
    over the standard deviation gives the degrees of freedom of Student's law that has the same. The share of ``own``
    adds its own (Welch and Satterthwaite; GUM G.4.1).

    >>> joint_dof(1.0, 1.0, 20.0, Scatter(np.zeros(1), np.ones(1), 1.0, 0.0))
    20.0
    """
    variance = own + pull * scatter.variances
    whole = float(scatter.share @ variance)
    if not whole > 0.0:
        return dof
    size = np.sqrt(variance / whole)
    quantile = brentq(lambda x: float(scatter.share @ ndtr(x / np.maximum(size, 1e-9))) - MATCHED, 0.0, 40.0)
    if stdtr(FEWEST, quantile) >= MATCHED:
        mixed = 1.0 / FEWEST
    elif stdtr(MANY, quantile) <= MATCHED:
        mixed = 0.0
    else:
        mixed = 1.0 / float(brentq(lambda nu: float(stdtr(nu, quantile)) - MATCHED, FEWEST, MANY))
    spread = mixed + (own / whole) ** 2 / dof
    return 1.0 / spread if spread > 0.0 else float("inf")


__all__ = ["SOURCE", "joint_dof", "widened"]
