"""Moment and heel to expect of each state of the weights, for the marks to come."""

from __future__ import annotations

import math

from config.plan import Plan
from config.sequence import movements
from config.units import DEGREE, TONNE
from reduction.moments import planned_states


def planned_moments(plan: Plan) -> dict[str, float]:
    """Moment of each movement's state, t m to starboard, by label; weights where the plan says they stand."""
    if not plan.weights and not plan.movements:
        return {}
    states = planned_states(plan, {}) if plan.weights else {}
    typed = {step.label: step.moment_tm for step in movements(plan) if step.moment_tm is not None}
    return {label: state.moment / TONNE for label, state in states.items()} | typed


def expected_heel_deg(
    moment_tm: float, displacement_t: float | None, gm_m: float | None, list_deg: float = 0.0
) -> float | None:
    """Heel that a moment gives, deg, by tan(heel) = moment / (displacement GM); None where either is not known.

    >>> round(expected_heel_deg(23.0, 1150.0, 1.0), 3)
    1.146
    """
    if not displacement_t or not gm_m or not math.isfinite(gm_m):
        return None
    return math.atan(moment_tm / (displacement_t * gm_m)) / DEGREE + list_deg
