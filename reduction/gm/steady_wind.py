"""What a steady wind does to the heel, learnt from the windows and their moments.

Inside a window heel follows gusts, which push at another arm than a steady wind (`dsp.wind.steady_u`); what the wind of
a whole window does is seen only from window to window, beside what the moments do. Derivation: ``docs/method-gm.md``,
section 3.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dsp.types import BudgetLine, DayHeel, WindowHeel
from reduction.gm.curve import Form
from reduction.gm.problem import Array, Mask, Problem
from reduction.types import Quantified

SOURCE = "wind"
"""Budget line of a window that `dsp.joint.budget_of` makes for the wind's coefficient."""
ALIKE = 1e-9
"""Share of the largest singular value under which columns are one and the same."""


def referred(problem: Problem, day: DayHeel, form: Form, keep: Mask) -> tuple[Problem, DayHeel, Quantified | None]:
    """Refer every window to the day's wind by the coefficient that windows and moments show together.

    Parameters
    ----------
    day : its wind coefficient (rad per (m/s)^2) and standard uncertainty are what is known beforehand.
    form : the hull's.
    keep : windows that count.

    Returns
    -------
    Problem and day with heels, covariance and the windows' own budgets to suit, and the coefficient; as they were, and
    None, where no wind was measured or the windows show nothing of it.

    Notes
    -----
    With ``p`` (n,) the wind pressure of each window off the reference, ``c`` the coefficient's error of standard
    uncertainty ``s`` beforehand, ``V`` what the curve is fitted by (``s^2 p p'`` in it) and ``X`` the columns of GM,
    TCG and the stations' zero, the best linear prediction is ``c = g' heel`` with ``g = s^2 P p`` and

        P = V^-1 - V^-1 X (X' V^-1 X)^-1 X' V^-1.

    Heels ``(I - p g') heel`` have the covariance ``(I - p g') C (I - p g')'``. Since ``g' X = 0``, generalised least
    squares finds in them what it found before: what each window says by itself, and the straight line, which knows
    nothing of covariances, are the better for it.
    """
    before, before_u = day.wind_coefficient, day.wind_coefficient_u
    pressure = _pressure(day)
    if pressure is None or not before_u > 0.0 or int(keep.sum()) < 3:
        return problem, day, None
    fit, covariance = problem.fit(form, keep)
    factor = np.linalg.cholesky(covariance)
    own = np.column_stack(
        [np.tan(problem.heel[keep] - fit.residuals) / fit.stiffness, 1.0 / fit.stiffness, np.ones(fit.stiffness.size)]
    )
    white = np.linalg.solve(factor, np.column_stack([own, pressure[keep]]))
    gain = np.zeros(pressure.size)
    gain[keep] = before_u**2 * np.linalg.solve(factor.T, _beside(white[:, -1], white[:, :-1]))
    missing = float(gain[keep] @ fit.residuals)
    after_u = before_u * float(np.sqrt(max(1.0 - float(gain @ pressure), 0.0)))
    turn = np.eye(pressure.size) - np.outer(pressure, gain)
    whole = turn @ np.nan_to_num(problem.covariance) @ turn.T
    by_arm = gain[keep] / fit.stiffness
    square = np.ix_(keep, keep)
    whole += np.outer(pressure, pressure) * float(by_arm @ problem.arm_covariance[square] @ by_arm)
    there = np.isfinite(np.diag(problem.covariance))
    whole = np.where(np.outer(there, there), whole, np.nan)
    changed = np.nan_to_num(np.diag(whole) - np.diag(problem.covariance))
    windows = tuple(
        _moved(window, missing * float(p), float(more))
        for window, p, more in zip(day.windows, pressure, changed, strict=True)
    )
    return (
        replace(problem, windows_heel=windows, heel=problem.heel - missing * pressure, covariance=whole),
        replace(day, windows=windows, covariance=whole, wind_coefficient=before + missing, wind_coefficient_u=after_u),
        Quantified(before + missing, after_u, unit="rad s2/m2"),
    )


def _beside(value: Array, columns: Array) -> Array:
    """Return of a (n,) value what is not along any of the columns (n, m), of which some may be alike."""
    turned, size, _ = np.linalg.svd(columns / np.linalg.norm(columns, axis=0), full_matrices=False)
    seen = turned[:, size > ALIKE * size[0]]
    return np.asarray(value - seen @ (seen.T @ value))


def _pressure(day: DayHeel) -> Array | None:
    """(n,) (m/s)^2, wind pressure of each window off the reference; None where it is not known or all are alike."""
    if not np.isfinite(day.wind_coefficient) or day.wind_coefficient == 0.0:
        return None
    pressure = np.array([window.wind_correction for window in day.windows]) / day.wind_coefficient
    pressure = np.where(np.isfinite(pressure), pressure, 0.0)
    return pressure if pressure.any() else None


def _moved(window: WindowHeel, less: float, more: float) -> WindowHeel:
    """Take ``less`` rad off a window's heel and give its wind ``more`` rad2."""
    if not np.isfinite(window.heel):
        return window
    lines = tuple(
        BudgetLine(line.source, float(np.sqrt(max(line.u**2 + more, 0.0))), "learnt from all windows together")
        if line.source == SOURCE
        else line
        for line in window.budget
    )
    return replace(
        window,
        heel=window.heel - less,
        u=float(np.sqrt(max(window.u**2 + more, 0.0))),
        budget=lines,
        wind_correction=window.wind_correction + less,
    )


__all__ = ["referred"]
