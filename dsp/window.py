"""The mean heel of one window: generalised least squares under the window's own model of motion and noise."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.linalg import cho_solve, solve_triangular

from dsp.factor import sound_factor
from dsp.types import Array


@dataclass(frozen=True)
class Parts:
    """Covariances (n, n) rad2 of what a window's heel is made of."""

    low: Array
    roll: Array
    transient: Array
    noise: Array
    """(n,) variance of the white part of each bin."""
    slow: Array = field(default_factory=lambda: np.zeros(0))
    """(m,) autocovariance, by lag in bins, of what of ``low`` is slower than the roll; the rest is broad."""

    @property
    def whole(self) -> Array:
        """(n, n) rad2."""
        total = self.low + self.roll
        total += self.transient
        total[np.diag_indices_from(total)] += self.noise
        return total


@dataclass(frozen=True)
class Fitted:
    """The mean of one window and what remains when it is taken off."""

    mean: float
    """rad."""
    weight: Array
    """(n,) of each bin in the mean; they sum to 1."""
    variance: float
    """rad2 of ``mean``."""
    variance_low: float
    variance_roll: float
    variance_noise: float
    """rad2, the shares of low-frequency heel, roll with its transient, and white noise in ``variance``."""
    covariance: Array
    """(n, n) rad2."""
    factor: Array
    """(n, n) its lower Cholesky factor; above the diagonal nothing of use."""
    whitened: Array
    """(n,) residual of unit variance, were the model exact."""
    roll: Array
    """(n,) rad, best linear prediction of the roll, transient included."""
    transient: Array
    """(n,) rad."""


def mean_of(heel: Array, parts: Parts) -> Fitted:
    """Find the best linear unbiased mean of a window.

    With covariance ``K`` and ones ``e``, the weights are ``K^-1 e / (e' K^-1 e)`` (Gauss-Markov, Aitken) and the roll
    is predicted as ``K_roll K^-1 (heel - mean)``.

    Parameters
    ----------
    heel : (n,) rad, the wind's part taken off.
    parts : the model.

    References
    ----------
    A. C. Aitken, On least squares and linear combination of observations, Proc. Roy. Soc. Edinburgh 55 (1936) 42-48.

    >>> parts = Parts(np.zeros((4, 4)), np.zeros((4, 4)), np.zeros((4, 4)), np.full(4, 1e-8))
    >>> round(mean_of(np.array([1.0, 2.0, 3.0, 4.0]), parts).mean, 6)
    2.5
    """
    whole = parts.whole
    whole[np.diag_indices_from(whole)] += 1e-10 * float(np.mean(np.diag(whole))) + 1e-24
    factor = sound_factor(whole)
    turned = cho_solve(factor, np.ones(heel.size), check_finite=False)
    weight = turned / float(turned.sum())
    mean = float(weight @ heel)
    rest = heel - mean
    pull = cho_solve(factor, rest, check_finite=False)
    transient = parts.transient @ pull
    return Fitted(
        mean=mean,
        weight=np.asarray(weight),
        variance=1.0 / float(turned.sum()),
        variance_low=float(weight @ parts.low @ weight),
        variance_roll=float(weight @ parts.roll @ weight + weight @ parts.transient @ weight),
        variance_noise=float(weight**2 @ parts.noise),
        covariance=whole,
        factor=factor[0],
        whitened=np.asarray(solve_triangular(factor[0], rest, lower=True, check_finite=False)),
        roll=np.asarray(parts.roll @ pull + transient),
        transient=np.asarray(transient),
    )
