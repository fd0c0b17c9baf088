"""A vessel alone in still water, let go from a given heel or pushed by a given force."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import DEGREE
from sim.condition import float_vessel
from sim.motion import Motion, march
from sim.scenario import Berth, Liquid, Scenario, VesselTruth
from sim.vessel import Floating, LinearVessel, linear_vessel, modes

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Trial:
    """One run of the bare vessel."""

    scenario: Scenario
    floating: Floating
    vessel: LinearVessel
    motion: Motion
    forces: Array


def vessel(**changes: object) -> VesselTruth:
    """A vessel without damping; ``changes`` as in `sim.scenario.VesselTruth`."""
    return VesselTruth.model_validate({"damping": 0.0, "extinction_per_deg": 0.0, "sway_drag": 0.0, **changes})


def scenario_of(truth: VesselTruth, liquids: tuple[Liquid, ...] = ()) -> Scenario:
    """A day without wind, lines or waves; head and stern lines so soft that she hardly knows of them."""
    berth = Berth(hold_period_s=1e5, hold_damping=1e-9, chop_slope_deg=0.0)
    return Scenario(vessel=truth, berth=berth, liquids=liquids)


def let_go(truth: VesselTruth, heel_deg: float, seconds: float, step: float, liquids: tuple[Liquid, ...] = ()) -> Trial:
    """Let her go from rest at a heel, turned about her roll centre."""
    scenario = scenario_of(truth, liquids)
    floating = float_vessel(scenario)
    linear = linear_vessel(scenario, floating)
    size = linear.mass.shape[0]
    place = np.zeros(2 * size)
    place[1] = heel_deg * DEGREE
    place[0] = -linear.roll_centre * place[1]
    place[2:size] = place[1]
    time = np.asarray(np.arange(int(seconds / step)) * step, dtype=np.float64)
    nothing = np.zeros(time.size)
    forces = np.zeros((time.size, size))
    motion = march(linear, floating, liquids, time, forces, nothing, nothing, (), start=modal(linear, place))
    return Trial(scenario, floating, linear, motion, forces)


def push(truth: VesselTruth, moment: Array, step: float, liquids: tuple[Liquid, ...] = ()) -> Trial:
    """Put a transverse moment of masses (kg m over the steps) on her, from rest."""
    scenario = scenario_of(truth, liquids)
    floating = float_vessel(scenario)
    linear = linear_vessel(scenario, floating)
    size = linear.mass.shape[0]
    time = np.asarray(np.arange(moment.size) * step, dtype=np.float64)
    forces = np.zeros((time.size, size))
    rest = modal(linear, np.zeros(2 * size))
    motion = march(linear, floating, liquids, time, forces, moment, np.zeros(time.size), (), start=rest)
    return Trial(scenario, floating, linear, motion, forces)


def modal(linear: LinearVessel, place: Array) -> NDArray[np.complex128]:
    """Modal state of positions and velocities."""
    size = linear.mass.shape[0]
    state = np.zeros((2 * size, 2 * size))
    state[:size, size:] = np.eye(size)
    state[size:, :size] = -np.linalg.solve(linear.mass, linear.stiffness)
    state[size:, size:] = -np.linalg.solve(linear.mass, linear.damping)
    lam, vectors = np.linalg.eig(state)
    order = [int(np.argmin(np.abs(lam - one))) for one in modes(linear).lam]
    found: NDArray[np.complex128] = np.linalg.solve(vectors, place.astype(complex))[order]
    return found


def upcrossings(time: Array, value: Array) -> Array:
    """Times at which a record goes up through zero, by a straight line between samples."""
    at = np.flatnonzero((value[:-1] < 0.0) & (value[1:] >= 0.0))
    crossing: Array = time[at] - value[at] * (time[at + 1] - time[at]) / (value[at + 1] - value[at])
    return crossing


def extremes(value: Array) -> Array:
    """Sizes of successive turning points, each by a parabola through three samples."""
    at = np.flatnonzero((np.diff(value[:-1]) * np.diff(value[1:])) <= 0.0) + 1
    a, b, c = value[at - 1], value[at], value[at + 1]
    bend = a - 2.0 * b + c
    peak: Array = np.abs(b - (c - a) ** 2 / (8.0 * np.where(bend == 0.0, 1.0, bend)))
    return peak
