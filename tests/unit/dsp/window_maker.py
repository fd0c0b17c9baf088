"""Makes WindowEvidence of a window whose statistics are known exactly: motion, noise, disturbances put in."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve, toeplitz

from dsp.types import (
    Array,
    RollMotion,
    StationKnowledge,
    StationMarks,
    Trace,
    WindowEvidence,
    WindowSpan,
)

DEGREE = np.pi / 180


@dataclass(frozen=True)
class Quiet:
    """A window at a quiet berth."""

    length: float = 120.0
    period: float = 8.0
    damping: float = 0.03
    roll: float = 0.1 * DEGREE
    low: float = 0.004 * DEGREE
    """rad, standard deviation of low-frequency heel."""
    corner: float = 0.02
    """Hz."""
    noise: float = 0.001 * DEGREE
    """rad, white noise of one bin."""
    stations: int = 3
    rate: float = 10.0
    extra: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class Known:
    """Motion of known covariance: low-frequency heel with a squared Lorentzian spectrum, and roll."""

    quiet: Quiet

    def low_covariance(self, lag: Array) -> Array:
        away = np.abs(lag) * 2 * np.pi * self.quiet.corner
        return np.asarray(self.quiet.low**2 * (1 + away) * np.exp(-away))

    def roll_covariance(self, lag: Array) -> Array:
        natural = 2 * np.pi / self.quiet.period
        decay = self.quiet.damping * natural
        damped = natural * np.sqrt(1 - self.quiet.damping**2)
        away = np.abs(lag)
        wave = np.cos(damped * away) - decay / damped * np.sin(damped * away)
        return np.asarray(self.quiet.roll**2 / 2 * np.exp(-decay * away) * wave)

    def covariance(self, lag: Array) -> Array:
        return self.low_covariance(lag) + self.roll_covariance(lag)

    def spectrum(self, frequency: Array) -> Array:
        scaled = np.asarray(frequency) / self.quiet.corner
        return np.asarray(4 * self.quiet.low**2 / (np.pi * self.quiet.corner) / (1 + scaled**2) ** 2)

    @property
    def white(self) -> float:
        return self.quiet.noise**2


def make(
    rng: np.random.Generator,
    quiet: Quiet = Quiet(),
    disturbance: Array | None = None,
    span: WindowSpan | None = None,
    **changes: object,
) -> WindowEvidence:
    """Draw one window from its own model, add a disturbance, return what a check may look at."""
    step = quiet.period / 10.0
    n = round(quiet.length / step)
    time = (np.arange(n) + 0.5) * step
    motion = Known(quiet)
    low_cov = toeplitz(motion.low_covariance(np.arange(n) * step))
    roll_cov = toeplitz(motion.roll_covariance(np.arange(n) * step))
    noise = quiet.noise**2 * np.eye(n)
    low = np.linalg.cholesky(low_cov + 1e-9 * quiet.low**2 * np.eye(n)) @ rng.normal(size=n)
    roll = np.linalg.cholesky(roll_cov + 1e-9 * (quiet.roll**2 + 1e-20) * np.eye(n)) @ rng.normal(size=n)
    white = quiet.noise * rng.normal(size=n)
    heel = 0.02 + low + roll + white + (0.0 if disturbance is None else disturbance)
    return from_heel(quiet, time, step, heel, low_cov, roll_cov, noise, span, rng, **changes)


def from_heel(
    quiet: Quiet,
    time: Array,
    step: float,
    heel: Array,
    low_cov: Array,
    roll_cov: Array,
    noise: Array,
    span: WindowSpan | None,
    rng: np.random.Generator,
    **changes: object,
) -> WindowEvidence:
    n = time.size
    covariance = low_cov + roll_cov + noise
    factor = cho_factor(covariance + 1e-12 * np.trace(covariance) / n * np.eye(n), lower=True)
    turned = cho_solve(factor, np.ones(n))
    mean = float(turned @ heel / turned.sum())
    pull = cho_solve(factor, heel - mean)
    rolled = roll_cov @ pull
    samples = round(quiet.length * quiet.rate)
    sample_time = (np.arange(samples) + 0.5) / quiet.rate
    traces, marks = [], []
    for s in range(quiet.stations):
        value = np.interp(sample_time, time, heel) + quiet.noise * 3 * rng.normal(size=samples)
        traces.append(Trace(f"s{s}", sample_time, value))
        none = np.zeros(samples, dtype=bool)
        marks.append(StationMarks(f"s{s}", none, none, none, none, (), quiet.rate, quiet.noise * 3, 0.0))
    evidence = WindowEvidence(
        span=span or WindowSpan("1", 0.0, quiet.length),
        time=time,
        step=step,
        heel=heel,
        mean=mean,
        mean_u=float(1 / np.sqrt(turned.sum())),
        low=heel - mean - rolled,
        roll=rolled,
        transient=np.zeros(n),
        wind_part=np.zeros(n),
        whitened=np.asarray(np.linalg.solve(np.tril(factor[0]), heel - mean)),
        covariance=covariance,
        low_covariance=low_cov + noise,
        motion=Known(quiet),
        low_scale=1.0,
        low_scale_dof=10.0,
        window_roll=RollMotion(quiet.period, 0.02, quiet.damping, 0.01, quiet.roll),
        day_roll=RollMotion(quiet.period, 0.01, quiet.damping, 0.003, quiet.roll),
        traces=tuple(traces),
        marks=tuple(marks),
        station_residual={f"s{s}": quiet.noise * rng.normal(size=n) for s in range(quiet.stations)},
        station_difference={f"s{s}": (float(rng.normal()) * 1e-6, 1e-6) for s in range(quiet.stations)},
        tension=(),
        tension_day=(),
        wind_speed=None,
        wind_pressure=None,
        wind_coefficient=float("nan"),
        wind_coefficient_u=float("nan"),
        knowledge=tuple(StationKnowledge(f"s{s}") for s in range(quiet.stations)),
    )
    return replace(evidence, **changes)  # type: ignore[arg-type]
