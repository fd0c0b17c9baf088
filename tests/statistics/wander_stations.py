"""Stations and mast of a day of `wander_day`: off zero by tenths of a degree, drifting, coarse, sometimes ill."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from wander_roll import DEG, FINE, G
from wander_weather import AIR, Air, Slow, wandering

from dsp.types import StationKnowledge, Trace, Wind

Array = NDArray[np.float64]
Span = tuple[float, float]
U95 = 1.959964
"""95 % of a normal distribution, in standard deviations."""
DRIFT_U95 = 0.004 * DEG / 3600.0
"""rad/s, as the records of calibration have it."""


@dataclass(frozen=True)
class Motion:
    """What the stations feel."""

    heel: Array
    """(n,) rad, every `FINE` s."""
    acceleration: Array
    """(n,) rad/s2."""
    slow: Slow
    end: float
    """s."""


def stations(rng: np.random.Generator, motion: Motion) -> tuple[list[Trace], tuple[StationKnowledge, ...]]:
    """Two or three inclinometers, each at its own height, rate, offset, noise and resolution."""
    usual = rng.choice([5, 8, 10, 10, 10, 16, 20])
    scale_u95 = rng.choice([0.05, 0.1, 0.15, 0.2]) / 100.0
    time = np.arange(motion.heel.size) * FINE
    slow_time = np.arange(motion.slow.sway.size) * AIR
    traces, knowledge = [], []
    for name in ("aft", "mid", "forward")[: int(rng.integers(2, 4))]:
        rate = usual if rng.random() < 0.7 else rng.choice([5, 10, 20])
        rate = rate * (1.0 + 0.003 * rng.standard_normal())
        t = rng.uniform(0.0, 0.2) + np.arange(int((motion.end - 1.0) * rate)) / rate
        height = rng.uniform(-2.0, 8.0)
        felt = motion.heel + height * motion.acceleration / G
        y = np.interp(t, time, felt) + np.interp(t, slow_time, motion.slow.sway) / G
        y *= 1.0 + scale_u95 / 2.0 * rng.standard_normal()
        zero = 0.0007 * wandering(rng, slow_time.size, AIR, 1500.0)
        y += rng.uniform(-0.3, 0.3) * DEG + DRIFT_U95 / 2.0 * rng.standard_normal() * t
        y += (rng.normal(0.0, 0.0015) * np.exp(-t / 1200.0) + np.interp(t, slow_time, zero)) * DEG
        y += np.exp(rng.uniform(np.log(0.002), np.log(0.012))) * DEG * rng.standard_normal(t.size)
        step = rng.choice([0.001, 0.001, 0.002, 0.005, 0.01]) * DEG
        arrived = np.sort(t + np.abs(rng.normal(0.0, rng.uniform(0.002, 0.02), t.size)))
        traces.append(Trace(name, arrived, np.round(y / step) * step))
        knowledge.append(StationKnowledge(name, scale_u=scale_u95 / U95, drift_u=DRIFT_U95 / U95))
    return traces, tuple(knowledge)


def ill(rng: np.random.Generator, trace: Trace, spans: list[Span]) -> Trace:
    """In two to five windows the station sticks, spikes, falls silent, clips or repeats itself."""
    t, y = trace.time, trace.value.copy()
    keep = np.ones(y.size, dtype=bool)
    for k in sorted(rng.choice(len(spans), int(rng.integers(2, 6)), replace=False).tolist()):
        a, b = spans[k]
        inside, lasts = (t >= a) & (t < b), b - a
        what = rng.choice(["stuck", "spikes", "gap", "clip", "repeat"])
        if what == "stuck":
            since = a + rng.uniform(-10.0, 0.6 * lasts)
            held = (t >= since) & (t < since + rng.uniform(15.0, 1.2 * lasts))
            y[held] = y[np.argmax(held)]
        elif what == "spikes":
            at = rng.choice(np.flatnonzero(inside), int(rng.integers(4, 30)), replace=False)
            y[at] += rng.choice([-1, 1], at.size) * rng.uniform(0.5, 20.0, at.size) * DEG
        elif what == "gap":
            for _ in range(int(rng.integers(1, 4))):
                since = a + rng.uniform(0.0, 0.8 * lasts)
                keep &= ~((t >= since) & (t < since + rng.uniform(5.0, 0.4 * lasts)))
        elif what == "clip" and rng.random() < 0.5:
            y[inside] = np.minimum(y[inside], np.quantile(y[inside], rng.uniform(0.6, 0.95)))
        elif what == "clip":
            y[inside] = np.maximum(y[inside], np.quantile(y[inside], rng.uniform(0.05, 0.4)))
        else:
            again = inside & (rng.random(y.size) < rng.uniform(0.2, 0.6))
            again[0] = False
            y[inside] = y[np.maximum.accumulate(np.where(again, 0, np.arange(y.size)))][inside]
    return Trace(trace.station, t[keep], y[keep])


def mast(rng: np.random.Generator, air: Air, end: float) -> Wind:
    """Speed and direction as an anemometer of the trade gives them: 0.1 m/s, whole degrees, a few degrees askew."""
    rate = float(rng.choice([1, 1, 2, 4]))
    count = int((end - 1.0) * rate)
    t = rng.uniform(0.0, 1.0) + np.arange(count) / rate
    speed = np.interp(t, air.time, air.speed) * (1.0 + 0.02 * rng.standard_normal()) + 0.08 * rng.standard_normal(count)
    askew = rng.normal(0.0, 4.0) + 2.0 * rng.standard_normal(count)
    bearing = np.round(np.interp(t, air.time, air.direction) / DEG + askew) % 360.0
    return Wind(t, np.round(np.maximum(speed, 0.0), 1), bearing * DEG)
