"""Moment and heel to expect of each state of the weights, for the marks to come."""

from __future__ import annotations

import math

from config.plan import Plan
from config.sequence import movements, positions
from config.units import DEGREE


def planned_moments(plan: Plan) -> dict[str, float]:
    """Moment of each movement's state, t m to starboard, by label; weights where the plan says they stand."""
    if not plan.weights and not plan.movements:
        return {}
    sides = positions(plan)
    found = {}
    for movement in movements(plan):
        if movement.moment_tm is not None:
            found[movement.label] = movement.moment_tm
            continue
        found[movement.label] = sum(
            weight.mass_t * (weight.port_m if sides[movement.label][weight.name] == "port" else weight.starboard_m)[1]
            for weight in plan.weights
        )
    return found


def expected_heel_deg(moment_tm: float, displacement_t: float | None, gm_m: float | None, list_deg: float = 0.0) -> float | None:
    """Heel that a moment gives, deg, by tan(heel) = moment / (displacement GM); None where either is not known.

    >>> round(expected_heel_deg(23.0, 1150.0, 1.0), 3)
    1.146
    """
    if not displacement_t or not gm_m or not math.isfinite(gm_m):
        return None
    return math.atan(moment_tm / (displacement_t * gm_m)) / DEGREE + list_deg
