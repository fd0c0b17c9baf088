"""Natural roll: period, damping and amplitude, for the day and for each window.

Period by period the heel is fitted by a straight line and a sine at the day's frequency; the complex amplitudes follow
``z[j+1] = exp((-damping + i shift) 2 pi) z[j] + push[j]``, a randomly pushed oscillator seen once a period. A decaying
swing after a movement is the same law with a large first amplitude, whose value is left free. Likelihood by the Kalman
filter, each window with its own strength of push (docs/method-heel.md, section 6).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import minimize

from dsp.motion import roll_spectrum
from dsp.types import Array

DAMPING_RANGE = (0.002, 0.3)
DAMPING_USUAL, DAMPING_SPREAD = 0.03, 0.9
"""Weak prior of damping: 1-5 % of critical is usual (common practice); log-normal with this spread."""

PEAK_PERIODS, PEAK_SURE = 0.3, 0.02
"""Relative standard deviation by which the roll may lie beside the peak at which it was first seen: so much over the
periods of a window, which is a fifth of the width of a peak there, and so much at least."""

Complex = np.ndarray


@dataclass(frozen=True)
class Envelope:
    """Complex amplitude of the roll once a period."""

    amplitude: Complex
    """(m,) complex, rad; NaN where the period is not covered."""
    error: float
    """rad2, variance of each from what is no roll."""


@dataclass(frozen=True)
class RollLaw:
    """Frequency and damping with their standard uncertainties."""

    frequency: float
    """Hz."""
    frequency_u: float
    damping: float
    damping_u: float
    ratio: float
    """Variance of an amplitude's error over the mean square of the steadily driven envelope."""
    seen: float
    """Hz, frequency at which the envelopes turn; fits of whole periods see a broad line a little to one side."""


@dataclass(frozen=True)
class WindowRoll:
    """Roll of one window under the day's law."""

    frequency: float
    """Hz, this window's own; NaN if it cannot be told."""
    frequency_u: float
    stationary: float
    """rad2, variance of the steadily driven roll."""
    transient: float
    """rad2, variance of each of the two components of the swing it starts with."""


def _one_period(size: int, cycles: float) -> Array:
    """(size, 4) what is fitted to one period: a line, and a sine of so many cycles a bin."""
    turn = 2.0 * np.pi * cycles * np.arange(size)
    line = (np.arange(size) - 0.5 * (size - 1)) / size
    return np.column_stack([np.ones(size), line, np.cos(turn), np.sin(turn)])


def envelope(heel: Array, step: float, frequency: float) -> Envelope:
    """Fit each period of an even stretch by a straight line and a sine.

    Parameters
    ----------
    heel : (n,) rad, NaN in gaps.
    frequency : Hz.
    """
    size = max(5, round(1.0 / (frequency * step)))
    count = heel.size // size
    if count < 1:
        return Envelope(np.full(0, np.nan, dtype=np.complex128), 0.0)
    design = _one_period(size, frequency * step)
    blocks = heel[: count * size].reshape(count, size)
    here = np.isfinite(blocks)
    result = np.full(count, np.nan, dtype=np.complex128)
    errors = []
    inverse = np.linalg.pinv(design)
    gain = float(np.sum(inverse[2] ** 2 + inverse[3] ** 2))
    for j in range(count):
        ok = here[j]
        if ok.mean() < 0.7:
            continue
        solve = inverse if ok.all() else np.linalg.pinv(design[ok])
        part = solve @ blocks[j][ok]
        # phase of the block's start, so that a steady roll has a steady amplitude
        result[j] = (part[2] - 1j * part[3]) * np.exp(-2j * np.pi * frequency * step * size * j)
        errors.append(float(np.mean((blocks[j][ok] - design[ok] @ part) ** 2)) * ok.sum() / max(1, ok.sum() - 4) * gain)
    return Envelope(result, float(np.median(errors)) if errors else 0.0)


def leaning(frequency: float, step: float, natural: float, damping: float) -> float:
    """By how much (Hz) envelopes of a roll of ``natural`` Hz turn too fast, fitted period by period at ``frequency``.

    A line and a sine over one period pass more of what is a little faster than the sine than of what is slower. What
    they make of the roll's spectrum turns from period to period by the angle of the expected product of neighbours. A
    swing that dies away has no such breadth: it turns as fast as it is.
    """
    size = max(5, round(1.0 / (frequency * step)))
    inverse = np.linalg.pinv(_one_period(size, frequency * step))
    weights = inverse[2] - 1j * inverse[3]
    at = np.linspace(0.02 * natural, 0.5 / step, max(2000, int(60.0 / damping)))
    density = roll_spectrum(at, natural, damping)
    period = size * step
    product = 0j
    for sign in (1.0, -1.0):
        gain = np.abs(np.exp(sign * 2j * np.pi * step * np.outer(at, np.arange(size))) @ weights) ** 2
        product += np.sum(density * gain * np.exp(2j * np.pi * (sign * at - frequency) * period))
    return frequency + float(np.angle(product)) / (2.0 * np.pi * period) - natural


