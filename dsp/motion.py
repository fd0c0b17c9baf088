"""The model of a vessel's small motion at a quiet berth: low-frequency heel and roll, as covariances.

Low-frequency heel (gusts, swing on the moorings) is a stationary Gaussian process whose one-sided spectrum is a sum of
hat functions on logarithmic frequency, flat below the lowest: no shape is taken for granted, and the spectrum near zero
frequency, which makes the uncertainty of a mean, is what the day shows at the lowest frequencies it can show.
Roll is a lightly damped oscillator driven at random, without its share at the lowest frequencies, so that low-frequency
heel is counted once (docs/method-heel.md, section 4).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from dsp.types import Array

Lags = NDArray[np.floating[Any]]

NODE_RATIO = 1.6
"""Ratio of neighbouring frequencies at which the low-frequency spectrum is given."""


@dataclass(frozen=True)
class Hats:
    """Hat functions on logarithmic frequency, with what is needed to turn them into covariances."""

    node: Array
    """(p,) Hz, rising; below the first and above the last the spectrum is flat."""
    frequency: Array
    """(f,) Hz, midpoints of the quadrature."""
    width: Array
    """(f,) Hz."""
    shape: Array
    """(p, f) value of each hat."""

    low: int
    """The first ``low`` nodes are low-frequency heel; the others carry what is broad beside and above the roll."""
    kept: dict[float, Array] = field(default_factory=dict, repr=False, compare=False)
    """Step (s) -> longest table made so far."""

    @classmethod
    def between(cls, lowest: float, highest: float, nyquist: float, slowest: float = float("nan")) -> Hats:
        """Lay nodes from ``lowest`` to ``highest`` Hz in steps of about `NODE_RATIO`, and on to ``nyquist`` by 2.

        Below ``lowest``, where only differences between windows can tell, come nodes by about 3 down to ``slowest``.
        """
        lowest = min(lowest, highest / 1.3)
        count = max(2, round(float(np.log(highest / lowest) / np.log(NODE_RATIO))) + 1)
        node = np.geomspace(lowest, highest, count)
        if slowest < 0.5 * lowest:
            below = max(1, round(float(np.log(lowest / slowest) / np.log(3.0))))
            node = np.concatenate([np.geomspace(slowest, lowest, below + 1)[:-1], node])
            count += below
        above = max(1, round(float(np.log2(max(nyquist / highest, 2.0)))))
        node = np.concatenate([node, highest * np.geomspace(1.0, max(nyquist / highest, 2.0), above + 1)[1:]])
        edge = np.concatenate([np.linspace(0.0, node[0], 13), np.geomspace(node[0], node[-1], 12 * node.size + 30)[1:]])
        middle, width = 0.5 * (edge[1:] + edge[:-1]), np.diff(edge)
        return cls(node=node, frequency=middle, width=width, shape=_hats(node, middle), low=count)

    def covariance(self, lag: Lags) -> Array:
        """Return (p, *lag.shape): autocovariance of each hat of unit height; ``sinc`` spreads each quadrature cell."""
        flat = np.abs(lag).ravel()
        wave = np.cos(2.0 * np.pi * self.frequency[:, None] * flat) * np.sinc(self.width[:, None] * flat)
        return np.asarray(((self.shape * self.width) @ wave).reshape(self.node.size, *lag.shape))

    def table(self, step: float, size: int) -> Array:
        """Return (p, size): the same at lags of 0, 1, 2, ... times ``step`` s, made once for all windows of a day."""
        made = self.kept.get(step)
        if made is None or made.shape[1] < size:
            made = self.kept[step] = self.covariance(np.arange(size) * step)
        return made[:, :size]

    def at(self, frequency: Array) -> Array:
        """Return (p, m): value of each hat at ``frequency`` Hz."""
        return _hats(self.node, np.asarray(frequency, dtype=np.float64))


def _hats(node: Array, frequency: Array) -> Array:
    """Value (p, m) of each hat function at each frequency; piecewise linear in the logarithm of frequency."""
    place = np.interp(np.log(np.maximum(frequency, 1e-9)), np.log(node), np.arange(node.size, dtype=np.float64))
    return np.asarray(np.maximum(0.0, 1.0 - np.abs(place - np.arange(node.size)[:, None])))


def roll_spectrum(frequency: Lags, natural: float, damping: float) -> Array:
    """Return the one-sided density (1/Hz) of roll of unit variance.

    Above resonance it is the displacement of an oscillator pushed at random, falling with the fourth power; below it is
    that oscillator's speed, which vanishes at zero frequency, so that low-frequency heel is not counted twice.

    Parameters
    ----------
    frequency, natural : Hz. damping : fraction of critical, below 1.

    References
    ----------
    M. C. Wang and G. E. Uhlenbeck, On the theory of the Brownian motion II, Rev. Mod. Phys. 17 (1945) 323-342: spectra
    of a Brownian oscillator's displacement and speed.
    """
    whole = np.linspace(0.0, 12.0 * natural, max(2000, int(120.0 / damping)))
    size = float(np.trapezoid(_resonance(whole / natural, damping), whole))
    return np.asarray(_resonance(np.asarray(frequency, dtype=np.float64) / natural, damping) / size)


def _resonance(ratio: Array, damping: float) -> Array:
    return np.asarray(np.minimum(ratio**2, 1.0) / ((1.0 - ratio**2) ** 2 + (2.0 * damping * ratio) ** 2))


def roll_covariance(lag: Lags, frequency: float, damping: float) -> Array:
    """Return the autocovariance of unit variance that belongs to `roll_spectrum`, at ``lag`` s.

    By Fourier transform on a grid fine enough for the peak (a sixth of its half width) and the longest lag, and a cubic
    spline between its points, 32 to a period.

    Parameters
    ----------
    frequency : Hz, undamped natural frequency. damping : fraction of critical, below 1.
    """
    away = np.abs(lag)
    longest = float(np.max(away)) if away.size else 0.0
    step = 1.0 / (32.0 * frequency)
    fine = min(damping * frequency / 6.0, 0.25 / max(longest, step))
    size = int(2 ** np.ceil(np.log2(1.0 / (fine * step))))
    ring = np.fft.irfft(roll_spectrum(np.fft.rfftfreq(size, step), frequency, damping))
    points = min(int(longest / step) + 4, size // 2)
    table = CubicSpline(np.arange(points) * step, ring[:points] / ring[0])
    return np.asarray(table(np.minimum(away, (points - 1) * step)))


@dataclass(frozen=True)
class MotionModel:
    """Low-frequency heel and roll of one window or of the day; satisfies `dsp.types.Motion`."""

    hats: Hats
    density: Array
    """(p,) rad2/Hz at the nodes."""
    roll_frequency: float
    """Hz; NaN if there is no roll."""
    damping: float
    roll_variance: float
    """rad2 of the stationary roll."""
    white: float
    """rad2, variance of the white part of one bin."""

    def low_covariance(self, lag: Lags) -> Array:
        """Return the autocovariance (rad2) of low-frequency heel alone."""
        return np.asarray(np.tensordot(self.density, self.hats.covariance(lag), axes=1))

    def covariance(self, lag: Lags) -> Array:
        """Return the autocovariance (rad2) of low-frequency heel and roll."""
        low = self.low_covariance(lag)
        if not self.roll_variance > 0.0:
            return low
        return np.asarray(low + self.roll_variance * roll_covariance(lag, self.roll_frequency, self.damping))

    def spectrum(self, frequency: Array) -> Array:
        """Return the one-sided density (rad2/Hz) of low-frequency heel and roll."""
        low = self.density @ self.hats.at(np.asarray(frequency, dtype=np.float64))
        if not self.roll_variance > 0.0:
            return np.asarray(low)
        return np.asarray(low + self.roll_variance * roll_spectrum(frequency, self.roll_frequency, self.damping))
