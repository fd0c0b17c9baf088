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

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.values import NONE, Array, Scatter, Windows
from reduction.gm.curve import Form, sensitivity

USUAL, MOST = 4.0, 30.0
"""Standard deviations of the scatter over the windows' own: up to `USUAL` is weather, up to `MOST` hardly heard of."""
RATIOS = np.concatenate([[0.0], np.geomspace(0.25, MOST, 16)])
"""Those that are tried; even in the logarithm."""
PRIOR_SCATTER, PRIOR_MORE = 0.6, 0.01
"""Judgement: probability of scatter up to `USUAL` and beyond; even in the logarithm within each."""


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
    weight, _, size = _weighed(windows, form, gm, tcg, 0.0, windows.dof)
    share = np.exp(weight - logsumexp(weight))
    # Beside sets of windows left out, which are weighed by a covariance taken as known.
    known, plain, _ = _weighed(windows, form, gm, tcg, 0.0)
    odds = float(logsumexp(known[1:]) - plain)
    return Scatter(RATIOS**2 * size, share, float(np.sqrt(1.0 + share @ RATIOS**2)), odds)


def bend_odds(windows: Windows, form: Form, gm: float, tcg: float, bend_u: float) -> float:
    """Log likelihood of windows whose curve has one bend more, without scatter, over that of windows without either.

    Parameters
    ----------
    bend_u : m of BM, what is thought of the bend beforehand, about nought.
    """
    return _weighed(windows, form, gm, tcg, bend_u)[1] - _weighed(windows, form, gm, tcg, 0.0)[1]


def _weighed(
    windows: Windows, form: Form, gm: float, tcg: float, bend_u: float, dof: float = np.inf
) -> tuple[Array, float, float]:
    """Log weight of each of `RATIOS`, log likelihood without scatter, and the windows' own middle variance (rad2)."""
    tangent = np.tan(windows.heel)
    _, stiffness = sensitivity(windows.heel, gm, form, windows.rise)
    rest = windows.arm + windows.rise * tangent - form.c(windows.heel) - gm * tangent + tcg
    design = np.column_stack([tangent, -np.ones_like(tangent)]) / stiffness[:, None]
    covariance = windows.covariance + windows.arm_covariance / np.outer(stiffness, stiffness)
    size = float(np.median(np.diag(covariance)))
    bend = 0.5 * tangent**3 / stiffness * bend_u
    covariance = (covariance + windows.zero_u**2 + np.outer(bend, bend)) / size
    rest = rest / stiffness / np.sqrt(size)
    design = design / np.sqrt(np.sum(design**2, axis=0))
    more = np.eye(windows.heel.size)
    worth = np.array([_restricted(covariance + ratio**2 * more, design, rest, dof) for ratio in RATIOS])
    return np.log(PRIOR) + worth, float(worth[0]), size


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
