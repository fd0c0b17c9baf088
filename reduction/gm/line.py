"""The classical reduction: tan(heel) against moment as a straight line, GM = 1 / (slope x displacement).

Published forms and the numbers they give are kept in ``tests/golden/test_published_lines.py``; derivations stand in
``docs/method-gm.md``. Moments in any consistent unit, positive to starboard; tangents positive starboard side down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtrit

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LineFit:
    """A straight line y = intercept + slope x, with what its residuals say."""

    slope: float
    intercept: Array
    """(i,) one for each instrument; a single one for the ordinary line; empty through the origin."""
    slope_u: float
    """Standard uncertainty of the slope; NaN with no degree of freedom left."""
    intercept_u: Array
    """(i,)"""
    covariance: Array
    """(1 + i, 1 + i) of (slope, intercepts)."""
    residuals: Array
    """(n,) y minus line, in the order given."""
    scatter: float
    """Residual standard deviation, sqrt(sum r^2 / dof); for a generalised fit sqrt(chi-square / dof)."""
    dof: int

    def slope_u95(self, confidence: float = 0.95) -> float:
        """Customary half width of the slope's interval: Student quantile times ``slope_u``."""
        if self.dof < 1:
            return float("nan")
        return float(stdtrit(self.dof, 0.5 + confidence / 2.0) * self.slope_u)


def straight_line(x: ArrayLike, y: ArrayLike) -> LineFit:
    """Ordinary least squares with one intercept.

    Parameters
    ----------
    x : (n,) moment.
    y : (n,) tangent of heel.

    Raises
    ------
    ValueError if there are fewer than two different x.

    References
    ----------
    Any textbook of regression; certified digits: NIST StRD data set Norris.

    Example
    -------
    >>> straight_line([0.0, 1.0, 2.0], [1.0, 3.0, 5.0]).slope
    2.0
    """
    y_ = np.asarray(y, dtype=float)
    return _least_squares(np.asarray(x, dtype=float), y_, np.zeros(y_.size, dtype=int), 1)


def straight_line_by_instrument(moment: ArrayLike, tangent: ArrayLike) -> LineFit:
    """Ordinary least squares with one slope and one intercept for each instrument.

    Pendulums and other devices differ in their zeros; with a common intercept those differences pass for scatter
    (in Hansen's published readings they overstate it by 70 %).

    Parameters
    ----------
    moment : (n,) moment of each position of the weights.
    tangent : (n, i) one column an instrument; NaN where an instrument was not read.
    """
    m = np.asarray(moment, dtype=float)
    t = np.atleast_2d(np.asarray(tangent, dtype=float))
    x = np.repeat(m[:, None], t.shape[1], axis=1)
    group = np.broadcast_to(np.arange(t.shape[1]), t.shape)
    there = np.isfinite(t)
    return _least_squares(x[there], t[there], group[there], t.shape[1])


def through_origin(x: ArrayLike, y: ArrayLike) -> LineFit:
    """Least squares y = slope x, the form some published examples use (zero readings taken off beforehand).

    With x the tangents and y the moments of every position and instrument the slope is displacement x GM
    (Hansen 1985, as worked by Biran 2003, example 7.1).
    """
    x_, y_ = np.asarray(x, dtype=float).ravel(), np.asarray(y, dtype=float).ravel()
    size = float(x_ @ x_)
    if size == 0.0:
        raise ValueError("a line through the origin needs a point away from it")
    slope = float(x_ @ y_) / size
    residuals = y_ - slope * x_
    dof = x_.size - 1
    scatter = float(np.sqrt(residuals @ residuals / dof)) if dof > 0 else float("nan")
    covariance = np.array([[scatter**2 / size]])
    return LineFit(
        slope, np.zeros(0), float(np.sqrt(covariance[0, 0])), np.zeros(0), covariance, residuals, scatter, dof
    )


