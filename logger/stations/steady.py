"""The mean of a channel that stands still, with an uncertainty that knows of slow noise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

Reals = NDArray[np.float64]
BATCHES = 16
"""Means of so many equal parts tell how well the whole mean is known (batch means, Schmeiser 1982: 10 to 30)."""


@dataclass(frozen=True)
class SteadyMean:
    """Mean of a stretch at rest, in the unit of the channel."""

    value: float
    u: float
    """Standard uncertainty of the mean, from the scatter of batch means; NaN below 4 readings."""
    dof: int
    noise: float
    """Standard deviation of a single reading about the slow motion."""
    readings: int

    def u95(self) -> float:
        """Half width at 95 %, by Student's t."""
        return coverage(self.dof) * self.u


def coverage(dof: float) -> float:
    """Factor from a standard uncertainty to the half width at 95 % (GUM G.3); infinite below one degree of freedom.

    >>> round(coverage(15), 3)
    2.131
    """
    return float(stdtrit(dof, 0.975)) if dof >= 1 else math.inf


def steady_mean(values: Sequence[float] | Reals) -> SteadyMean:
    """Mean of readings taken at rest.

    Parameters
    ----------
    values : (n,) in order of time; NaN left out.

    Returns
    -------
    SteadyMean. Its uncertainty is the scatter of batch means, so slow noise counts as far as batches are longer than
    it; noise slower than the whole stretch cannot be seen by any method.
    """
    x = np.asarray(values, dtype=np.float64)
    x = x[np.isfinite(x)]
    if x.size < 4:
        mean = float(x.mean()) if x.size else math.nan
        return SteadyMean(mean, math.nan, 0, math.nan, int(x.size))
    batches = min(BATCHES, x.size // 2)
    size = x.size // batches
    means = x[: batches * size].reshape(batches, size).mean(axis=1)
    u = float(np.std(means, ddof=1)) / math.sqrt(batches)
    # A coarse converter can hide all scatter; a mean is never better than its step allows.
    step = resolution(x)
    if math.isfinite(step) and np.unique(x).size <= 2:
        u = max(u, step / math.sqrt(12.0))
    return SteadyMean(float(x.mean()), u, batches - 1, reading_noise(x), int(x.size))


def reading_noise(values: Reals) -> float:
    """Standard deviation of single readings about a slow motion, from second differences; same unit.

    Second differences of white noise have six times its variance, and a straight drift does not enter. The median
    absolute deviation keeps spikes out; where a coarse converter makes it zero, the plain spread is taken.

    >>> rng = np.random.default_rng(0)
    >>> round(reading_noise(np.linspace(0, 1, 5000) + rng.normal(0, 0.01, 5000)), 3)
    0.01
    """
    if values.size < 3:
        return math.nan
    second = np.diff(values, 2)
    spread = 1.4826 * float(np.median(np.abs(second - np.median(second))))
    if spread == 0.0:
        spread = float(np.std(second))
    return spread / math.sqrt(6.0)


def resolution(values: Reals) -> float:
    """Quantisation step of a channel: the coarsest grid on which all its values lie; NaN where none can be made out.

    Where many values repeat, the smallest distance between two of them tells it; else the coarsest of the steps
    1, 2, 2.5 and 5 times a power of ten that all values are multiples of, which is the last digit sent.

    >>> resolution(np.array([0.12, 0.14, 0.10, 0.12, 0.18, 0.16, 0.10]))
    0.02
    """
    distinct = np.unique(values[np.isfinite(values)])
    if distinct.size < 2:
        return math.nan
    gaps = np.diff(distinct)
    step = float(gaps.min())
    whole = gaps / step
    if distinct.size <= 0.5 * values.size + 2 and np.mean(np.abs(whole - np.round(whole)) < 0.05) >= 0.98:
        refined = float((distinct[-1] - distinct[0]) / np.round(whole).sum())
        return float(f"{refined:.4g}")
    if distinct.size < 6:
        return math.nan
    for power in range(0, -7, -1):
        for digit in (5.0, 2.5, 2.0, 1.0):
            grid = digit * 10.0**power
            if grid <= float(np.ptp(distinct)) and np.all(np.abs(distinct / grid - np.round(distinct / grid)) < 1e-4):
                return float(f"{grid:.4g}")
    return math.nan
