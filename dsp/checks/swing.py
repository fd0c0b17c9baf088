"""The roll of a window period by period: complex amplitudes and the pushes between them, for two of the checks.

Over one period the heel is a straight line and a sine; the complex amplitude follows ``z[j+1] = a z[j] + push[j]`` with
``a = exp(-2 pi damping)``. On a clean window the pushes are independent complex normal and alike, so that sums of their
squares are chi-square and ratios of such sums are F, whatever the strength of the motion.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dsp.checks.look import Look
from dsp.types import Array


@dataclass(frozen=True)
class Swing:
    """Roll of a window, a period at a time."""

    time: Array
    """(j,) s since the epoch, middle of each period."""
    amplitude: NDArray[np.complex128]
    """(j,) rad."""
    push: NDArray[np.complex128]
    """(j - 1,) rad."""
    keep: float
    """Share of the amplitude that a free swing keeps over one period."""

    @property
    def mean_push(self) -> float:
        """rad2, mean square push."""
        return float(np.mean(np.abs(self.push) ** 2))

    @property
    def dof(self) -> float:
        """Degrees of freedom of ``mean_push``."""
        return 2.0 * self.push.size / SHARED


SHARED = 1.0 + 2.0 / 16.0
"""An amplitude is an average over its period, so that neighbouring pushes share a quarter of each other (increments of
averages of a random walk); the variance of a sum of their squares grows by up to this."""
FEWEST = 4
"""Periods a window must have."""


def swing_of(look: Look) -> Swing | None:
    """Return the roll of a window, or None where there are too few periods or no roll."""
    evidence, period = look.evidence, look.period
    if not np.isfinite(period) or look.length < FEWEST * period:
        return None
    heel = evidence.heel - evidence.wind_part - evidence.mean
    seconds = look.seconds - look.seconds[0]
    number = np.floor(seconds / period).astype(int)
    time, amplitude = [], []
    for j in range(int(number[-1]) + 1):
        here = number == j
        if int(here.sum()) < 5 or float(np.ptp(seconds[here])) < 0.7 * period:
            continue
        turn = 2.0 * np.pi * seconds[here] / period
        line = turn - turn.mean()
        design = np.column_stack([np.ones_like(turn), line, np.cos(turn), np.sin(turn)])
        fit = np.linalg.lstsq(design, heel[here], rcond=None)[0]
        time.append(float(evidence.time[here].mean()))
        amplitude.append(complex(fit[2], -fit[3]))
    if len(amplitude) < FEWEST:
        return None
    z = np.array(amplitude, dtype=np.complex128)
    damping = evidence.day_roll.damping
    keep = float(np.exp(-2.0 * np.pi * (damping if np.isfinite(damping) else 0.03)))
    return Swing(np.array(time), z, np.asarray(z[1:] - keep * z[:-1]), keep)