def general_line(x: ArrayLike, y: ArrayLike, covariance: ArrayLike) -> LineFit:
    """Generalised least squares with the covariance of y known: the best linear unbiased line (Aitken 1936).

    Parameters
    ----------
    x, y : (n,) moment and tangent.
    covariance : (n, n) of y.

    Returns
    -------
    LineFit whose uncertainties come from ``covariance``, not from the residuals.
    """
    x_, y_ = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    design = np.column_stack([x_, np.ones_like(x_)])
    _needs_two(x_)
    weight = np.linalg.inv(np.asarray(covariance, dtype=float))
    parameters_covariance = np.linalg.inv(design.T @ weight @ design)
    slope, intercept = parameters_covariance @ design.T @ weight @ y_
    residuals = y_ - design @ np.array([slope, intercept])
    dof = x_.size - 2
    scatter = float(np.sqrt(residuals @ weight @ residuals / dof)) if dof > 0 else float("nan")
    u = np.sqrt(np.diag(parameters_covariance))
    return LineFit(
        float(slope), np.array([intercept]), float(u[0]), u[1:], parameters_covariance, residuals, scatter, dof
    )


def line_weights(x: ArrayLike) -> Array:
    """How each point pulls on the slope of the ordinary line: slope = weights @ y; (n,)."""
    x_ = np.asarray(x, dtype=float)
    _needs_two(x_)
    centred = x_ - x_.mean()
    return np.asarray(centred / (centred @ centred), dtype=float)


def gm_from_slope(slope: float, displacement: float) -> float:
    """GM in metres from the slope of tangent on moment: GM = 1 / (slope x displacement).

    Slope in 1/(kg m) with displacement in kg, or 1/(t m) with t.
    """
    return 1.0 / (slope * displacement)


def gm_of_single_shift(
    weight: float, distance: float, displacement: float, deflection: float, pendulum_length: float
) -> float:
    """GM from one shift: w d / (displacement tan(heel)), tan(heel) = deflection / length.

    Weight and displacement in one unit of mass, deflection and pendulum length in one unit of length; the answer is
    in the unit of ``distance``. Source: Tupper, Introduction to Naval Architecture, p. 54.

    >>> round(gm_of_single_shift(3, 40, 2600, 2 / 12, 29.5), 2)
    8.17
    """
    return weight * distance * pendulum_length / (displacement * deflection)


def _least_squares(x: Array, y: Array, group: NDArray[np.int_], groups: int) -> LineFit:
    _needs_two(x)
    # Centred within each group, so that the digits survive moments that are far from zero.
    count = np.bincount(group, minlength=groups).astype(float)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean_x = np.bincount(group, x, groups) / count
        mean_y = np.bincount(group, y, groups) / count
    dx, dy = x - mean_x[group], y - mean_y[group]
    size = float(dx @ dx)
    if size == 0.0:
        raise ValueError("a slope needs two different moments at one instrument")
    slope = float(dx @ dy) / size
    intercept = mean_y - slope * mean_x
    residuals = dy - slope * dx
    dof = int(x.size - 1 - np.count_nonzero(count))
    scatter = float(np.sqrt(residuals @ residuals / dof)) if dof > 0 else float("nan")
    covariance = np.full((1 + groups, 1 + groups), np.nan)
    covariance[0, 0] = scatter**2 / size
    covariance[0, 1:] = covariance[1:, 0] = -mean_x * covariance[0, 0]
    covariance[1:, 1:] = np.outer(mean_x, mean_x) * covariance[0, 0]
    with np.errstate(divide="ignore"):
        covariance[1:, 1:] += np.diag(scatter**2 / count)
    u = np.sqrt(np.diag(covariance))
    return LineFit(slope, intercept, float(u[0]), u[1:], covariance, residuals, scatter, dof)


def _needs_two(x: Array) -> None:
    if np.unique(x).size < 2:
        raise ValueError("a slope needs two different moments")