def _likelihood(
    amplitudes: list[Complex], period: float, shift: float, decay: float, error: float
) -> tuple[float, list[tuple[float, int]]]:
    """Log likelihood of the pushed oscillator seen as means over one period; and each window's strength.

    The envelope is a complex Ornstein-Uhlenbeck process; its mean over a block of length ``period`` and its value at
    the block's end are jointly Gaussian, which gives the filter's gains in closed form (docs/method-heel.md,
    section 6).

    Parameters
    ----------
    shift, decay : rad/s and 1/s of the envelope.
    error : variance of a block mean's error over the stationary variance of the envelope.

    Returns
    -------
    likelihood : summed over windows, each window's strength at its best.
    strengths : (mean square of the stationary envelope, innovations counted) for each window.
    """
    a = decay * period
    fade = float(np.exp(-a))
    share = (1.0 - fade) / a
    pole, seen = fade * np.exp(1j * shift * period), share * np.exp(0.5j * shift * period)
    whole = 2.0 * (a - 1.0 + fade) / a**2 if a > 1e-3 else 1.0 - a / 3.0
    own = max(whole - share**2, 1e-9)
    push, both = 1.0 - fade**2, (1.0 - fade) ** 2 / a
    turned = both * np.exp(0.5j * shift * period)
    total, strengths = 0.0, []
    for z in amplitudes:
        state, spread = 0j, 1e8
        logs, squares, count = 0.0, 0.0, 0
        for value in z:
            if value != value:
                state, spread = pole * state, fade**2 * spread + push
                continue
            expected = share**2 * spread + own + error
            gap = value - seen * state
            if spread < 1e6:
                logs += float(np.log(expected))
                squares += abs(gap) ** 2 / expected
                count += 1
            cross = pole * np.conj(seen) * spread + turned
            state = pole * state + cross / expected * gap
            spread = max(fade**2 * spread + push - abs(cross) ** 2 / expected, 0.0)
        strength = squares / max(count, 1)
        if count and strength > 0:
            total -= logs + count * float(np.log(strength)) + count
        strengths.append((strength, count))
    return total, strengths


def day_law(envelopes: list[Envelope], step: float, frequency: float) -> RollLaw | None:
    """Find frequency and damping common to the windows of the day.

    Returns None where there are too few periods to tell.
    """
    amplitudes = [e.amplitude for e in envelopes if np.isfinite(e.amplitude).sum() >= 3]
    if sum(np.isfinite(a).sum() - 1 for a in amplitudes) < 4:
        return None
    size = max(5, round(1.0 / (frequency * step)))
    period, natural = size * step, 2.0 * np.pi * frequency
    beside = max(PEAK_SURE, PEAK_PERIODS / float(np.mean([a.size for a in amplitudes])))

    def cost(x: Array) -> float:
        damping = float(np.exp(np.clip(x[1], np.log(DAMPING_RANGE[0]), np.log(DAMPING_RANGE[1]))))
        value, _ = _likelihood(amplitudes, period, float(x[0]) * natural, damping * natural, float(np.exp(x[2])))
        prior = (
            0.5 * ((x[1] - np.log(DAMPING_USUAL)) / DAMPING_SPREAD) ** 2
            + 0.05 * (x[2] + 3.0) ** 2
            + 0.5 * (x[0] / beside) ** 2
        )
        return float(-value + prior)

    start = np.array([0.0, np.log(DAMPING_USUAL), -3.0])
    simplex = start + np.array([[0, 0, 0], [0.01, 0, 0], [0, 0.7, 0], [0, 0, 2.0]])
    found = minimize(
        cost,
        start,
        method="Nelder-Mead",
        options={"xatol": 1e-4, "fatol": 1e-3, "maxfev": 160, "initial_simplex": simplex},
    )
    covariance = _curvature(cost, found.x, np.array([0.003, 0.15, 0.5]))
    damping = float(np.exp(np.clip(found.x[1], np.log(DAMPING_RANGE[0]), np.log(DAMPING_RANGE[1]))))
    seen = frequency * (1.0 + float(found.x[0]))
    _, strengths = _likelihood(
        amplitudes, period, float(found.x[0]) * natural, damping * natural, float(np.exp(found.x[2]))
    )
    whole = np.array([float(np.nanmean(np.abs(a) ** 2)) for a in amplitudes])
    pushed = np.minimum([strength for strength, _ in strengths], whole)
    return RollLaw(
        frequency=seen - float(pushed.sum() / whole.sum()) * leaning(frequency, step, seen, damping),
        seen=seen,
        frequency_u=frequency * float(np.sqrt(covariance[0, 0])),
        damping=damping,
        damping_u=damping * float(np.sqrt(covariance[1, 1])),
        ratio=float(np.exp(found.x[2])),
    )


