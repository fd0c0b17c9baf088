"""Free liquid in a box-shaped tank: one sloshing mode whose static effect is the published free-surface correction.

The coordinate is the slope ``s`` of the liquid surface against the tank, positive when the liquid has gone to
starboard. With ``i = l b^3 / 12`` the kinetic and potential energies are those of a mass that shifts by ``(i/v) s``:
stiffness ``rho g i``, heeling moment on the vessel ``rho g i s``, so that at rest ``s`` equals the heel and GM is lost
by ``rho i / displacement`` (Derrett and Barrass, Ship Stability, ch. 20). The natural rate is that of the first mode
in a rectangular tank, ``w^2 = (pi g / b) tanh(pi h / b)`` (Lamb, Hydrodynamics, 1932, art. 257; from memory).
"""

from __future__ import annotations

import math

from config.units import STANDARD_GRAVITY as G
from sim.scenario import Liquid

POCKET_STIFFENING = 4.0
"""How much stiffer the mode becomes once the surface has met the tank's top or bared its bottom."""


def inertia(tank: Liquid) -> float:
    """Density times second moment of the surface, kg m."""
    return tank.density_kg_m3 * tank.length_m * tank.breadth_m**3 / 12.0


def mass(tank: Liquid) -> float:
    """Mass of the liquid, kg."""
    return tank.density_kg_m3 * tank.length_m * tank.breadth_m * tank.sounding_m


def natural_rate(tank: Liquid) -> float:
    """First sloshing rate, rad/s.

    >>> tank = Liquid(name="t", at_m=(0, 0, 0), length_m=5, breadth_m=6, height_m=2, sounding_m=1)
    >>> round(2 * math.pi / natural_rate(tank), 2)
    4.0
    """
    k = math.pi / tank.breadth_m
    return math.sqrt(G * k * math.tanh(k * tank.sounding_m))


def pocketing_slope(tank: Liquid) -> float:
    """Slope at which the surface reaches a corner of the top or bottom."""
    return 2.0 * min(tank.sounding_m, max(tank.height_m - tank.sounding_m, 0.0)) / tank.breadth_m


def static_slope(tank: Liquid, heel: float) -> float:
    """Slope of the mode at rest at a given heel, pocketing included."""
    limit = pocketing_slope(tank)
    beyond = abs(heel) - limit
    if beyond <= 0.0:
        return heel
    return math.copysign(limit + beyond / (1.0 + POCKET_STIFFENING), heel)
