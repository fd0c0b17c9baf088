"""Differences between windows of one state of the weights: what changes slower than a window.

Two windows in which the weights stand alike should show one heel. What they differ by, beyond motion inside them,
is slow change of the air, which where no wind is measured nothing else shows; `dsp.day` asks for it only there.
"""

from __future__ import annotations

import numpy as np

from dsp.bins import Grid
from dsp.combine import Alignment
from dsp.contrast import Band, Contrast
from dsp.estimate import Evaluated
from dsp.low import LowHeel
from dsp.motion import Hats
from dsp.types import Array

CELL = 0.15
"""Turns by which the phase of a window's weights changes, from end to end, within a cell of the quadrature at most."""
TOO_FAR = 6.0
"""Standard uncertainties off the others of its group at which a window is left out here: something else moved it."""


def window_covariance(windows: list[Evaluated], grid: Grid) -> Array:
    """Return (p, k, k): covariance of the windows' means for unit density at each node, each window's scale 1.

    With ``W_i(f)`` the transform of a window's weights about its middle and ``D`` the time between two middles, the
    covariance is the integral of density times ``Re(W_i W_j* exp(-2 pi i f D))``. Motion at and above the roll forgets
    itself long before the next window: its nodes have a diagonal only.
    """
    if not windows:
        return np.zeros((0, 0, 0))
    hats, size = windows[0].model.hats, len(windows)
    longest = max(float(one.index[-1] - one.index[0]) * grid.step for one in windows)
    frequency, width = _cells(hats, CELL / max(longest, grid.step))
    shape = hats.at(frequency)[: hats.low] * width
    middle, turned = np.empty(size), np.empty((size, frequency.size), dtype=np.complex128)
    for i, one in enumerate(windows):
        time = one.index * grid.step
        middle[i] = float(np.mean(time))
        turned[i] = np.exp(-2j * np.pi * frequency[:, None] * (time - middle[i])) @ one.fitted.weight
    result = np.zeros((hats.node.size, size, size))
    for i in range(size):
        result[:, i, i] = windows[i].hat_variances
        apart = (middle[i] - middle[:i])[:, None]
        wave = np.real(turned[i] * np.conj(turned[:i]) * np.exp(-2j * np.pi * frequency * apart))
        result[: hats.low, i, :i] = shape @ (wave * np.sinc(width * apart)).T
        result[: hats.low, :i, i] = result[: hats.low, i, :i]
    return result


def _cells(hats: Hats, widest: float) -> tuple[Array, Array]:
    """Midpoints and widths (Hz) of the quadrature below the roll, none wider than ``widest``."""
    slow = hats.frequency < hats.node[min(hats.low, hats.node.size - 1)]
    parts = np.ceil(hats.width[slow] / widest).astype(int)
    width = np.repeat(hats.width[slow] / parts, parts)
    place = np.concatenate([np.arange(n) for n in parts])
    return np.repeat(hats.frequency[slow] - 0.5 * hats.width[slow], parts) + (place + 0.5) * width, width


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
    band = Band(
        value=turned @ value,
        pressure=np.zeros((turned.shape[0], 0)),
        hats=np.array([turned @ one @ turned.T for one in whole[:nodes]]),
        fixed=turned @ (fixed + above) @ turned.T,
    )
    return Contrast((band,), own=False)


def _agreeing(windows: list[Evaluated]) -> list[Evaluated]:
    """Leave out windows far off the median of their group."""
    kept = []
    for one in windows:
        alike = [w.fitted.mean for w in windows if w.span.group == one.span.group]
        away = abs(one.fitted.mean - float(np.median(alike)))
        if len(alike) > 1 and away < TOO_FAR * float(np.sqrt(2.0 * one.fitted.variance)):
            kept.append(one)
    return kept
