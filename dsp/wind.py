"""Wind as the heel feels it: abeam pressure, low-passed to what hull and mast have in common."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.bins import Grid, binned
from dsp.motion import Hats
from dsp.spectrum import periodogram
from dsp.types import Array, Wind

SMOOTHING = (2.0, 4.0, 8.0, 16.0, 32.0, 64.0)
"""s, candidates for the time over which gusts at the mast and at the hull are alike."""
ALIKE_M = 32.0
"""m, usual smoothing times wind speed: ``C d / (2 pi)`` with C about 10 and a mast 20 m from the middle of the hull."""
ALIKE_SPREAD = 0.7
"""Standard deviation of its logarithm (judgement: masts stand 10 to 40 m off)."""

ARM_U = 0.5
"""Standard uncertainty of the steady wind's arm over that of gusts, as a fraction: between half and twice, about the
swing on the moorings (judgement; see `steady_u`)."""

HEARD_S = 15.0
"""s before and after it of which a reading of the wind tells."""
FEWEST = 20
"""Readings of the wind, under which the day counts as one without."""


@dataclass(frozen=True)
class Pressure:
    """Square of the wind speed on the day's grid, abeam and pushing to starboard where direction is known."""

    value: Array
    """(n,) (m/s)^2, gaps bridged by straight lines."""
    speed: Array
    """(n,) m/s bin means, NaN where silent."""
    known: Array
    """(n,) 1 where wind was measured nearby, 0 inside longer gaps."""
    directed: bool
    """Direction was measured; otherwise the sign is the coefficient's."""


def pressure_on(grid: Grid, wind: Wind) -> Pressure | None:
    """Return the abeam pressure ``-v^2 sin(direction)`` (positive pushes to starboard), or ``v^2`` without direction.

    Direction is where the wind comes from, clockwise from the bow, so wind from starboard (90 degrees) pushes to port.
    None if there is too little wind record to use.
    """
    good = np.isfinite(wind.speed) & np.isfinite(wind.time)
    directed = (
        wind.direction is not None and bool(np.isfinite(wind.direction[good]).mean() > 0.5) if good.any() else False
    )
    square = wind.speed * np.abs(wind.speed)
    if directed and wind.direction is not None:
        good = good & np.isfinite(wind.direction)
        square = -square * np.sin(np.where(good, wind.direction, 0.0))
    if good.sum() < FEWEST:
        return None
    means = binned(grid, wind.time, square, good)
    here = np.flatnonzero(means.count > 0)
    if here.size < FEWEST:
        return None
    index = np.arange(grid.size)
    nearest = np.minimum(
        np.abs(index - here[np.clip(np.searchsorted(here, index), 0, here.size - 1)]),
        np.abs(index - here[np.clip(np.searchsorted(here, index) - 1, 0, here.size - 1)]),
    )
    return Pressure(
        value=np.interp(index, here, means.mean[here]),
        speed=binned(grid, wind.time, wind.speed, good).mean,
        known=(nearest * grid.step < HEARD_S).astype(np.float64),
        directed=directed,
    )


def unlike_gusts(value: Array, step: float, smoothing: float, hats: Hats) -> Array:
    """Return the spectrum (p,) (m/s)^4/Hz, at the nodes of ``hats``, of gusts at the hull that the mast does not see.

    Hull and mast stand in the same air: with root coherence ``r(f)`` the part of the hull's pressure that no record of
    the mast predicts has the spectrum of the mast times ``1 - r^2``; ``r`` is the transfer of `smoothed`. It vanishes
    towards zero frequency, where the mean of a window is made.

    Parameters
    ----------
    value : (n,) pressure at the mast on an even grid of ``step`` s.
    """
    frequency = np.fft.rfftfreq(value.size, step)
    density = periodogram(value, step, value.size)
    level = np.zeros(hats.node.size)
    for i, node in enumerate(hats.node):
        near = (frequency > node / 1.4) & (frequency < node * 1.4) & (frequency > 0)
        nearest = int(np.argmin(np.abs(frequency - node)))
        level[i] = float(np.mean(density[near])) if near.sum() >= 3 else float(np.mean(density[1 : nearest + 3]))
    return np.asarray(level * -np.expm1(-4.0 * np.pi * smoothing * hats.node))


def smoothed(value: Array, step: float, smoothing: float) -> Array:
    """Low-pass with transfer ``exp(-2 pi smoothing |f|)``: what gusts at mast and hull have in common.

    Coherence of gusts a distance ``d`` apart in wind ``U`` falls as ``exp(-c f d / U)`` with frequency ``f``; the best
    linear prediction of the wind at the hull from the wind at the mast has its square root as transfer. The kernel is
    that of Cauchy, symmetric in time; ends are mirrored.

    References
    ----------
    A. G. Davenport, The spectrum of horizontal gustiness near the ground in high winds, Q. J. R. Meteorol. Soc. 87
    (1961) 194-211 (exponential law of coherence; from memory).
    """
    mirrored = np.concatenate([value, value[::-1]])
    frequency = np.fft.rfftfreq(mirrored.size, step)
    shaped = np.fft.rfft(mirrored) * np.exp(-2.0 * np.pi * smoothing * frequency)
    return np.asarray(np.fft.irfft(shaped, mirrored.size)[: value.size])


def log_prior(smoothing: float, speed: Array) -> float:
    """Return the log probability beforehand of a smoothing time (s) in wind of ``speed`` (n,) m/s, but for a constant.

    Inside a stretch too short a smoothing with too small a coefficient fits nearly as well as the right pair, and the
    mean of a window would then be corrected by too little.

    >>> log_prior(8.0, np.array([4.0, 4.0])) > log_prior(2.0, np.array([4.0, 4.0]))
    True
    """
    mean = max(float(np.nanmean(np.abs(speed))), 0.5)
    return -0.5 * (float(np.log(smoothing * mean / ALIKE_M)) / ALIKE_SPREAD) ** 2


def steady_u(coefficient: float, u: float) -> float:
    """Standard uncertainty of the heel that the *mean* wind of a window makes, per pressure; unit of ``coefficient``.

    The coefficient is learnt from what heel and wind do together inside stretches, at periods of seconds to minutes.
    A window's mean asks for it at zero frequency, and that is another number: a steady wind is held by the water and
    the lines, gusts faster than the slow swing on the moorings by the vessel's own inertia, so the arm from the centre
    of wind to what holds against it differs, by some tenths; and gusts that the mast sees but the hull does not draw
    the learnt one down. How far cannot be told from inside a stretch; the windows themselves tell it, by their
    moments: with this uncertainty in the covariance, generalised least squares finds the steady coefficient along with
    GM (a common term with a normal prior and a covariance of rank one are the same thing).
    """
    return float(np.hypot(u, ARM_U * coefficient))
