"""Spectra of stretches of heel, pooled over the day.

Densities are one-sided (rad2/Hz): their integral from 0 to the Nyquist frequency is the variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.types import Array


@dataclass(frozen=True)
class Pooled:
    """Average periodogram of several stretches on one frequency grid."""

    frequency: Array
    """(m,) Hz."""
    density: Array
    """(m,) rad2/Hz, one-sided."""
    stretches: int
    length: int
    """Bins of the longest of them."""


def periodogram(value: Array, step: float, size: int) -> Array:
    """Return the one-sided Hann periodogram (rad2/Hz) of an even stretch, padded to ``size``.

    References
    ----------
    P. D. Welch, The use of fast Fourier transform for the estimation of power spectra, IEEE Trans. Audio
    Electroacoust. AU-15 (1967) 70-73: modified periodogram with window energy as divisor.
    """
    taper = np.sin(np.pi * (np.arange(value.size) + 0.5) / value.size) ** 2
    shaped = _off_line(value) * taper
    power = np.abs(np.fft.rfft(shaped, size)) ** 2
    return np.asarray(2.0 * step * power / float(np.sum(taper**2)))


def _off_line(value: Array) -> Array:
    """Take the least-squares straight line off."""
    place = np.arange(value.size) - 0.5 * (value.size - 1)
    slope = float(place @ value) / max(float(place @ place), 1.0)
    return np.asarray(value - float(np.mean(value)) - slope * place)


def pooled(stretches: list[Array], step: float, longest: int = 0) -> Pooled:
    """Average the periodograms of even stretches, each weighted with its length.

    Parameters
    ----------
    stretches : arrays (n_i,) of heel in rad, no NaN, each with at least 8 values.
    step : s.
    longest : bins of the longest of several groups of stretches that are to have the same frequencies.
    """
    use = [s for s in stretches if s.size >= 8]
    if not use:
        return Pooled(np.zeros(0), np.zeros(0), 0, 0)
    length = max(longest, *(s.size for s in use))
    size = int(2 ** np.ceil(np.log2(2 * length)))
    weight = np.array([float(s.size) for s in use])
    powers = np.array([periodogram(s, step, size) for s in use])
    frequency = np.asarray(np.fft.rfftfreq(size, step), dtype=np.float64)
    return Pooled(frequency, np.asarray(weight @ powers / weight.sum()), len(use), length)


def expected(covariance: Array, step: float, length: int, size: int) -> Array:
    """Return what `periodogram` gives on average for a stretch of ``length`` bins with this autocovariance.

    The taper's own correlation times the autocovariance, transformed: leakage and blur of the finite stretch are in
    it, so that a model can be compared with a short stretch without bias.

    Parameters
    ----------
    covariance : (..., length) rad2 at lags 0, step, 2 step...

    References
    ----------
    A. M. Sykulski, S. C. Olhede, A. P. Guillaumin, J. M. Lilly, J. J. Early, The debiased Whittle likelihood,
    Biometrika 106 (2019) 251-266, eq. 5 (from memory).
    """
    taper = np.sin(np.pi * (np.arange(length) + 0.5) / length) ** 2
    kernel = np.fft.irfft(np.abs(np.fft.rfft(taper, 2 * length)) ** 2, 2 * length)[:length] / float(np.sum(taper**2))
    seen = covariance * kernel
    turned = 2.0 * np.fft.rfft(seen, size).real - seen[..., :1]
    return np.asarray(2.0 * step * turned)


def nonnegative_fit(parts: Array, density: Array, fixed: Array, start: Array) -> Array:
    """Fit a density by non-negative amounts of given parts under the likelihood of periodograms.

    Minimises ``sum(log m + density / m)`` with ``m = fixed + amount @ parts`` by multiplicative steps, which never make
    it worse.

    Parameters
    ----------
    parts : (p, m). density, fixed : (m,). start : (p,), positive.

    References
    ----------
    C. Fevotte and J. Idier, Algorithms for nonnegative matrix factorization with the beta-divergence, Neural Comput. 23
    (2011) 2421-2456, Itakura-Saito case (from memory).
    """
    amount = start.copy()
    for _ in range(150):
        model = fixed + amount @ parts
        up, down = parts @ (density / model**2), parts @ (1.0 / model)
        amount = amount * np.sqrt(np.maximum(up, 1e-300) / np.maximum(down, 1e-300))
    return amount
