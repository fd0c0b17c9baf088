"""Wind, moorings and chop of a day of `wander_day`: what pushes her slowly, and more at one time than at another."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.fft import next_fast_len
from wander_roll import DEG, FINE, Vessel, roll

Array = NDArray[np.float64]
AIR = 0.25
"""s, step of what is slower than the roll."""
TINY = 1e-4
"""rad, heel at which the roll is linear, to learn how she answers a push."""


@dataclass(frozen=True)
class Air:
    """Wind of a day, every `AIR` s."""

    time: Array
    speed: Array
    """(n,) m/s, at the mast."""
    direction: Array
    """(n,) rad clockwise from the bow, where it comes from, at the mast; not wrapped."""
    arm: Array
    """(n,) m, on the hull."""


@dataclass(frozen=True)
class Slow:
    """Heel of the moorings and of what else has no hurry, every `AIR` s."""

    heel: Array
    """(n,) rad."""
    sway: Array
    """(n,) m/s2, acceleration of the whole vessel sideways."""


def series(rng: np.random.Generator, size: int, step: float, density: Callable[[Array], Array]) -> Array:
    """Gaussian series (size,) of unit variance whose spectrum has the shape ``density(Hz)``."""
    whole = next_fast_len(size)
    f = np.fft.rfftfreq(whole, step)
    root = np.sqrt(np.where(f > 0.0, density(np.maximum(f, 1e-9)), 0.0))
    made = np.fft.irfft((rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)) * root, whole)[:size]
    return np.asarray(made / made.std())


def wandering(rng: np.random.Generator, size: int, step: float, memory: float) -> Array:
    """Unit variance, forgotten within about ``memory`` (s), smooth within seconds."""
    return series(rng, size, step, lambda f: 1.0 / (1.0 + (2.0 * np.pi * f * memory) ** 2) / (1.0 + (f * 8.0) ** 4))


def smooth(time: Array, start: float, lasts: float) -> Array:
    """From 0 to 1 within ``lasts`` s of ``start``, without a corner."""
    x = np.clip((time - start) / lasts, 0.0, 1.0)
    return np.asarray(x * x * (3.0 - 2.0 * x))


def air(rng: np.random.Generator, vessel: Vessel, kind: str, end: float) -> Air:
    """Mean wind and its direction wander over tens of minutes; mast and hull share only the slower gusts."""
    lowest, highest = {"breezy": (3.5, 4.5), "windy": (6.5, 8.5), "quiet": (0.6, 1.8), "early": (1.0, 3.0)}.get(
        kind, (1.0, 3.5)
    )
    usual = rng.uniform(lowest, highest)
    past = max(usual, 0.8)
    bearing = rng.uniform(0.0, 360.0)
    while abs(math.sin(bearing * DEG)) < 0.3:
        bearing = rng.uniform(0.0, 360.0)
    heel_at_4 = math.exp(rng.uniform(math.log(0.01), math.log(0.1))) * DEG
    size = int(end / AIR) + 8
    time = np.arange(size) * AIR
    mean = wandering(rng, size, AIR, rng.uniform(700.0, 2000.0)) * rng.uniform(0.06, 0.16)
    mean = usual * np.clip(1.0 + mean, 0.4, 1.7)
    veer = bearing + wandering(rng, size, AIR, rng.uniform(600.0, 1500.0)) * rng.uniform(4.0, 12.0)
    if rng.random() < 0.4:
        veer = veer + rng.uniform(-25.0, 25.0) * smooth(time, rng.uniform(0.0, end), rng.uniform(60.0, 400.0))
    eddy, strength = rng.uniform(60.0, 150.0), rng.uniform(0.12, 0.22)
    f = np.fft.rfftfreq(size, AIR)
    spectrum = 1.0 / (1.0 + 1.5 * np.pi * f * eddy / past) ** (5.0 / 3.0)
    spectrum[0] = 0.0
    together = np.exp(-rng.uniform(7.0, 11.0) * f * rng.uniform(20.0, 30.0) / past / 2.0)
    felt = 1.0 / np.sqrt(1.0 + (2.0 * f * vessel.length / past) ** (4.0 / 3.0))

    def gusts() -> tuple[Array, Array]:
        one, other = (
            (rng.standard_normal(f.size) + 1j * rng.standard_normal(f.size)) * np.sqrt(spectrum) for _ in range(2)
        )
        mast = np.fft.irfft(one, size)
        hull = np.fft.irfft((together * one + np.sqrt(1.0 - together**2) * other) * felt, size)
        return mast / mast.std(), hull / mast.std()

    (mast_along, hull_along), (mast_across, hull_across) = gusts(), gusts()

    def blowing(along: Array, across: Array) -> tuple[Array, Array]:
        straight = np.maximum(mean * (1.0 + strength * along), 0.05)
        sideways = mean * strength * 0.75 * across
        return np.hypot(straight, sideways), veer * DEG + np.arctan2(sideways, straight)

    speed, direction = blowing(mast_along, mast_across)
    hull_speed, hull_direction = blowing(hull_along, hull_across)
    arm = -vessel.gm * heel_at_4 / 16.0 * hull_speed**2 * np.sin(hull_direction)
    return Air(time, speed, direction, arm)


def moorings(rng: np.random.Generator, kind: str, size: int) -> Slow:
    """Slow swing whose strength comes and goes, and a heel that wanders slower than a window is long."""
    level = {"breezy": 1.7, "windy": 3.2}.get(kind, 1.0)
    natural, damping = 1.0 / rng.uniform(40.0, 150.0), rng.uniform(0.03, 0.12)

    def density(f: Array) -> Array:
        swing = (1.0 - (f / natural) ** 2) ** 2 + (2.0 * damping * f / natural) ** 2
        return np.asarray((1.0 + 0.003 / f) / swing / (1.0 + (f / 0.05) ** 4))

    swing = series(rng, size, AIR, density) * np.exp(0.35 * wandering(rng, size, AIR, 900.0))
    swing_size, wander_size = rng.uniform(0.0015, 0.005) * level, rng.uniform(0.001, 0.004) * min(level, 2.2)
    heel = swing_size * swing + wander_size * wandering(rng, size, AIR, rng.uniform(400.0, 2000.0))
    sway = rng.uniform(0.004, 0.015) * level * swing
    return Slow(heel * DEG, np.gradient(np.gradient(sway, AIR), AIR))


def chop(rng: np.random.Generator, vessel: Vessel, kind: str, size: int) -> Array:
    """Arm (size,) m of short waves, every `FINE` s; they swell and fade over minutes."""
    lowest, highest = {"quiet": (0.008, 0.03), "breezy": (0.03, 0.08), "windy": (0.07, 0.18)}.get(kind, (0.01, 0.05))
    period, roll_rms = rng.uniform(2.2, 6.0), rng.uniform(lowest, highest) * DEG

    def density(f: Array) -> Array:
        return np.asarray(np.exp(-0.5 * (np.log(f * period) / 0.35) ** 2) / f + 0.08 / (1.0 + (f / 0.3) ** 4))

    strength = wandering(rng, int(size * FINE / AIR) + 2, AIR, 200.0)
    at = np.arange(size) * FINE / AIR
    push = series(rng, size, FINE, density) * np.exp(0.4 * np.interp(at, np.arange(strength.size), strength))
    push *= TINY * vessel.gm
    return np.asarray(push * roll_rms / roll(vessel, np.zeros(size), push)[0].std())
