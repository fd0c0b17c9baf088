"""Test days of our own with a covariance that is known exactly, so that the best attainable error can be computed.

Everything random is Gaussian and made by spectral synthesis: low-frequency heel, mooring swing, wind pressure at mast
and hull with falling coherence, a roll oscillator driven by white noise, a decaying swing after every movement, white
sensor noise, drift, scale. The estimator knows none of it. `limit` gives the variance of the best linear unbiased mean.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from dsp.types import Day, StationKnowledge, Trace, Wind, WindowSpan

Array = NDArray[np.float64]
DEG = np.pi / 180.0
FINE = 0.1
STATES = np.array([0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0, -0.5, 0.0])
KINDS = ("quiet", "breezy", "windy", "early", "wash", "faults", "people", "taut")
"""Flared hulls and slack tanks are days of the other generator."""


@dataclass(frozen=True)
class Truth:
    """What the estimator does not know."""

    kind: str
    displacement: float
    """kg."""
    gm: float
    bm: float
    moment: Array
    """(k,) kg m."""
    heel: Array
    """(k,) rad, true heel of each state, upright offset included, without motion."""
    period: float
    damping: float
    scale: float
    """Relative scale error of the combination of stations."""
    spoilt: dict[int, str] = field(default_factory=dict)
    """Window number -> code of what spoilt it."""
    limit: Array = field(default_factory=lambda: np.zeros(0))
    """(k,) rad2, variance of the best linear unbiased mean, covariance known, wind coefficient known."""
    shift: Array = field(default_factory=lambda: np.zeros(0))
    """(k,) rad by which what spoilt a window moved its heel, on average over the window."""


def synthesis(rng: np.random.Generator, spectrum: Array, frequency: Array, size: int) -> Array:
    """Gaussian series with a one-sided spectrum on ``rfftfreq(size, FINE)``."""
    df = frequency[1] - frequency[0]
    z = rng.standard_normal(frequency.size) + 1j * rng.standard_normal(frequency.size)
    return np.fft.irfft(z * np.sqrt(np.maximum(spectrum, 0.0) * df) / 2.0, size) * size


def oscillator(f: Array, natural: float, damping: float) -> Array:
    """One-sided density of unit variance of a randomly driven oscillator's displacement."""
    r = f / natural
    return 4.0 * damping / (np.pi * natural) * 1.0 / ((1 - r**2) ** 2 + (2 * damping * r) ** 2)


def gusts(f: Array, scale_time: float) -> Array:
    """One-sided density of unit variance with the -5/3 law (normalised numerically to 1)."""
    shape = scale_time / (1.0 + 6.0 * scale_time * f) ** (5.0 / 3.0)
    fine = np.geomspace(1e-6, 50.0, 20000)
    return shape / np.trapezoid(scale_time / (1.0 + 6.0 * scale_time * fine) ** (5.0 / 3.0), fine)


def wall_sided(moment: Array, displacement: float, gm: float, bm: float) -> Array:
    """Heel (rad) under a moment for M = displacement tan(phi) (GM + BM tan^2(phi)/2)."""
    t = moment / (displacement * gm)
    for _ in range(60):
        g = displacement * t * (gm + bm * t**2 / 2) - moment
        d = displacement * (gm + 1.5 * bm * t**2)
        t = t - g / d
    return np.arctan(t)


