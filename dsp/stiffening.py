"""Which roll period belongs to a heel, by the other windows: a hull grows stiffer with heel, on both sides alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.types import Array

FLARE = 0.10
"""Share by which she is stiffer at the largest heel than upright, beforehand (judgement): a wall-sided hull whose BM is
ten times her GM is 4 % stiffer at 3 degrees, a flared one more."""
FEWEST = 4
"""Other windows that are needed to tell how stiffness goes with heel, and how far periods scatter."""
SOUND = 8.0
"""Windows that the scatter is drawn to what uncertainties say by (judgement)."""
HUBER, TURNS = 1.5, 20
"""Standard deviations beyond which a window's pull no longer grows (P. J. Huber, Ann. Math. Statist. 35 (1964)
73-101); rounds of the fit."""


@dataclass(frozen=True)
class Expected:
    """The period that the other windows let expect."""

    period: float
    """s."""
    u: float
    """s, of the expectation; NaN if it cannot be told."""
    scatter: float
    """Factor on the uncertainty of a window's period, 1 or more: by how much periods scatter more than they should."""


def expected_period(
    heel: float, other_heel: Array, other_period: Array, other_u: Array, about: tuple[float, float]
) -> Expected:
    """Tell from the day's other windows which period belongs to a window's heel.

    ``(T_0 / T)^2 = 1 + a + s (heel - upright)^2``, fitted with bounded influence (Huber's, since some of the windows
    may be held), ``s`` drawn to nothing by `FLARE` and ``a`` to the period handed in, as far as that is known and may
    be that of heeled windows. Upright is the middle heel of the day.

    Parameters
    ----------
    heel : rad, of the window that is asked about.
    other_heel, other_period, other_u : (m,) rad, s, s of the others; NaN where a period cannot be told.
    about : period T_0 and its standard uncertainty, s; what is answered where fewer than `FEWEST` others tell.

    Example
    -------
    >>> flared = np.array([8.0, 7.8, 7.2, 7.8, 8.0, 7.8, 7.2, 7.8])
    >>> heel = np.array([0.0, 0.02, 0.04, 0.02, 0.0, -0.02, -0.04, -0.02])
    >>> round(expected_period(0.04, heel, flared, np.full(8, 0.02), (7.7, 0.02)).period, 1)
    7.2
    """
    told = np.isfinite(other_period) & (other_u > 0.0) & np.isfinite(other_heel)
    middle, middle_u = about
    if told.sum() < FEWEST or not (np.isfinite(middle) and np.isfinite(middle_u)):
        return Expected(middle, middle_u, 1.0)
    period, u = other_period[told], other_u[told]
    away = np.append(other_heel[told], heel)
    away = np.abs(away - np.median(away))
    design = np.column_stack([np.ones(away.size), (away / max(float(away.max()), 1e-9)) ** 2])
    others, mine = design[:-1], design[-1]
    stiffness, known = (middle / period) ** 2 - 1.0, 2.0 * middle**2 * u / period**3
    prior = np.diag([1.0 / np.hypot(2.0 * middle_u / middle, FLARE) ** 2, 1.0 / FLARE**2])
    weight, scatter = np.ones(period.size), 1.0
    for _ in range(TURNS):
        pull = others.T * (weight / (scatter * known) ** 2)
        covariance = np.linalg.inv(pull @ others + prior)
        fit = covariance @ (pull @ stiffness)
        off = np.maximum(np.abs(stiffness - others @ fit) / known, 1e-12)
        robust = max(1.0, float(np.median(off)) / 0.6745)
        scatter = float(np.sqrt((SOUND + period.size * robust**2) / (SOUND + period.size)))
        weight = np.minimum(1.0, HUBER * scatter / off)
    expected = middle / float(np.sqrt(max(1.0 + float(mine @ fit), 0.1)))
    return Expected(expected, 0.5 * expected * float(np.sqrt(mine @ covariance @ mine)), scatter)


__all__ = ["FEWEST", "Expected", "expected_period"]
