"""Differences between windows of one state of the weights: what changes slower than a window.

Two windows in which the weights stand alike should show one heel. What they differ by, beyond motion inside them,
is slow change of the air, which where no wind is measured nothing else shows; `dsp.day` asks for it only there.
"""

from __future__ import annotations

import numpy as np

from dsp.bins import Grid
from dsp.combine import Alignment
from dsp.estimate import Evaluated
from dsp.low import LowHeel
from dsp.reml import Contrast
from dsp.types import Array

TOO_FAR = 6.0
"""Standard uncertainties off the others of its group at which a window is left out here: something else moved it."""


def window_covariance(windows: list[Evaluated], grid: Grid) -> Array:
    """Return (p, k, k): covariance of the windows' means for unit density at each node, each window's scale 1.

    Means are taken at a dozen places of each window, each with its share of the window's weights.
    """
    if not windows:
        return np.zeros((0, 0, 0))
    places, shares = [], []
    for one in windows:
        blocks = np.array_split(np.arange(one.index.size), min(12, one.index.size))
        places.append(np.array([float(np.mean(one.index[b])) for b in blocks]) * grid.step)
        shares.append(np.array([float(np.sum(one.fitted.weight[b])) for b in blocks]))
    hats, size = windows[0].model.hats, len(windows)
    result = np.zeros((hats.node.size, size, size))
    for i in range(size):
        result[:, i, i] = windows[i].hat_variances
        for j in range(i):
            table = hats.covariance(places[i][:, None] - places[j][None, :])
            result[:, i, j] = result[:, j, i] = np.einsum("pab,a,b->p", table, shares[i], shares[j])
    return result


def differences(windows: list[Evaluated], grid: Grid, alignment: Alignment, low: LowHeel) -> Contrast | None:
    """Build the contrasts within groups of windows; None where no two windows of one group can be used.

    Parameters
    ----------
    windows : those that passed their checks, of a day without measured wind.
    """
    grouped = [one for one in windows if one.span.group]
    kept = _agreeing(grouped)
    if len(kept) - len({one.span.group for one in kept}) < 1:
        return None
    names = sorted({one.span.group for one in kept})
    member = np.array([[one.span.group == name for name in names] for one in kept], dtype=np.float64)
    turned = np.linalg.qr(member, mode="complete")[0][:, len(names) :].T
    middle = np.array([0.5 * (one.span.start + one.span.stop) - alignment.centre for one in kept])
    value = np.array([one.fitted.mean for one in kept])
    rest = np.array([one.fitted.variance_roll + one.fitted.variance_noise for one in kept])
    fixed = np.diag(rest + alignment.wander_u**2) + alignment.drift_u**2 * np.outer(middle, middle)
    whole = window_covariance(kept, grid)
    nodes = kept[0].model.hats.low
    above = np.tensordot(low.fit.density[nodes:], whole[nodes:], axes=1)
    return Contrast(
        value=turned @ value,
        pressure=np.zeros((turned.shape[0], 0)),
        hats=np.array([turned @ one @ turned.T for one in whole[:nodes]]),
        fixed=turned @ (fixed + above) @ turned.T,
        own=False,
    )


def _agreeing(windows: list[Evaluated]) -> list[Evaluated]:
    """Leave out windows far off the median of their group."""
    kept = []
    for one in windows:
        alike = [w.fitted.mean for w in windows if w.span.group == one.span.group]
        away = abs(one.fitted.mean - float(np.median(alike)))
        if len(alike) > 1 and away < TOO_FAR * float(np.sqrt(2.0 * one.fitted.variance)):
            kept.append(one)
    return kept
