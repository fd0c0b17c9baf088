"""A single damped oscillator driven by a record, exact for forces that vary linearly within a step."""

from __future__ import annotations

import cmath
import math

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

Array = NDArray[np.float64]


def follow(drive: Array, rate: float, damping: float, step: float) -> tuple[Array, Array]:
    """Solve ``x'' + 2 z w x' + w^2 x = w^2 drive`` from rest at the drive's first value.

    Parameters
    ----------
    drive : (n,) in the unit of x.
    rate : natural rate w, rad/s.
    damping : z, fraction of critical, below 1.
    step : s.

    Returns
    -------
    (n,) position and (n,) acceleration.

    >>> float(follow(np.ones(50), 1.0, 0.1, 0.2)[0][-1])
    1.0
    """
    first = float(drive[0])
    forced = drive - first
    damped = math.sqrt(max(1.0 - damping**2, 1e-9))
    lam = rate * complex(-damping, damped)
    gain = rate / (1j * damped)  # of the pair of modes one is kept, with double weight
    x = lam * step
    one, two = (cmath.exp(x) - 1) / x, (cmath.exp(x) - 1 - x) / x**2
    fed = np.concatenate([[0j], step * gain * ((one - two) * forced[:-1] + two * forced[1:])])
    mode = lfilter([1.0 + 0j], [1.0 + 0j, -cmath.exp(x)], fed)
    acceleration: Array = (lam * lam * mode).real + (gain * lam).real * forced
    position: Array = mode.real + first
    return position, acceleration
