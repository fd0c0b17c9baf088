"""Seeded chance: each part of a day draws from its own stream, so that adding one part never changes another."""

from __future__ import annotations

import zlib

import numpy as np
from numpy.typing import NDArray
from scipy import fft

Array = NDArray[np.float64]


def stream(seed: int, part: str) -> np.random.Generator:
    """Return the generator of one named part of the day.

    >>> float(stream(1, "wind").random()) == float(stream(1, "wind").random())
    True
    """
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, zlib.crc32(part.encode())])))


def spectral_gaussian(rng: np.random.Generator, density: Array, step: float) -> NDArray[np.complex128]:
    """Draw the Fourier coefficients of a Gaussian process with a given spectrum.

    Parameters
    ----------
    density : (k,) one-sided spectral density, unit2/Hz, at the frequencies ``k / (n step)`` of a record of
        ``n = 2 (k - 1)`` samples; its first value (the mean) is ignored.
    step : s between samples.

    Returns
    -------
    (k,) coefficients; `to_record` makes the record of them.

    Notes
    -----
    Each coefficient is complex normal with variance ``density n / (2 step)``, so that the periodogram's expectation
    is the density (Shinozuka and Jan 1972, Digital simulation of random processes, J. Sound Vib. 25, in the variant
    with random amplitudes; from memory).
    """
    n = 2 * (density.size - 1)
    size = np.sqrt(density * n / (4.0 * step))
    coefficients = size * (rng.standard_normal(density.size) + 1j * rng.standard_normal(density.size))
    coefficients[0] = 0.0
    coefficients[-1] = coefficients[-1].real * np.sqrt(2.0)
    result: NDArray[np.complex128] = coefficients
    return result


def to_record(coefficients: NDArray[np.complex128], samples: int) -> Array:
    """Turn Fourier coefficients into a record and keep its first ``samples``."""
    record: Array = fft.irfft(coefficients)[:samples]
    return record


def record_frequencies(samples: int, step: float) -> Array:
    """Frequencies (Hz) of a record at least ``samples`` long that transforms fast."""
    n = fft.next_fast_len(samples + samples % 2, real=True)
    while n % 2:
        n = fft.next_fast_len(n + 1, real=True)
    return np.asarray(np.arange(n // 2 + 1) / (n * step))


def slow_wander(rng: np.random.Generator, samples: int, step: float, sigma: float, time_constant: float) -> Array:
    """Draw a first-order Gauss-Markov record: standard deviation ``sigma``, correlation time ``time_constant`` s."""
    from scipy.signal import lfilter

    keep = float(np.exp(-step / time_constant))
    noise = rng.standard_normal(samples) * sigma * np.sqrt(1.0 - keep * keep)
    noise[:1] = rng.standard_normal(1) * sigma
    record: Array = lfilter([1.0], [1.0, -keep], noise)
    return record
