"""Statics: resting heel, free surface, a person's step, hull integration, drooping lines."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from scipy.optimize import brentq

from config.units import DEGREE
from sim import hull, liquid
from sim.berth import line_tension
from sim.condition import resting_heel
from sim.scenario import Liquid
from sim.validation.figure import Figure
from sim.validation.setup import Trial, let_go, push, vessel


def figures() -> Iterator[Figure]:
    """All figures of this page."""
    yield from equilibrium()
    yield from free_surface()
    yield person()
    yield from box()
    yield droop()


def _settled(trial: Trial) -> float:
    return float(np.mean(trial.motion.heel[-2000:]))


def equilibrium() -> Iterator[Figure]:
    """Where she comes to rest against ``M = displacement tan(phi) (GM + BM tan^2(phi) / 2)``."""
    for bm in (2.7, 10.0):
        truth = vessel(period_s=6.0, damping=0.3, bm_m=bm, gm_m=1.0)
        moment = 1.15e6 * math.tan(3.0 * DEGREE)
        trial = push(truth, np.full(8000, moment), 0.1)
        wanted = brentq(lambda t, bm=bm, m=moment: 1.15e6 * t * (1.0 + 0.5 * bm * t * t) - m, 0.0, 0.2)
        yield Figure(
            f"resting heel, GM 1 m, BM {bm:g} m",
            _settled(trial) / DEGREE,
            math.degrees(math.atan(wanted)),
            "deg",
            1e-6,
            "wall-sided formula (method)",
        )


def free_surface() -> Iterator[Figure]:
    """Loss of GM by a slack tank against ``rho i / displacement``; period of the liquid alone against Lamb."""
    tank = Liquid(
        name="tank", at_m=(20.0, 0.0, 1.0), length_m=6.0, breadth_m=5.0, height_m=4.0, sounding_m=2.0, damping=0.05
    )
    truth = vessel(period_s=8.0, damping=0.3, bm_m=1e-6)
    small = np.full(12000, 2e3)
    trial = push(truth, small, 0.1, (tank,))
    solid = trial.floating.restoring.gm
    apparent = 2e3 / (trial.floating.displacement * math.tan(_settled(trial)))
    yield Figure(
        "GM lost by a slack tank",
        solid - apparent,
        1000.0 * 6.0 * 5.0**3 / 12.0 / trial.floating.displacement,
        "m",
        1e-3,
        "Derrett pp. 193-195",
    )
    still = Liquid(
        name="tank", at_m=(20.0, 0.0, 1.0), length_m=0.01, breadth_m=5.0, height_m=4.0, sounding_m=2.0, damping=0.0
    )
    trial = let_go(vessel(period_s=60.0), 0.0, 1.0, 0.01, (still,))
    rate = math.sqrt(trial.vessel.stiffness[2, 2] / trial.vessel.mass[2, 2])
    k = math.pi / 5.0
    yield Figure(
        "sloshing period, 5 m by 2 m deep",
        2.0 * math.pi / rate,
        2.0 * math.pi / math.sqrt(9.80665 * k * math.tanh(2.0 * k)),
        "s",
        1e-9,
        "Lamb art. 257 (from memory)",
    )
    pocket = Liquid(name="tank", at_m=(20, 0, 1), length_m=6, breadth_m=5, height_m=1.0, sounding_m=0.9, damping=0.05)
    trial = push(vessel(period_s=8.0, damping=0.3, bm_m=1e-6), np.full(12000, 120e3), 0.1, (pocket,))
    wanted = resting_heel(trial.floating, (pocket,), 120e3)
    yield Figure(
        "resting heel with a pocketing tank",
        _settled(trial) / DEGREE,
        wanted / DEGREE,
        "deg",
        1e-6,
        "statics solved apart",
    )
    assert abs(wanted) > liquid.pocketing_slope(pocket)


def person() -> Figure:
    """85 kg over 5 m on 2000 t with GM 1 m."""
    truth = vessel(period_s=8.0, damping=0.3, gm_m=1.0, displacement_t=2000.0)
    trial = push(truth, np.full(8000, 85.0 * 5.0), 0.1)
    wanted = math.degrees(85.0 * 5.0 / 2e6)
    return Figure("85 kg walk 5 m on 2000 t, GM 1 m", _settled(trial) / DEGREE, wanted, "deg", 1e-4, "method.md: 0.012")


def box() -> Iterator[Figure]:
    """A box 40 by 10 m floating at 3 m: volume, KM, and KN at 10 degrees by the wall-sided formula."""
    side = np.array([[0.0, 5.0], [8.0, 5.0]])
    form = hull.make_form(np.linspace(0.0, 40.0, 9), [side] * 9, 40.0)
    at = hull.upright(form, hull.Waterline(3.0, 0.0))
    yield Figure("box: volume", at.volume, 1200.0, "m3", 1e-9, "closed form")
    yield Figure("box: KM", at.km, 1.5 + 10.0**2 / 12.0 / 3.0, "m", 1e-9, "closed form")
    angle = 10.0 * DEGREE
    arm = math.sin(angle) * (at.km + 0.5 * at.bm * math.tan(angle) ** 2)
    yield Figure("box: KN at 10 deg", hull.kn(form, 1200.0, 0.0, angle), arm, "m", 1e-9, "wall-sided formula")
    trimmed = hull.balance(form, 1200.0, 19.5, 4.0)
    yield Figure(
        "box: trim under G 0.5 m aft of amidships",
        trimmed.trim,
        brentq(lambda t: t * (40.0**2 / 36.0 * (1.0 + 0.5 * t * t) - (4.0 - 1.5)) - 0.5, 0.0, 0.05),
        "slope",
        1e-6,
        "closed form of a box that trims",
    )


def droop() -> Figure:
    """A drooping line against the exact catenary of the same length, ends level."""
    span, length, weight = 12.0, 12.5, 8.0
    exact = brentq(lambda h: 2.0 * h / weight * math.sinh(weight * span / (2.0 * h)) - length, 1.0, 1e4)
    found = float(line_tension(np.array([span - length]), 600e3 / length, weight**2 * span**3 / 24.0)[0])
    return Figure("pull of a line 0.5 m slack over 12 m", found, exact, "N", 3e-2, "catenary")
