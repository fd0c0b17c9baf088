"""The vessel of a day of `wander_day`, where she rests, and how she rolls: wall-sided, lightly damped, no linear model.

Moments are written as arms: moment over displacement, m. With ``k`` the radius of gyration and ``z`` the damping,

    phi'' = -(g / k^2) (GZ(phi) - m cos(phi) - e + line(phi)) - 2 z w phi' - b |phi'| phi',
    GZ(phi) = sin(phi) (GM + BM tan^2(phi) / 2).

A slack tank adds a free surface that follows the heel as an oscillator of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
G = 9.80665
DEG = math.pi / 180.0
FINE = 0.025
"""s, step of the roll equation."""


@dataclass(frozen=True)
class Tank:
    """Free surface of one slack tank."""

    loss: float
    """m of GM once the surface has followed."""
    natural: float
    """rad/s."""
    damping: float
    """Fraction of critical."""


@dataclass(frozen=True)
class Vessel:
    """What the estimator does not know, but for displacement and BM."""

    displacement: float
    """t."""
    length: float
    """m."""
    breadth: float
    """m."""
    gm: float
    """m, free surface taken off."""
    bm: float
    """m."""
    gyration: float
    """m, radius of gyration in roll, added mass included."""
    damping: float
    """Fraction of critical."""
    quadratic: float
    """1/rad, of damping by the square of the rate."""
    tank: Tank | None

    @property
    def natural(self) -> float:
        """Natural roll (rad/s)."""
        return math.sqrt(G * self.gm) / self.gyration

    @property
    def stiffening(self) -> float:
        """Metres of BM that stiffen the curve; the tank's surface is taken as level, without its own."""
        return self.bm - self.tank.loss if self.tank else self.bm


@dataclass(frozen=True)
class Line:
    """A line on one side that comes taut at a heel, in some windows: (n,) each."""

    stiffness: Array
    """m/rad, arm per heel beyond; 0 while it hangs."""
    taut_at: Array
    """rad, heel to the line's side."""
    side: int
    """+1 holds her back from heeling to starboard."""


def draw(rng: np.random.Generator, kind: str) -> Vessel:
    """Draw a vessel of 200 to 8000 t whose natural period is 4 to 25 s and whose KG lies within or near her depth."""
    while True:
        displacement = math.exp(rng.uniform(math.log(200.0), math.log(8000.0)))
        block, slender, flat = rng.uniform(0.5, 0.75), rng.uniform(3.5, 6.0), rng.uniform(2.3, 4.0)
        breadth = (displacement * flat / (1.025 * block * slender)) ** (1.0 / 3.0)
        draught = breadth / flat
        bm = rng.uniform(0.055, 0.072) * breadth**2 / (draught * block)
        gm = rng.uniform(0.5, 3.0)
        kg, depth = bm + 0.54 * draught - gm, draught * rng.uniform(1.3, 1.8)
        gyration = rng.uniform(0.35, 0.45) * breadth
        period = 2.0 * math.pi * gyration / math.sqrt(G * gm)
        if 0.55 * depth < kg < 1.25 * depth and 4.0 < period < 25.0:
            break
    tank = None
    if kind == "slack_tank":
        across, height = rng.uniform(0.3, 0.9) * breadth, rng.uniform(0.5, 2.0)
        wave = math.sqrt(math.pi * G / across * math.tanh(math.pi * height / across))
        tank = Tank(rng.uniform(0.05, 0.25) * gm, wave, rng.uniform(0.04, 0.12))
    damping = math.exp(rng.uniform(math.log(0.01), math.log(0.05)))
    quadratic = rng.uniform(0.0, 0.3)
    return Vessel(displacement, breadth * slender, breadth, gm, bm, gyration, damping, quadratic, tank)


def righting(vessel: Vessel, heel: float) -> float:
    """Righting arm GZ (m) once the tank has followed."""
    return math.sin(heel) * (vessel.gm + 0.5 * vessel.stiffening * math.tan(heel) ** 2)


def rest(vessel: Vessel, moment: float, push: float) -> float:
    """Heel (rad) where ``GZ = moment cos(heel) + push``, arms in m, by Newton's steps with the derivative at rest."""
    heel = (moment + push) / vessel.gm
    for _ in range(60):
        slope = vessel.gm + 1.5 * vessel.stiffening * math.tan(heel) ** 2
        heel -= (righting(vessel, heel) - moment * math.cos(heel) - push) / slope
    return heel


def _slowed(natural: float) -> float:
    """By what a leapfrog's spring is to be softened so that its own period is the true one."""
    half = natural * FINE / 2.0
    return (math.sin(half) / half) ** 2


def roll(
    vessel: Vessel, moment: Array, push: Array, start: float = 0.0, line: Line | None = None
) -> tuple[Array, Array]:
    """Integrate the roll of a day by leapfrog: within 4e-5 deg rms of the equation's own solution on such days.

    Parameters
    ----------
    moment, push : (n,) m, arms of the weights and of all else, every `FINE` s. start : rad, at rest.

    Returns
    -------
    heel (n,) rad and angular acceleration (n,) rad/s2.
    """
    tank = vessel.tank or Tank(0.0, 1.0, 0.1)
    loss, stiff, half_bm, quadratic = tank.loss, vessel.gm + tank.loss, 0.5 * vessel.stiffening, vessel.quadratic
    gain = FINE * _slowed(vessel.natural) * G / vessel.gyration**2
    fade, tank_fade = vessel.damping * vessel.natural * FINE, tank.damping * tank.natural * FINE
    tank_gain = FINE * _slowed(tank.natural) * tank.natural**2
    line = line or Line(np.zeros(moment.size), np.zeros(moment.size), 1)
    side = line.side
    heel, rate, surface, surface_rate = start, 0.0, start, 0.0
    heels: list[float] = []
    rates = [0.0]
    for m, e, k, on in zip(*(x.tolist() for x in (moment, push, line.stiffness, line.taut_at)), strict=True):
        heels.append(heel)
        sine = math.sin(heel)
        square = 1.0 - sine * sine
        arm = sine * (stiff + half_bm * sine * sine / square) - m * math.sqrt(square) - e
        if k and side * heel > on:
            arm += side * k * (side * heel - on)
        if loss:
            arm -= loss * math.sin(surface)
            surface_rate = ((1.0 - tank_fade) * surface_rate + tank_gain * (heel - surface)) / (1.0 + tank_fade)
            surface += FINE * surface_rate
        rate = ((1.0 - fade) * rate - gain * arm - FINE * quadratic * abs(rate) * rate) / (1.0 + fade)
        rates.append(rate)
        heel += FINE * rate
    return np.array(heels), np.diff(rates) / FINE
