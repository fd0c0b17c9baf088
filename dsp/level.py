"""The level of heel with the natural roll averaged out, and how much it scatters on its own."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from dsp.bins import Grid, interpolate_short
from dsp.types import Array


def smoothed_level(grid: Grid, heel: Array, period: float) -> tuple[Array, int]:
    """Average heel twice over whole roll periods, ten seconds at least, centred; NaN where too little is there.

    The triangle of two averages has a double zero at the roll frequency, so that no natural roll is left.

    Returns
    -------
    smooth : (n,) rad. width : bins of one average; the result looks that far each way.
    """
    whole = period * np.ceil(10.0 / period) if np.isfinite(period) else 10.0
    width = max(3, round(whole / grid.step))
    filled = interpolate_short(heel, 4)
    here = np.isfinite(filled)
    triangle = np.convolve(np.ones(width), np.ones(width)) / width
    if heel.size < triangle.size:
        return np.full(heel.size, np.nan), width
    total = np.convolve(np.where(here, filled, 0.0), triangle, mode="same")
    count = np.convolve(here.astype(np.float64), triangle, mode="same")
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0.7 * width, total / count, np.nan), width


def level_spread(smooth: Array, width: int, share: float = 0.5) -> float:
    """Scatter (rad) of smoothed heel on a steady level, from its changes over three widths; robust against steps.

    Parameters
    ----------
    share : of the changes, those that are smallest are judged by.
    """
    change = smooth[3 * width :] - smooth[: -3 * width] if smooth.size > 3 * width else np.zeros(0)
    change = np.abs(change[np.isfinite(change)])
    if change.size <= 5:
        return float("nan")
    return float(np.quantile(change, share) / ndtri(0.5 + 0.5 * share) / np.sqrt(2.0))
