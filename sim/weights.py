"""Test weights: where they stand, how they hang while the crane has them, and the blow when they land."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import STANDARD_GRAVITY as G
from sim.scenario import Crane, Scenario, TestWeight
from sim.spoils import CraneNotStowed
from sim.timeline import Lift, Timeline

Array = NDArray[np.float64]

PICK_UP = 6.0
"""s in which the crane takes or gives the weight."""
BLOW = 0.4
"""s over which a landing blow is spread."""


@dataclass
class Moments:
    """First moments of what moves about, about centreline, waterline and amidships; kg m over the steps of a day."""

    transverse: Array
    vertical: Array
    longitudinal: Array

    @classmethod
    def none(cls, samples: int) -> Moments:
        """Nothing aboard."""
        return cls(np.zeros(samples), np.zeros(samples), np.zeros(samples))

    def add(self, part: slice, mass: Array, x: float | Array, y: float | Array, z: float | Array) -> None:
        """Add a mass (kg) at a place; x from amidships, z from the waterline, m."""
        self.longitudinal[part] += mass * x
        self.transverse[part] += mass * y
        self.vertical[part] += mass * z


def place(weight: TestWeight, side: str) -> tuple[float, float, float]:
    """Where a weight stands."""
    return weight.port_m if side == "port" else weight.starboard_m


def weight_moments(scenario: Scenario, plan: Timeline, time: Array, into: Moments, rng: np.random.Generator) -> None:
    """Add the moments of all test weights over the day, on deck and in the air."""
    amidships, waterline = scenario.vessel.length_m / 2.0, scenario.vessel.draught_m
    for weight in scenario.weights:
        side: str = weight.start
        begin = 0
        for lift in (one for one in plan.lifts if one.weight is weight):
            start, stop = np.searchsorted(time, [lift.start, lift.stop])
            _standing(into, slice(begin, int(start)), weight, side, amidships, waterline)
            _hanging(into, slice(int(start), int(stop)), time, lift, side, scenario.crane, (amidships, waterline), rng)
            side, begin = lift.to, int(stop)
        _standing(into, slice(begin, time.size), weight, side, amidships, waterline)
    for spoil in scenario.spoils:
        if isinstance(spoil, CraneNotStowed):
            window = plan.window(spoil.window)
            low, high = np.searchsorted(time, [window.moved_at, window.closed + 10.0])
            into.transverse[low:high] += spoil.moment_tm * 1e3


def _standing(into: Moments, part: slice, weight: TestWeight, side: str, amidships: float, waterline: float) -> None:
    x, y, z = place(weight, side)
    into.add(part, np.full(part.stop - part.start, weight.mass_t * 1e3), x - amidships, y, z - waterline)


def _hanging(
    into: Moments,
    part: slice,
    time: Array,
    lift: Lift,
    side: str,
    crane: Crane,
    origin: tuple[float, float],
    rng: np.random.Generator,
) -> None:
    """Follow one weight from pick-up to landing.

    A load hanging from the vessel's own jib acts at the jib head (the textbook rule for suspended weights); it swings
    with the period of its hoist. One on a shore crane is off the vessel once lifted.
    """
    t = time[part]
    if not t.size:
        return
    here, there = place(lift.weight, side), place(lift.weight, lift.to)
    mass = lift.weight.mass_t * 1e3
    up = np.clip((t - lift.start) / PICK_UP, 0.0, 1.0)
    down = np.clip((lift.stop - t) / PICK_UP, 0.0, 1.0)
    half = t < 0.5 * (lift.start + lift.stop)
    at = [np.where(half, a, b) for a, b in zip(here, there, strict=True)]
    amidships, waterline = origin
    hanging = np.minimum(up, down)
    into.add(part, mass * (1.0 - hanging), at[0] - amidships, at[1], at[2] - waterline)
    if crane.on == "deck":
        travel = np.clip((t - lift.start - PICK_UP) / max(lift.stop - lift.start - 2 * PICK_UP, 1.0), 0.0, 1.0)
        smooth = travel * travel * (3.0 - 2.0 * travel)
        x = here[0] + smooth * (there[0] - here[0])
        hoist = max(crane.jib_height_m - here[2] - 2.0, 1.0)
        rate = math.sqrt(G / hoist)
        swing = hoist * math.radians(crane.swing_deg) * np.sin(rate * t + rng.uniform(0, 2 * math.pi))
        y = here[1] + smooth * (there[1] - here[1]) + swing
        into.add(part, mass * hanging, x - amidships, y, crane.jib_height_m - waterline)


def landing_blows(scenario: Scenario, plan: Timeline, time: Array) -> Array:
    """Heeling moment (N m) of landing weights: momentum times lever, as a half sine of `BLOW` seconds."""
    moment = np.zeros(time.size)
    for lift in plan.lifts:
        low, high = np.searchsorted(time, [lift.stop, lift.stop + BLOW])
        impulse = lift.weight.mass_t * 1e3 * scenario.crane.landing_m_s * place(lift.weight, lift.to)[1]
        shape = np.sin(math.pi * (time[low:high] - lift.stop) / BLOW)
        area = float(np.sum(shape)) * (time[1] - time[0])
        if area > 0:
            moment[low:high] += impulse * shape / area
    return moment
