"""How much windows scatter about the plot beyond what each shows inside itself: slow heel.

What changes slower than a window is long leaves no trace in it; only the windows of a day together show it, about the
one curve that they must lie on. It is one more variance, alike for all windows and unknown: what is thought of it
beforehand is weighed by the restricted likelihood of the windows (docs/method-gm.md, section 3).

References
----------
H. D. Patterson and R. Thompson, Recovery of inter-block information when block sizes are unequal, Biometrika 58 (1971)
545-554.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.values import NONE, Array, Scatter, Windows
from reduction.gm.curve import Form, sensitivity

USUAL, MOST = 4.0, 30.0
"""Standard deviations of the scatter over the windows' own: up to `USUAL` is weather, up to `MOST` hardly heard of."""
RATIOS = np.concatenate([[0.0], np.geomspace(0.25, MOST, 16)])
"""Those that are tried; even in the logarithm."""
PRIOR_SCATTER, PRIOR_MORE = 0.4, 0.01
"""Judgement: probability of scatter up to `USUAL` and beyond, even in the logarithm within each (decision 0069)."""


def _prior() -> Array:
    usual, more = (RATIOS > 0.0) & (RATIOS <= USUAL), RATIOS > USUAL
    share = np.where(usual, PRIOR_SCATTER / usual.sum(), 0.0) + np.where(more, PRIOR_MORE / more.sum(), 0.0)
    share[0] = 1.0 - PRIOR_SCATTER - PRIOR_MORE
    return share


PRIOR = _prior()


def scatter_of(windows: Windows, form: Form, gm: float, tcg: float) -> Scatter:
    """Weigh the scatter of ``windows`` about a curve.

    Parameters
    ----------
    gm, tcg : m, where the curve is made linear.

    Returns
    -------
    Scatter; none where no window is left over once GM and TCG are fitted.
    """
    if windows.heel.size < 3:
        return NONE
    plot = _plot(windows, form, gm, tcg)
    weight = np.log(PRIOR) + np.array([plot.worth(ratio, windows.dof) for ratio in RATIOS])
    share = np.exp(weight - logsumexp(weight))
    # Beside sets of windows left out, which are weighed by a covariance taken as known.
    known = np.array([plot.worth(ratio) for ratio in RATIOS])
    odds = float(logsumexp((np.log(PRIOR) + known)[1:]) - known[0])
    return Scatter(RATIOS**2 * plot.size, share, float(np.sqrt(1.0 + share @ RATIOS**2)), odds)


@dataclass(frozen=True)
class _Plot:
    """The windows about a curve made linear, in their own middle standard uncertainty."""

    covariance: Array
    design: Array
    rest: Array
    size: float
    """rad2, the middle variance of the windows."""

    def worth(self, ratio: float, dof: float = np.inf) -> float:
        """Restricted log likelihood with scatter of ``ratio`` times the windows' own."""
        return _restricted(self.covariance + ratio**2 * np.eye(self.rest.size), self.design, self.rest, dof)


def _plot(windows: Windows, form: Form, gm: float, tcg: float) -> _Plot:
    tangent = np.tan(windows.heel)
    _, stiffness = sensitivity(windows.heel, gm, form, windows.rise)
    rest = windows.arm + windows.rise * tangent - form.c(windows.heel) - gm * tangent + tcg
    design = np.column_stack([tangent, -np.ones_like(tangent)]) / stiffness[:, None]
    covariance = windows.covariance + windows.arm_covariance / np.outer(stiffness, stiffness)
    size = windows.middle_variance(stiffness)
    return _Plot(
        (covariance + windows.zero_u**2 + windows.of_list) / size,
        design / np.sqrt(np.sum(design**2, axis=0)),
        rest / stiffness / np.sqrt(size),
        size,
    )


def _restricted(covariance: Array, design: Array, rest: Array, dof: float) -> float:
    """Restricted log likelihood of ``rest`` (n,) with the parameters of ``design`` (n, p) free.

    The scale of the covariance is itself known to ``dof`` degrees of freedom; averaged over it the normal density
    becomes Student's.
    """
    inverse = np.linalg.inv(covariance)
    normal = design.T @ inverse @ design
    pull = design.T @ inverse @ rest
    chi2 = float(rest @ inverse @ rest - pull @ np.linalg.solve(normal, pull))
    free = rest.size - design.shape[1]
    fit = 0.5 * chi2
    if np.isfinite(dof):
        fit = 0.5 * (dof + free) * float(np.log1p(max(chi2, 0.0) / dof))
    return float(-0.5 * (np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]) - fit)
