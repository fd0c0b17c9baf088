"""The air: gusts with a published spectrum, coherent between hull and mast at low frequency, slow changes, squalls."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import AIR_DENSITY, DEGREE
from sim.chance import record_frequencies, slow_wander, spectral_gaussian, to_record
from sim.scenario import Scenario, Wind
from sim.spoils import Squall
from sim.timeline import Timeline

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Air:
    """Wind over the day."""

    hull_speed: Array
    """(n,) m/s, mean over the lateral area."""
    mast_speed: Array
    """(n,) m/s at the anemometer."""
    direction: Array
    """(n,) rad, where it comes from, clockwise from the bow, over the hull."""
    mast_direction: Array
    """(n,) rad at the anemometer."""


def kaimal(frequency: Array, speed: float, sigma: float, height: float) -> Array:
    """One-sided spectrum of longitudinal gusts, (m/s)2/Hz.

    ``f S / sigma^2 = 4 f L/U / (1 + 6 f L/U)^(5/3)`` with ``L = 8.1 * 0.7 z`` below 60 m: the form of Kaimal et al.
    (1972) in IEC 61400-1, annex on turbulence (from memory).
    """
    scale = 8.1 * 0.7 * min(height, 60.0) / max(speed, 0.1)
    spectrum: Array = 4.0 * sigma**2 * scale / (1.0 + 6.0 * frequency * scale) ** (5.0 / 3.0)
    return spectrum


def davenport(frequency: Array, speed: float, sigma: float, height: float) -> Array:
    """One-sided spectrum of longitudinal gusts, (m/s)2/Hz.

    ``f S / sigma^2 = (2/3) x^2 / (1 + x^2)^(4/3)`` with ``x = 1200 f / U``: Davenport (1961), Q. J. R. Met. Soc. 87
    (from memory; the height does not enter).
    """
    del height
    scale = 1200.0 / max(speed, 0.1)
    x = frequency * scale
    spectrum: Array = (2.0 / 3.0) * sigma**2 * scale * x / (1.0 + x * x) ** (4.0 / 3.0)
    return spectrum


def coherence(frequency: Array, distance: float, speed: float, decay: float) -> Array:
    """Root coherence between two points: ``exp(-C f d / U)`` (Davenport 1961; C about 10, from memory)."""
    value: Array = np.exp(-decay * frequency * distance / max(speed, 0.5))
    return value


def area_admittance(frequency: Array, area: float, speed: float) -> Array:
    """Share of a gust's amplitude that an area takes.

    ``1 / (1 + (2 f sqrt(A) / U)^(4/3))``: Vickery (1965); from memory.
    """
    value: Array = 1.0 / (1.0 + (2.0 * frequency * math.sqrt(area) / max(speed, 0.5)) ** (4.0 / 3.0))
    return value


def air(scenario: Scenario, plan: Timeline, time: Array, rng: np.random.Generator) -> Air:
    """Draw the wind of a day on the given steps."""
    wind, samples, step = scenario.wind, time.size, float(time[1] - time[0])
    frequency = record_frequencies(samples, step)
    speed, sigma = wind.speed_m_s, wind.intensity * wind.speed_m_s
    spectrum = (kaimal if wind.spectrum == "kaimal" else davenport)(frequency, speed, sigma, wind.height_m)
    root = coherence(frequency, wind.mast_distance_m, speed, wind.coherence_decay)
    independent = np.sqrt(1.0 - root**2)
    hull = spectral_gaussian(rng, spectrum, step)
    mast = root * hull + independent * spectral_gaussian(rng, spectrum, step)
    hull_side = spectral_gaussian(rng, 0.64 * spectrum, step)  # lateral gusts at 0.8 of the longitudinal (IEC 61400-1)
    mast_side = root * hull_side + independent * spectral_gaussian(rng, 0.64 * spectrum, step)
    share = area_admittance(frequency, max(wind.area_m2, 1.0), speed)
    mean, direction = _mean(wind, scenario, plan, time, rng)
    relative = mean / max(speed, 0.1)
    hull_speed, hull_turn = _gusty(
        mean, to_record(share * hull, samples), to_record(share * hull_side, samples), relative
    )
    mast_speed, mast_turn = _gusty(mean, to_record(mast, samples), to_record(mast_side, samples), relative)
    return Air(hull_speed, mast_speed, direction + hull_turn, direction + mast_turn)


def _mean(wind: Wind, scenario: Scenario, plan: Timeline, time: Array, rng: np.random.Generator) -> tuple[Array, Array]:
    step, hours = float(time[1] - time[0]), time / 3600.0
    mean = wind.speed_m_s + wind.speed_slope_m_s_per_h * hours
    mean = mean + slow_wander(rng, time.size, step, wind.slow_fraction * wind.speed_m_s, 1200.0)
    direction = wind.direction_deg + wind.direction_slope_deg_per_h * hours
    direction = direction + slow_wander(rng, time.size, step, wind.meander_deg, 600.0)
    for spoil in scenario.spoils:
        if isinstance(spoil, Squall):
            start = plan.at(spoil)
            edges = [
                start,
                start + spoil.rise_s,
                start + spoil.rise_s + spoil.for_s,
                start + 3 * spoil.rise_s + spoil.for_s,
            ]
            shape = np.interp(time, edges, [0.0, 1.0, 1.0, 0.0])
            mean = mean + spoil.gain_m_s * shape
            direction = direction + spoil.veer_deg * shape
    return np.maximum(mean, 0.0), direction * DEGREE


def _gusty(mean: Array, along: Array, across: Array, relative: Array) -> tuple[Array, Array]:
    """Add gusts, scaled with the mean, as vectors; return speed and turn of direction."""
    ahead, aside = mean + relative * along, relative * across
    return np.hypot(ahead, aside), np.arctan2(aside, np.where(np.abs(ahead) < 1e-9, 1e-9, ahead))


def wind_force(wind: Wind, speed: Array, direction: Array) -> Array:
    """Lateral force to starboard, N: ``-rho C A v^2 sin(direction) / 2``; wind from starboard pushes to port."""
    force: Array = -0.5 * AIR_DENSITY * wind.drag * wind.area_m2 * speed**2 * np.sin(direction)
    return force
