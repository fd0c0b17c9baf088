"""How the vessel floats: particulars as given, or worked out from hull and loading; and where she comes to rest."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.optimize import brentq

from config.errors import bad
from config.units import DEGREE
from sim import hull, liquid
from sim.restoring import from_kn, wall_sided
from sim.scenario import Centre, Liquid, Scenario
from sim.vessel import Floating
from sim.weights import place

CURVE_ANGLES = np.radians([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0])
"""Angles at which a hull's KN is integrated for the righting arm."""


def float_vessel(scenario: Scenario) -> Floating:
    """Find how she floats, upright, weights in their first state, everyone at his station.

    Raises
    ------
    BadInput where the scenario asks for a curve or a hull it does not give.
    """
    truth = scenario.vessel
    if scenario.loading is not None or truth.restoring == "offsets":
        return _from_hull(scenario)
    displacement = truth.displacement_t * 1e3
    loss = sum(liquid.inertia(t) for t in scenario.liquids) / displacement
    if truth.restoring == "kn":
        if len(truth.kn) < 4:
            raise bad("scenario", "vessel.kn", len(truth.kn), "at least four (heel_deg, KN_m) pairs above 0")
        angles, arms = np.radians([a for a, _ in truth.kn]), np.array([k for _, k in truth.kn])
        km = from_kn(angles, arms, 0.0).gm
        curve = from_kn(angles, arms, km - truth.gm_m - loss)
    else:
        km, curve = truth.km_m, wall_sided(truth.gm_m + loss, truth.bm_m)
    return Floating(
        displacement,
        truth.draught_m,
        km,
        km - truth.gm_m - loss,
        truth.gm_m,
        truth.bm_m,
        curve,
        truth.base_moment_tm * 1e3,
        truth.base_trim_deg * DEGREE,
        truth.gml_m,
    )


def everything_aboard(scenario: Scenario) -> tuple[Centre, ...]:
    """Lightship, items, slack liquids, test weights in the first state and people, one line each."""
    if scenario.loading is None:
        raise bad("scenario", "loading", None, "a [loading] table with the lightship")
    found = [scenario.loading.lightship, *scenario.loading.items]
    for tank in scenario.liquids:
        x, y, z = tank.at_m
        found.append(Centre(name=tank.name, mass_t=liquid.mass(tank) / 1e3, at_m=(x, y, z + tank.sounding_m / 2.0)))
    first = scenario.spelt_movements()[0] if scenario.weights else None
    for weight in scenario.weights:
        side = weight.start
        if first is not None and weight.name in first.to_port:
            side = "port"
        elif first is not None and weight.name in first.to_starboard:
            side = "starboard"
        found.append(Centre(name=f"weight {weight.name}", mass_t=weight.mass_t, at_m=place(weight, side)))
    found += [Centre(name=p.name, mass_t=p.mass_kg / 1e3, at_m=p.at_m) for p in scenario.people]
    return tuple(found)


def add_up(parts: tuple[Centre, ...]) -> tuple[float, float, float, float]:
    """Total mass (t) and centre (x, y, z, m)."""
    mass = sum(part.mass_t for part in parts)
    x, y, z = (sum(part.mass_t * part.at_m[axis] for part in parts) / mass for axis in range(3))
    return mass, x, y, z


def _from_hull(scenario: Scenario) -> Floating:
    form = hull.read_offsets(find_offsets(scenario.vessel.offsets))
    mass, lcg, _, vcg = add_up(everything_aboard(scenario))
    displacement = mass * 1e3
    surface = sum(liquid.inertia(t) for t in scenario.liquids)
    # a free surface heels, so the waterline is that of the solid centre; trim uses it too
    volume = displacement / scenario.vessel.water_kg_m3
    waterline = hull.balance(form, volume, lcg, vcg)
    state = hull.upright(form, waterline)
    arms = np.array([hull.kn(form, volume, waterline.trim, float(angle)) for angle in CURVE_ANGLES])
    curve = from_kn(CURVE_ANGLES, arms, vcg)
    curve = replace(curve, gm=state.km - vcg)
    aboard = [(p.mass_kg, p.at_m[1]) for p in scenario.people]
    total = sum(c.mass_t * 1e3 * c.at_m[1] for c in everything_aboard(scenario))
    others = sum(m * y for m, y in aboard)
    for weight in scenario.weights:
        others += weight.mass_t * 1e3 * place(weight, weight.start)[1]
    return Floating(
        displacement,
        waterline.draught,
        state.km,
        vcg,
        state.km - vcg - surface / displacement,
        state.bm,
        curve,
        total - others,
        math.atan(waterline.trim),
        state.kml - vcg,
        lcg,
    )


def find_offsets(name: str) -> Path:
    """Offsets beside the scenario, or those of the demo vessel that come with the package."""
    for folder in (Path(), Path(__file__).parent / "scenarios", Path(__file__).parent.parent / "quietheel" / "demo"):
        if (folder / name).is_file():
            return folder / name
    raise bad("scenario", "vessel.offsets", name, "an offsets file that exists")


def resting_heel(floating: Floating, tanks: tuple[Liquid, ...], moment: float, vertical: float = 0.0) -> float:
    """Heel (rad) at which she rests under a transverse moment (kg m), free of wind, lines and people moving.

    ``vertical`` is the vertical moment above the waterline added since the first state, kg m.
    """

    def unbalanced(heel: float) -> float:
        liquids = sum(liquid.inertia(t) * liquid.static_slope(t, heel) for t in tanks)
        righting = floating.displacement * floating.restoring.arm(heel) - liquids
        return righting - moment * math.cos(heel) - vertical * math.sin(heel)

    return float(brentq(unbalanced, -0.35, 0.35, xtol=1e-14, rtol=1e-14))
