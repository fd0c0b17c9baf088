"""The vessel as a linear system in sway, roll and liquids, with what is left over kept for `sim.motion`.

Coordinates: sway ``y`` (m, to starboard) of the point O at amidships on the centreline in the waterline, roll ``phi``
(rad, starboard down), and one surface slope for each slack tank. Lateral forces at height z above O heel by ``F z``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import DEGREE, SEA_WATER_DENSITY
from config.units import STANDARD_GRAVITY as G
from sim import liquid
from sim.restoring import Restoring
from sim.scenario import Scenario

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]


@dataclass(frozen=True)
class Floating:
    """How she floats, from the scenario or from hull and loading; upright, first state of the weights."""

    displacement: float
    """kg."""
    draught: float
    km: float
    kg: float
    """m, solid."""
    gm_fluid: float
    bm: float
    restoring: Restoring
    """Liquids frozen."""
    base_moment: float
    """kg m to starboard of everything but test weights and people."""
    base_trim: float
    """rad."""
    gml: float
    lcg: float = math.nan


@dataclass(frozen=True)
class LinearVessel:
    """Matrices of ``M q'' + C q' + K q = f`` and the constants of the parts that are not linear."""

    mass: Array
    damping: Array
    stiffness: Array
    quadratic_roll: float
    """N m s2, times ``|p| p``."""
    drag: float
    """N s2/m2, cross-flow drag on the lateral plane, times ``|u| u``."""
    drag_depth: float
    """m below the waterline where it acts."""
    roll_centre: float
    """m above the waterline: a lateral force there does not roll her."""
    radius: float
    """m, effective radius of gyration in roll, added mass included."""


@dataclass(frozen=True)
class Modes:
    """The linear system in its own modes: ``z' = lam z + left f``, ``q = Re(right z)``, ``q' = Re(right lam z)``."""

    lam: Complex
    left: Complex
    right: Complex


def linear_vessel(scenario: Scenario, floating: Floating) -> LinearVessel:
    """Build the matrices.

    Roll inertia follows from the wanted period: free of lines, sway leaves the effective inertia
    ``I44 - m24^2 / m22``, which is set to ``displacement k^2`` with ``T = 2 pi k / sqrt(g GM)`` (Derrett p. 292).
    """
    truth, tanks = scenario.vessel, scenario.liquids
    size = 2 + len(tanks)
    m, c, k = np.zeros((size, size)), np.zeros((size, size)), np.zeros((size, size))
    displacement, draught = floating.displacement, floating.draught
    added, centre = truth.sway_added_mass * displacement, truth.added_mass_depth * draught
    m[0, 0] = displacement + added
    m[0, 1] = m[1, 0] = displacement * (floating.kg - draught) - added * centre
    rate = 2.0 * math.pi / truth.period_s
    effective = abs(displacement * G * floating.gm_fluid) / rate**2
    m[1, 1] = effective + m[0, 1] ** 2 / m[0, 0]
    c[1, 1] = 2.0 * truth.damping * effective * rate
    k[1, 1] = displacement * G * floating.restoring.gm
    swing, height = 2.0 * math.pi / scenario.berth.hold_period_s, scenario.berth.hold_height_m
    lever = np.array([1.0, height])
    k[:2, :2] += m[0, 0] * swing**2 * np.outer(lever, lever)
    c[:2, :2] += 2.0 * scenario.berth.hold_damping * m[0, 0] * swing * np.outer(lever, lever)
    for number, tank in enumerate(tanks, start=2):
        stiff = G * liquid.inertia(tank)
        m[number, number] = stiff / liquid.natural_rate(tank) ** 2
        m[0, number] = m[number, 0] = liquid.inertia(tank)
        height_above = tank.at_m[2] + tank.sounding_m / 2.0 - draught
        m[1, number] = m[number, 1] = liquid.inertia(tank) * height_above
        k[number, number] = stiff
        k[1, number] = k[number, 1] = -stiff
        c[number, number] = 2.0 * tank.damping * math.sqrt(stiff * m[number, number])
    per_radian = truth.extinction_per_deg / DEGREE
    return LinearVessel(
        m,
        c,
        k,
        quadratic_roll=0.75 * per_radian * effective,
        drag=0.5 * SEA_WATER_DENSITY * truth.sway_drag * truth.length_m * draught,
        drag_depth=draught / 2.0,
        roll_centre=float(m[0, 1] / m[0, 0]),
        radius=math.sqrt(effective / displacement),
    )


def modes(vessel: LinearVessel) -> Modes:
    """Split the linear system into modes; of each complex pair one is kept, with double weight."""
    size = vessel.mass.shape[0]
    inverse = np.linalg.inv(vessel.mass)
    state = np.zeros((2 * size, 2 * size))
    state[:size, size:] = np.eye(size)
    state[size:, :size] = -inverse @ vessel.stiffness
    state[size:, size:] = -inverse @ vessel.damping
    lam, vectors = np.linalg.eig(state)
    gain = np.linalg.inv(vectors)[:, size:] @ inverse
    kept = np.flatnonzero(lam.imag >= 0.0)
    weight = np.where(lam[kept].imag > 0.0, 2.0, 1.0)
    return Modes(lam[kept].astype(complex), gain[kept].astype(complex), (vectors[:size, kept] * weight).astype(complex))
