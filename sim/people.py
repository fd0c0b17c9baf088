"""People: they stand at their muster stations in windows, roam between, and walk when a spoil says so."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from sim.chance import slow_wander
from sim.scenario import Person, Scenario
from sim.spoils import Walk
from sim.timeline import Timeline
from sim.weights import Moments

Array = NDArray[np.float64]

SETTLED_BEFORE = 30.0
"""s before a window opens by which everyone stands still."""


def people_moments(scenario: Scenario, plan: Timeline, time: Array, into: Moments, rng: np.random.Generator) -> None:
    """Add the moments of everyone aboard over the day."""
    amidships, waterline = scenario.vessel.length_m / 2.0, scenario.vessel.draught_m
    loose = _loose(plan, time)
    for person in scenario.people:
        roaming = slow_wander(rng, time.size, float(time[1] - time[0]), person.roams_m, 20.0) * loose
        x, y, z = (np.full(time.size, value) for value in person.at_m)
        y += np.clip(roaming, -3.0 * person.roams_m, 3.0 * person.roams_m)
        for spoil in scenario.spoils:
            if isinstance(spoil, Walk) and spoil.person == person.name:
                there = _away(spoil, plan, time, person)
                for line, home, goal in zip((x, y, z), person.at_m, spoil.to_m, strict=True):
                    line += there * (goal - home)
        into.add(slice(0, time.size), np.full(time.size, person.mass_kg), x - amidships, y, z - waterline)


def _loose(plan: Timeline, time: Array) -> Array:
    """1 between windows, 0 within, with ramps of some seconds."""
    loose = np.ones(time.size)
    for window in plan.windows:
        rise = np.clip((time - window.closed) / 5.0, 0.0, 1.0)
        fall = np.clip((window.opened - SETTLED_BEFORE - time) / 5.0, 0.0, 1.0)
        loose = np.minimum(loose, np.maximum(rise, fall))
    return loose


def _away(walk: Walk, plan: Timeline, time: Array, person: Person) -> Array:
    """Fraction of the way walked: up at walking speed, there, and back."""
    start = plan.at(walk)
    far = max(math.dist(walk.to_m, person.at_m), 0.1)
    takes = far / walk.speed_m_s
    stay = walk.stay_s
    if stay >= 1e8:
        stay = (plan.window(walk.window).closed + 5.0 if walk.window else plan.end) - start - takes
    back = start + takes + max(stay, 0.0)
    away: Array = np.interp(time, [start, start + takes, back, back + takes], [0.0, 1.0, 1.0, 0.0])
    return away
