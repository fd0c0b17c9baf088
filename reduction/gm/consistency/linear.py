"""All windows as one linear model whose projector serves every set, and the question whether a rest agrees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtri, stdtrit

from reduction.gm.consistency.values import Array, Sets, Windows
from reduction.gm.curve import CurveFit, Form, fit_moments, sensitivity

ALPHA_CHI2 = 0.015
"""Probability a day that clean windows fail the joint test."""
ALPHA_LARGEST = 0.015
"""Probability a day that the largest single deviation of clean windows fails its test."""
ALPHA_REST = 0.001
"""Probability that the rest, once something is known to be wrong, is taken to disagree although clean."""


@dataclass(frozen=True)
class Linear:
    """The windows as y = X (GM, TCG) + error, in metres of arm, with the projector that serves every subset."""

    projector: Array
    """(n, n) P = W - W X (X'WX)^-1 X'W."""
    pull: Array
    """(n,) P y."""
    chi2: float
    gain: Array
    """(2, n) (X'WX)^-1 X'W."""
    beta: Array
    stiffness: Array


def linearise(windows: Windows, form: Form, start: tuple[float, float]) -> Linear:
    """Write the windows as one linear model about a GM and TCG (m) to start from."""
    tangent = np.tan(windows.heel)
    _, stiffness = sensitivity(windows.heel, start[0], form, windows.rise)
    y = windows.arm + windows.rise * tangent - form.c(windows.heel)
    design = np.column_stack([tangent, -np.ones_like(tangent)])
    weight = np.linalg.inv(windows.weighing * np.outer(stiffness, stiffness) + windows.arm_covariance)
    gain = np.linalg.solve(design.T @ weight @ design, design.T @ weight)
    projector = weight - weight @ design @ gain
    pull = projector @ y
    return Linear(projector, pull, float(y @ pull), gain, gain @ y, stiffness)


def normaliser(windows: Windows, linear: Linear) -> float:
    """Logarithm of what stands before ``exp(-chi2 / 2)`` in the restricted likelihood of the heels.

    ``-(log |C| + log |X' C^-1 X|) / 2``, C and X in heel, so that curves that stiffen her otherwise can be compared.
    """
    covariance = windows.weighing + windows.arm_covariance / np.outer(linear.stiffness, linear.stiffness)
    tangent = np.tan(windows.heel)
    design = np.column_stack([tangent, -np.ones_like(tangent)]) / linear.stiffness[:, None]
    normal = design.T @ np.linalg.solve(covariance, design)
    return float(-0.5 * (np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]))


def fitted(windows: Windows, form: Form) -> CurveFit:
    """Fit by heel, the moments' own uncertainty turned into heel by how stiff she is."""
    told = windows.heel, windows.arm, windows.weighing, windows.arm_covariance
    return fit_moments(*told, form, windows.rise)[0]


def scores(windows: Windows, linear: Linear, left_out: Sets) -> tuple[Array, Array, Array]:
    """Each window's deviation from the curve through the used others: score, shift rad, its u rad."""
    n = windows.heel.size
    score, shift, u = (np.full(n, np.nan) for _ in range(3))
    for i in range(n):
        others = left_out[left_out != i]
        group = np.append(others, i)
        inverse = np.linalg.pinv(linear.projector[np.ix_(group, group)], hermitian=True)
        if group.size > n - 2 or inverse[-1, -1] <= 0:
            continue
        shift[i] = -float(inverse[-1] @ linear.pull[group]) / linear.stiffness[i]
        u[i] = float(np.sqrt(inverse[-1, -1])) / linear.stiffness[i]
        score[i] = shift[i] / u[i]
    return score, shift, u


def chi2_of_rest(linear: Linear, left_out: Sets) -> float:
    """Chi-square of the windows not left out: ``chi2 - (Py)_E' P_EE^-1 (Py)_E``."""
    pull = linear.pull[left_out]
    return linear.chi2 - float(
        pull @ np.linalg.pinv(linear.projector[np.ix_(left_out, left_out)], hermitian=True) @ pull
    )


def agrees(windows: Windows, linear: Linear, left_out: Sets | tuple[int, ...] = ()) -> bool:
    """Whether the windows not left out agree: all of them at the day's false-alarm rate, a rest at a looser one."""
    left_out = np.array(left_out, dtype=np.intp)
    n, k = windows.heel.size, left_out.size
    joint, largest = (ALPHA_CHI2, ALPHA_LARGEST) if k == 0 else (ALPHA_REST, ALPHA_REST)
    if chi2_of_rest(linear, left_out) > chi2_limit(n - 2 - k, windows.dof, joint):
        return False
    score = scores(windows, linear, left_out)[0]
    rest = np.ones(n, dtype=bool)
    rest[left_out] = False
    if n - 2 - k < 1:
        return True
    return bool(np.nanmax(np.abs(score[rest]), initial=0.0) <= largest_deviation_limit(n - k, windows.dof, largest))


def largest_deviation_limit(n: int, dof: float, alpha: float = ALPHA_LARGEST) -> float:
    """Limit for the largest of ``n`` studentised deviations (Bonferroni on Student's t, two-sided)."""
    return float(stdtrit(min(max(dof, 1.0), 1e6), 1 - alpha / (2 * max(n, 1))))


def chi2_limit(free: int, dof: float, alpha: float = ALPHA_CHI2) -> float:
    """Limit on chi-square with ``free`` degrees of freedom where the covariance's scale itself has ``dof``."""
    if free < 1:
        return float("inf")
    return float(free * fdtri(free, min(max(dof, 1.0), 1e6), 1 - alpha))
