"""What touches the vessel: lines that droop or bite, fenders, a hard spot; and waves of the harbour.

Every contact acts along one direction. Its extension is ``e = e0(t) + a y + b phi`` and a pull ``T(e)`` puts the
generalised forces ``-T a`` on sway and ``-T b`` on roll (virtual work).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import DEGREE, SEA_WATER_DENSITY
from config.units import STANDARD_GRAVITY as G
from sim.chance import record_frequencies, spectral_gaussian, to_record
from sim.scenario import Berth, Line, Scenario
from sim.spoils import PassingVessel, TautLine, Wash
from sim.timeline import Timeline
from sim.vessel import Floating

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Contact:
    """One line, fender or hard spot."""

    name: str
    sway: float
    """a, m of extension a metre of sway."""
    roll: float
    """b, m of extension a radian of heel."""
    extension: Array
    """e0, (n,) m over the steps of the day."""
    stiffness: float
    """N/m once it bites."""
    droop: float
    """N2 m, ``w^2 d^3 / 24`` of a drooping line; 0 for what only pushes."""


def line_tension(extension: Array, stiffness: float, droop: float) -> Array:
    """Tension of an elastic line that droops under its own weight, N.

    Solves ``(T / stiffness - e) T^2 = w^2 d^3 / 24``, the parabolic approximation of the elastic catenary between
    ends at distance d (Irvine, Cable Structures, 1981; from memory): e is the distance less the unstretched length.

    >>> float(line_tension(np.array([0.1]), 50e3, 1e-9)[0].round())
    5000.0
    """
    tension = np.where(extension > 0.0, extension * stiffness, 0.0) + np.sqrt(droop / (np.abs(extension) + 0.02))
    for _ in range(30):
        value = (tension / stiffness - extension) * tension**2 - droop
        slope = 3.0 * tension**2 / stiffness - 2.0 * extension * tension
        tension = np.maximum(tension - value / np.where(slope > 0, slope, np.inf), 0.5 * tension)
    return tension


def contacts(scenario: Scenario, plan: Timeline, time: Array, floating: Floating) -> tuple[Contact, ...]:
    """Spell out all contacts of the day."""
    berth = scenario.berth
    tide = tide_height(berth, time)
    found = [_line(line, scenario, plan, time, floating, tide) for line in berth.lines]
    for fender in berth.fenders:
        sign = 1.0 if fender.side == "starboard" else -1.0
        height = fender.height_m - floating.draught
        gap = np.full(time.size, -fender.gap_m)
        found.append(Contact(fender.name, sign, sign * height, gap, fender.stiffness_kn_m * 1e3, 0.0))
    for number, spot in enumerate(berth.bottom):
        plane = SEA_WATER_DENSITY * G * 0.8 * scenario.vessel.length_m * scenario.vessel.breadth_m
        stiffness = 1.0 / (1.0 / (spot.stiffness_kn_m * 1e3) + 1.0 / plane)  # in series with her own lifting
        gap = -(spot.clearance_m + tide)
        found.append(Contact(f"bottom {number + 1}", 0.0, spot.at_m[1], gap, stiffness, 0.0))
    return tuple(found)


def _line(line: Line, scenario: Scenario, plan: Timeline, time: Array, floating: Floating, tide: Array) -> Contact:
    aboard, ashore = np.array(line.aboard_m), np.array(line.ashore_m)
    distance = float(np.linalg.norm(aboard - ashore))
    _, across, up = (aboard - ashore) / distance
    slack = np.full(time.size, line.slack_m)
    for spoil in scenario.spoils:
        if isinstance(spoil, TautLine) and spoil.line == line.name:
            start = plan.at(spoil) - (spoil.lead_s if spoil.window else 0.0)
            until = plan.window(spoil.window).closed + 20.0 if spoil.window else start + 300.0
            stop = start + spoil.for_s if spoil.for_s else until
            taken = np.interp(time, [start, start + 15.0, stop, stop + 15.0], [0.0, 1.0, 1.0, 0.0])
            slack += taken * (spoil.slack_m - line.slack_m)
    height = line.aboard_m[2] - floating.draught
    return Contact(
        line.name,
        across,
        across * height - up * line.aboard_m[1],
        up * tide - slack,
        line.ea_kn * 1e3 / (distance + line.slack_m),
        line.weight_n_m**2 * distance**3 / 24.0,
    )


def tide_height(berth: Berth, time: Array) -> Array:
    """Height of tide above mean, m."""
    turn = 2.0 * math.pi / (berth.tide_period_h * 3600.0)
    height: Array = berth.tide_m * np.sin(turn * time + berth.tide_phase_deg * DEGREE)
    return height


def wave_slope(scenario: Scenario, plan: Timeline, time: Array, rng: np.random.Generator) -> Array:
    """Effective wave slope over the day, rad: harbour chop, wave groups of passing vessels, wash."""
    berth, step = scenario.berth, float(time[1] - time[0])
    slope = _narrow(rng, time.size, step, berth.chop_slope_deg, berth.chop_period_s, berth.chop_width)
    for spoil in scenario.spoils:
        if isinstance(spoil, PassingVessel):
            middle = plan.at(spoil)
            width = spoil.waves * spoil.period_s / 4.9  # 5 % height at both ends of a Gaussian
            near = np.exp(-0.5 * ((time - middle) / width) ** 2)
            slope += spoil.slope_deg * DEGREE * near * np.sin(2.0 * math.pi * (time - middle) / spoil.period_s)
        elif isinstance(spoil, Wash):
            start = plan.at(spoil)
            near = np.interp(time, [start, start + 5.0, start + spoil.for_s, start + spoil.for_s + 10.0], [0, 1, 1, 0])
            slope += near * _narrow(rng, time.size, step, spoil.slope_deg, spoil.period_s, 0.6)
    return slope


def _narrow(
    rng: np.random.Generator, samples: int, step: float, sigma_deg: float, period: float, width: float
) -> Array:
    """Draw a record with a Gaussian-shaped spectrum around one period."""
    if sigma_deg == 0.0:
        return np.zeros(samples)
    frequency = record_frequencies(samples, step)
    spread = width / period
    shape = np.exp(-0.5 * ((frequency - 1.0 / period) / spread) ** 2)
    area = float(np.sum(shape) * (frequency[1] - frequency[0]))
    return to_record(spectral_gaussian(rng, (sigma_deg * DEGREE) ** 2 * shape / area, step), samples)
