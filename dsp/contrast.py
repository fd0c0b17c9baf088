"""What a stretch of record has below the roll: contrasts that are free of its mean and of a decaying roll.

A stretch is projected on cosines that complete fewer cycles than the roll, made orthogonal to its own mean and to a
swing that dies (docs/method-heel.md, section 5). Cosines of a long stretch are taken in bands: those of different bands
hardly know of each other, and the likelihood of band by band costs a hundredth of that of all together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.fft import next_fast_len

from dsp.motion import Hats, roll_covariance
from dsp.types import Array

WIDEST = 64
"""Cosines in a band at most. What two bands share is what a slope between the ends of a stretch leaves in every other
cosine; the variance it brings stands in each band."""


@dataclass(frozen=True)
class Stretch:
    """One piece of the day in which nothing moved, on the day's grid."""

    index: np.ndarray
    """(n,) int, bin numbers, rising; gaps leave numbers out."""
    heel: Array
    """(n,) rad."""
    noise: Array
    """(n,) rad2, variance of the white noise of each bin."""
    pressure: Array
    """(n, r) regressors of the wind, r = 0 without."""
    roll_variance: float
    """rad2 of its roll."""


@dataclass(frozen=True)
class Band:
    """A stretch in one band of frequencies."""

    value: Array
    """(j,) rad."""
    pressure: Array
    """(j, r)."""
    hats: Array
    """(low, j, j) covariance for unit density at each low node."""
    fixed: Array
    """(j, j) rad2, covariance of roll, of what is broad above it, and of white noise."""


@dataclass(frozen=True)
class Contrast:
    """A stretch seen below the roll."""

    bands: tuple[Band, ...]
    """Rising; none where the stretch is too short to show anything below the roll."""
    own: bool = True
    """It is one stretch with a scale of its own; False for differences between windows."""

    def with_pressure(self, column: int) -> Contrast:
        """Keep one of the regressors of the wind; where there are none, none."""
        part = slice(column, column + 1)
        return replace(self, bands=tuple(replace(b, pressure=b.pressure[:, part]) for b in self.bands))


class Compressor:
    """Turns stretches into contrasts; keeps what stretches of one length share."""

    def __init__(self, hats: Hats, above: Array, step: float, roll_frequency: float, damping: float) -> None:
        """``above`` (p - low,) rad2/Hz is the density at the nodes above the low ones; ``step`` s; frequency Hz."""
        self.hats, self.above, self.step = hats, above, step
        self.roll_frequency, self.damping, self.highest = roll_frequency, damping, float(hats.node[hats.low - 1])
        self._kept: dict[bytes, list[tuple[Array, Array, Array]]] = {}

    def _bands(self, place: np.ndarray) -> list[tuple[Array, Array, Array]]:
        """Cosines (n, j) of each band, with what hats and roll of unit height have of them: (p, j, j) and (j, j)."""
        key = place.tobytes()
        if key not in self._kept:
            size, q = int(place[-1]) + 1, self._cosines(place)
            length = int(next_fast_len(2 * size, real=True))
            waves = self.hats.table(self.step, size)
            if np.isfinite(self.roll_frequency):
                roll = roll_covariance(np.arange(size) * self.step, self.roll_frequency, self.damping)
                waves = np.vstack([waves, roll])
            rings = [_ring(wave, length) for wave in waves]
            made = []
            for some in np.array_split(q, max(1, -(-q.shape[1] // WIDEST)), axis=1):
                even = np.zeros((some.shape[1], size))
                even[:, place] = some.T
                turned = np.fft.rfft(even, length)
                parts = np.concatenate([turned.real, turned.imag], axis=1)
                seen = np.array([_quadratic(parts, ring) for ring in rings])
                nodes = self.hats.node.size
                made.append((some, seen[:nodes], seen[nodes] if len(rings) > nodes else np.zeros_like(seen[0])))
            self._kept[key] = [one for one in made if one[0].shape[1]]
        return self._kept[key]

    def _cosines(self, place: np.ndarray) -> Array:
        """Orthonormal cosines below the roll (n, j), rising, free of the mean and of a swing that dies."""
        size = int(place[-1]) + 1
        count = int(2.0 * size * self.step * self.highest)
        x = (place + 0.5) / size
        low = np.cos(np.pi * np.arange(1, count + 1) * x[:, None])
        away = [np.ones(place.size)]
        if np.isfinite(self.roll_frequency):
            turn = 2.0 * np.pi * self.roll_frequency * self.step * place
            fade = np.exp(-self.damping * turn)
            away += [fade * np.cos(turn), fade * np.sin(turn)]
        both = np.column_stack([*away, low])
        if both.shape[1] >= place.size:
            return np.zeros((place.size, 0))
        return np.asarray(np.linalg.qr(both)[0][:, len(away) :])

    def contrast(self, stretch: Stretch) -> Contrast:
        """Project one stretch."""
        low, bands = self.hats.low, []
        for q, hats, roll in self._bands(stretch.index - stretch.index[0]):
            fixed = stretch.roll_variance * roll + np.tensordot(self.above, hats[low:], axes=1)
            fixed += (q.T * stretch.noise) @ q
            fixed += np.eye(q.shape[1]) * (1e-12 * max(float(np.trace(fixed)), 1e-30) + 1e-22)
            bands.append(Band(q.T @ stretch.heel, q.T @ stretch.pressure, hats[:low], fixed))
        return Contrast(tuple(bands))


def _ring(wave: Array, length: int) -> Array:
    """Eigenvalues of the circulant that holds the Toeplitz covariance ``wave``, over half of ``length``."""
    ring = np.zeros(length)
    ring[: wave.size] = wave
    ring[length - wave.size + 1 :] = wave[:0:-1]
    values = np.fft.rfft(ring).real * 2.0 / length
    values[0] *= 0.5
    if length % 2 == 0:
        values[-1] *= 0.5
    return np.asarray(values)


def _quadratic(parts: Array, ring: Array) -> Array:
    """Return ``Q' K Q`` for the covariance of which `_ring` gave ``ring``; ``parts`` holds Q transformed."""
    strong = np.abs(ring) > 1e-9 * float(np.max(np.abs(ring)))
    some = parts[:, np.concatenate([strong, strong])]
    return np.asarray((some * np.concatenate([ring[strong], ring[strong]])) @ some.T)