def window_roll(one: Envelope, step: float, frequency: float, law: RollLaw) -> WindowRoll:
    """Find a window's own frequency and the strength of its roll, damping and noise as the day's.

    Parameters
    ----------
    frequency : Hz, at which the envelope was taken.
    """
    count = int(np.isfinite(one.amplitude).sum())
    if count == 0:
        return WindowRoll(float("nan"), float("nan"), 0.0, 0.0)
    size = max(5, round(1.0 / (frequency * step)))
    period, natural = size * step, 2.0 * np.pi * frequency
    here = one.amplitude[np.isfinite(one.amplitude)]
    usual = 2.0 * np.pi * (law.seen - frequency)
    if count < 3:
        return WindowRoll(
            float("nan"), float("nan"), float(np.mean(np.abs(here) ** 2)) / 2.0, float(np.abs(here[0]) ** 2)
        )

    def cost(x: Array) -> float:
        value, _ = _likelihood([one.amplitude], period, usual + float(x[0]) * natural, law.damping * natural, law.ratio)
        return -value + 0.5 * (float(x[0]) / 0.1) ** 2

    tries = np.linspace(-0.08, 0.08, 33)
    values = [cost(np.array([t])) for t in tries]
    best = float(tries[int(np.argmin(values))])
    found = minimize(
        cost,
        np.array([best]),
        method="Nelder-Mead",
        options={"xatol": 1e-4, "fatol": 1e-3, "maxfev": 30, "initial_simplex": np.array([[best], [best + 0.003]])},
    )
    spread = float(np.sqrt(_curvature(cost, found.x, np.array([0.003]))[0, 0]))
    shift = usual + float(found.x[0]) * natural
    _, strengths = _likelihood([one.amplitude], period, shift, law.damping * natural, law.ratio)
    steady = strengths[0][0]
    whole = float(np.mean(np.abs(here) ** 2))
    steady = min(steady, whole)
    first = max(0.0, float(np.abs(here[0]) ** 2) - steady)
    return WindowRoll(
        frequency=law.frequency + float(found.x[0]) * frequency,
        frequency_u=spread * frequency,
        stationary=0.5 * steady,
        transient=first,
    )


def as_windows_agree(law: RollLaw, rolls: list[WindowRoll]) -> RollLaw:
    """Widen the day's frequency by as much as the windows' own scatter more than their uncertainties say.

    The curvature of a likelihood knows nothing of what its model leaves out. With fewer than three windows that tell
    their own frequency nothing changes, and nothing ever gets narrower.

    References
    ----------
    R. T. Birge, The calculation of errors by the method of least squares, Phys. Rev. 40 (1932) 207-227 (from memory).
    """
    own = np.array([(r.frequency, r.frequency_u) for r in rolls if r.frequency_u > 0.0 and np.isfinite(r.frequency)])
    if own.shape[0] < 3:
        return law
    weight = own[:, 1] ** -2.0
    away = own[:, 0] - float(weight @ own[:, 0] / weight.sum())
    ratio = float(np.sqrt(weight @ away**2 / (own.shape[0] - 1)))
    return replace(law, frequency_u=law.frequency_u * max(ratio, 1.0))


def _curvature(cost, x: Array, width: Array) -> Array:  # type: ignore[no-untyped-def]
    """Inverse of the second derivative of a cost at its minimum, by central differences; falls back to wide."""
    size = x.size
    hessian = np.zeros((size, size))
    middle = cost(x)
    for i in range(size):
        a = np.zeros(size)
        a[i] = width[i]
        hessian[i, i] = (cost(x + a) - 2.0 * middle + cost(x - a)) / width[i] ** 2
        for j in range(i):
            b = np.zeros(size)
            b[j] = width[j]
            mixed = cost(x + a + b) - cost(x + a - b) - cost(x - a + b) + cost(x - a - b)
            hessian[i, j] = hessian[j, i] = mixed / (4.0 * width[i] * width[j])
    values, vectors = np.linalg.eigh(hessian)
    return np.asarray((vectors / np.maximum(values, 1e-2)) @ vectors.T)
