"""Spectra of stretches of heel, pooled over the day, and the frequency of the roll in them.

Densities are one-sided (rad2/Hz): their integral from 0 to the Nyquist frequency is the variance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.types import Array

LONGEST_PERIOD, SHORTEST_PERIOD = 36.0, 1.5
"""s, where a roll is looked for."""


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


def pooled(stretches: list[Array], step: float) -> Pooled:
    """Average the periodograms of even stretches, each weighted with its length.

    Parameters
    ----------
    stretches : arrays (n_i,) of heel in rad, no NaN, each with at least 8 values.
    step : s.
    """
    use = [s for s in stretches if s.size >= 8]
    if not use:
        return Pooled(np.zeros(0), np.zeros(0), 0, 0)
    length = max(s.size for s in use)
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


def roll_frequency(spectrum: Pooled, shortest: float) -> tuple[float, float]:
    """Find the frequency of the natural roll: the strongest rolling speed that stands out of its surroundings.

    Weighting with frequency squared (rolling speed) keeps the slow swing on the moorings from being taken for the
    roll; the peak must stand out of the median of the two octaves around it.

    Parameters
    ----------
    spectrum : pooled over the day.
    shortest : s, length of the shortest stretch; slower motion than half of it cannot be told.

    Returns
    -------
    frequency : Hz, NaN if nothing stands out.
    prominence : ratio of the peak to its surroundings.
    """
    frequency, density = spectrum.frequency, spectrum.density
    if frequency.size < 8:
        return float("nan"), 0.0
    low = max(1.0 / LONGEST_PERIOD, 1.5 / shortest)
    band = (frequency >= low) & (frequency <= min(1.0 / SHORTEST_PERIOD, 0.8 * frequency[-1]))
    best, found, stands = 0.0, float("nan"), 0.0
    speed = density * frequency**2
    for i in np.flatnonzero(band):
        if i + 1 >= frequency.size or speed[i] < speed[i - 1] or speed[i] < speed[i + 1] or speed[i] <= best:
            continue
        around = (frequency > frequency[i] / 2.0) & (frequency < 2.0 * frequency[i])
        level = float(np.median(density[around]))
        ratio = float(density[i]) / level if level > 0 else np.inf
        if ratio > 5.0:
            best, found, stands = float(speed[i]), float(_interpolated(frequency, density, int(i))), ratio
    return found, stands


def _interpolated(frequency: Array, density: Array, i: int) -> float:
    """Vertex of the parabola through the logarithms of three bins."""
    left, middle, right = np.log(np.maximum(density[i - 1 : i + 2], 1e-300))
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / bend if bend < 0 else 0.0
    return float(frequency[i] + float(np.clip(shift, -0.5, 0.5)) * (frequency[1] - frequency[0]))
