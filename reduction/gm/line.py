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
    intercept: float
    slope_u: float
    """Standard uncertainty of the slope; NaN with no degree of freedom left."""
    covariance: Array
    """(2, 2) of (slope, intercept)."""
    residuals: Array
    """(n,) y minus line, in the order given."""
    scatter: float
    """Residual standard deviation, sqrt(sum r^2 / dof)."""
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
    x_, y_ = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    _needs_two(x_)
    # Centred, so that the digits survive moments that are far from zero.
    mean_x, mean_y = float(x_.mean()), float(y_.mean())
    dx, dy = x_ - mean_x, y_ - mean_y
    size = float(dx @ dx)
    slope = float(dx @ dy) / size
    residuals = dy - slope * dx
    dof = x_.size - 2
    scatter = float(np.sqrt(residuals @ residuals / dof)) if dof > 0 else float("nan")
    variance = scatter**2 / size
    covariance = np.array(
        [[variance, -mean_x * variance], [-mean_x * variance, mean_x**2 * variance + scatter**2 / x_.size]]
    )
    return LineFit(slope, mean_y - slope * mean_x, float(np.sqrt(variance)), covariance, residuals, scatter, dof)


def line_weights(x: ArrayLike) -> Array:
    """How each point pulls on the slope of the ordinary line: slope = weights @ y; (n,)."""
    x_ = np.asarray(x, dtype=float)
    _needs_two(x_)
    centred = x_ - x_.mean()
    return np.asarray(centred / (centred @ centred), dtype=float)


def _needs_two(x: Array) -> None:
    if np.unique(x).size < 2:
        raise ValueError("a slope needs two different moments")