def make(
    kind: str, seed: int, measured_wind: bool = True, rate: float = 8.0, slow_air: float = 0.0
) -> tuple[Day, Truth]:
    """Make one day of one kind.

    Parameters
    ----------
    slow_air : relative standard deviation of a slow (half-hour) change of the mean wind pressure.
    """
    rng = np.random.default_rng([seed, KINDS.index(kind) + 2 * (kind in ("people", "taut"))])
    while True:
        displacement = float(np.exp(rng.uniform(np.log(200.0), np.log(8000.0))))
        breadth = 1.1 * displacement ** (1.0 / 3.0) * rng.uniform(0.9, 1.15)
        gm = float(np.exp(rng.uniform(np.log(0.4), np.log(3.0))))
        radius = breadth * rng.uniform(0.35, 0.43)
        period = 2 * np.pi * radius / np.sqrt(9.80665 * gm)
        if 4.0 <= period <= 25.0:
            break
    displacement *= 1000.0
    damping = rng.uniform(0.01, 0.05)
    bm = gm * rng.uniform(2.0, 8.0)
    top = rng.uniform(1.2, 3.0) * DEG
    moment = STATES * displacement * gm * top
    window = rng.uniform(60.0, 180.0)
    settle = 30.0 if kind == "early" else rng.uniform(90.0, 180.0)
    move = 60.0
    pause = rng.uniform(30.0, 120.0)
    count = STATES.size
    leg = move + settle + window + pause
    size = int(2 ** np.ceil(np.log2((count * leg + 400.0) / FINE)))
    time = np.arange(size) * FINE
    f = np.fft.rfftfreq(size, FINE)
    safe = np.maximum(f, f[1] / 2)
    upright = rng.uniform(-0.3, 0.3) * DEG
    # The list is of her own moment: it stiffens with the rest and cannot be added to the heel.
    own = displacement * np.tan(upright) * (gm + bm * np.tan(upright) ** 2 / 2)
    still = wall_sided(moment + own, displacement, gm, bm)
    start = 100.0 + np.arange(count) * leg + move + settle
    moved = start - settle
    # mean heel of the day: ramps between the states, a decaying swing after each
    mean = np.full(size, still[0])
    swing = np.zeros(size)
    natural = 2 * np.pi / period
    swing_size = 0.15 if kind == "early" else 0.1
    for k in range(count):
        step = still[k] - (still[k - 1] if k else still[0])
        ramp = np.clip((time - (moved[k] - 20.0)) / 20.0, 0, 1)
        mean += step * ramp
        size_k = swing_size * max(abs(step), 0.2 * DEG)
        after = np.maximum(time - moved[k], 0.0)
        z = rng.standard_normal(2) * size_k
        here = (time >= moved[k]) & (time < moved[k] + leg)
        swing += (
            here
            * np.exp(-damping * natural * after)
            * (z[0] * np.cos(natural * after) + z[1] * np.sin(natural * after))
        )
    # low-frequency heel
    speed = {"breezy": 4.0, "windy": 7.5}.get(kind, rng.uniform(0.5, 1.5))
    swing_period, swing_damping = rng.uniform(30.0, 120.0), rng.uniform(0.05, 0.25)
    low_rms = rng.uniform(0.0005, 0.003) * DEG
    moor_rms = rng.uniform(0.001, 0.004) * DEG * (1.0 + 0.3 * speed)
    low = low_rms**2 * gusts(safe, rng.uniform(10.0, 60.0)) + moor_rms**2 * oscillator(
        safe, 1 / swing_period, swing_damping
    )
    roll_rms = rng.uniform(0.01, 0.08) * DEG
    roll = roll_rms**2 * oscillator(safe, 1 / period, damping)
    coefficient = rng.choice([-1, 1]) * rng.uniform(0.2, 1.0) * 0.1 * DEG / 56.0
    q_sd = 2.0 * 0.18 * speed**2
    q_time = rng.uniform(40.0, 100.0) / max(speed, 1.0)
    q_spec = q_sd**2 * gusts(safe, q_time)
    reach = rng.uniform(7.0, 12.0) * 25.0 / max(speed, 1.0)
    root = np.exp(-0.5 * reach * safe)
    hull = synthesis(rng, q_spec, f, size)
    own = synthesis(rng, q_spec * (1 - root**2), f, size)
    mast = np.fft.irfft(np.fft.rfft(hull) * root, size) + own
    slow = speed**2 * slow_air * synthesis(rng, 4 * 1800.0 / (1 + (2 * np.pi * 1800.0 * safe) ** 2), f, size)
    hull, mast = hull + slow, mast + slow
    motion = synthesis(rng, low + roll, f, size)
    free = mean
    mean, motion, spoilt = _spoil(rng, kind, time, start, window, leg, period, still, mean, motion)
    shift = np.array([float(np.mean((mean - free)[(time >= a) & (time < a + window)])) for a in start])
    heel = mean + swing + motion + coefficient * hull
    # sensors
    stations, knowledge, scales = [], [], []
    for s in range(3):
        true_rate = rate * rng.uniform(0.97, 1.03)
        t = np.arange(30.0, count * leg + 300.0, 1.0 / true_rate) + rng.uniform(0, 0.1)
        t = t + rng.uniform(-0.01, 0.01, t.size)
        scale_u = 0.0005
        scale = rng.normal(0, scale_u)
        drift_u = 0.001 * DEG / 3600.0
        y = (1 + scale) * np.interp(t, time, heel) + rng.normal(0, 0.2) * DEG + rng.normal(0, drift_u) * t
        y = y + rng.normal(0, rng.uniform(0.003, 0.01) * DEG, t.size)
        if kind == "faults":
            y, t = _faults(rng, y, t, s)
        stations.append(Trace(("aft", "mid", "forward")[s], t, y))
        knowledge.append(StationKnowledge(stations[-1].station, scale_u=scale_u, drift_u=drift_u))
        scales.append(scale)
    wt = np.arange(30.0, count * leg + 300.0, 1.0)
    pressure = np.interp(wt, time, speed**2 + mast)
    wind = Wind(wt, np.sqrt(np.maximum(pressure, 0.0))) if measured_wind else None
    windows = tuple(
        WindowSpan(
            label=str(k),
            start=float(start[k]),
            stop=float(start[k] + window),
            moved_at=float(moved[k]),
            group=f"{STATES[k]:+.1f}",
        )
        for k in range(count)
    )
    unexplained = q_spec * (1 - root**2) if measured_wind else q_spec
    whole = low + roll + coefficient**2 * unexplained
    noise = (0.0065 * DEG) ** 2 / 3.0 / rate
    limits = _limits(
        whole,
        f,
        size,
        window,
        period,
        damping,
        settle,
        swing_size * np.maximum(np.abs(np.diff(still, prepend=still[0])), 0.2 * DEG),
        noise,
    )
    truth = Truth(
        kind=kind,
        displacement=displacement,
        gm=gm,
        bm=bm,
        moment=moment,
        heel=still,
        period=period,
        damping=damping,
        scale=float(np.mean(scales)),
        spoilt=spoilt,
        limit=limits,
        shift=shift,
    )
    day = Day(epoch_ns=0, heel=tuple(stations), windows=windows, knowledge=tuple(knowledge), wind=wind)
    return day, truth


def _spoil(
    rng: np.random.Generator,
    kind: str,
    time: Array,
    start: Array,
    window: float,
    leg: float,
    period: float,
    still: Array,
    mean: Array,
    motion: Array,
) -> tuple[Array, Array, dict[int, str]]:
    """Walks in three windows, lines taut in two to four, wash in three; by kind of day."""
    spoilt: dict[int, str] = {}
    mean, motion = mean.copy(), motion.copy()
    count = {"people": 3, "wash": 3, "taut": int(rng.integers(2, 5))}.get(kind, 0)
    for k in sorted(rng.choice(np.arange(1, start.size), count, replace=False).tolist()) if count else []:
        a, b = start[k], start[k] + window
        spoilt[k] = {"people": "people", "wash": "burst", "taut": "taut"}[kind]
        if kind == "people":
            size = rng.choice([-1, 1]) * rng.uniform(0.01, 0.06) * DEG
            mean += size * ((time > a + rng.uniform(0.15, 0.7) * window) & (time < b + 10.0))
        elif kind == "taut":
            hold = np.clip((time - a + 45.0) / 5.0, 0, 1) * np.clip((b + 20.0 - time) / 5.0, 0, 1)
            mean -= hold * rng.uniform(0.02, 0.08) * (still[k] - still[0])
        else:
            middle = a + rng.uniform(0.3, 0.7) * window
            shape = np.exp(-0.5 * ((time - middle) / (1.5 * period)) ** 2)
            motion += rng.uniform(0.2, 0.6) * DEG * shape * np.sin(2 * np.pi * (time - middle) / period)
    return mean, motion, spoilt


def _limits(
    spectrum: Array,
    f: Array,
    size: int,
    window: float,
    period: float,
    damping: float,
    settle: float,
    swings: Array,
    noise: float,
) -> Array:
    """Variance of the best linear unbiased mean of each window, every covariance known."""
    every = max(1, int(period / 12.0 / FINE))
    step = every * FINE
    n = int(window / step)
    # covariance of bin averages: spectrum times the square of the averaging transfer
    shaped = spectrum * np.sinc(f * step) ** 2
    shaped = np.where(np.isfinite(shaped), shaped, 0.0)
    df = f[1] - f[0]
    acf = np.fft.irfft(shaped * df / 2.0, size) * size
    lag = np.abs(np.arange(n)[:, None] - np.arange(n)[None, :]) * every
    base = acf[lag] + np.eye(n) * noise / step
    natural = 2 * np.pi / period
    t = settle + (np.arange(n) + 0.5) * step
    fade = np.exp(-damping * natural * t)
    c, s = fade * np.cos(natural * t), fade * np.sin(natural * t)
    made = {}
    result = []
    for size_k in swings:
        key = round(float(size_k) * 1e9)
        if key not in made:
            whole = base + size_k**2 * (np.outer(c, c) + np.outer(s, s))
            made[key] = 1.0 / float(np.sum(cho_solve(cho_factor(whole), np.ones(n))))
        result.append(made[key])
    return np.array(result)


def _faults(rng: np.random.Generator, y: Array, t: Array, station: int) -> tuple[Array, Array]:
    """Spikes on one, a gap on another, a stuck run on the third."""
    y = y.copy()
    if station == 0:
        y[rng.integers(0, y.size, y.size // 400)] += rng.normal(0, 1.0 * DEG, y.size // 400)
    if station == 1:
        keep = np.ones(y.size, dtype=bool)
        for _ in range(4):
            a = rng.integers(0, y.size - 600)
            keep[a : a + rng.integers(40, 400)] = False
        return y[keep], t[keep]
    if station == 2:
        for _ in range(2):
            a = rng.integers(0, y.size - 900)
            y[a : a + 400] = y[a]
    return y, t
