"""Figures of a plan that are numbers and wrong for any vessel, and stations that `quietheel log` would refuse."""

from __future__ import annotations

from collections.abc import Iterator

from config.errors import BadInput
from config.plan import Plan
from config.tables import Tables
from config.units import SEA_WATER_DENSITY, TONNE, meant_by
from dsp.checks.short import LEAST, PERIODS
from logger.gauge import conversion, units_of
from logger.intake import Intake
from logger.wiring import describe

HEAVIEST_WEIGHT = 0.1
"""Of the displacement. A test weight is a few thousandths of it (moment for 1 to 4 degrees); beyond is kg for t."""
LEAST_OF_BOX = 0.03
"""Displacement over length x breadth x depth x density; a lightship floats at a fifth to a half of its depth."""
LONGEST_PENDULUM_M = 30.0
LIGHTEST_PERSON_KG, HEAVIEST_PERSON_KG = 30.0, 250.0
ENDS, SIDES = 0.2, 0.75
"""Beyond the ends by this part of the length, or out by this part of the breadth, nothing stands aboard."""


def slips(plan: Plan, tables: Tables) -> Iterator[str]:
    """Name what looks like another unit or a slip of the keyboard."""
    yield from _size(plan)
    for weight in plan.weights:
        mass = plan.vessel.displacement_t
        if mass and weight.mass_t > HEAVIEST_WEIGHT * mass:
            yield f"weight {weight.name} of {weight.mass_t:g} t against a vessel of {mass:g} t: mass_t is in tonnes"
    for station in plan.stations:
        if station.kind == "pendulum" and (station.length_m or 0.0) > LONGEST_PENDULUM_M:
            yield f"pendulum {station.name} is {station.length_m:g} m long: length_m is in metres"
    for person in plan.people:
        if not LIGHTEST_PERSON_KG <= person.mass_kg <= HEAVIEST_PERSON_KG:
            yield f"{person.name} weighs {person.mass_kg:g} kg: mass_kg is in kilograms"
    wanted = max(LEAST, PERIODS * (plan.vessel.estimated_period_s or 0.0))
    if plan.settings.window_s < wanted:
        yield (
            f"windows of {plan.settings.window_s:g} s (settings.window_s) are short: {wanted:.0f} s or more, "
            f"{PERIODS:.0f} roll periods"
        )
    yield from _overboard(plan, tables)


def _size(plan: Plan) -> Iterator[str]:
    vessel = plan.vessel
    if not (vessel.displacement_t and vessel.length_m and vessel.breadth_m and vessel.depth_m):
        return
    box = vessel.length_m * vessel.breadth_m * vessel.depth_m * SEA_WATER_DENSITY / TONNE
    if not LEAST_OF_BOX * box <= vessel.displacement_t <= box:
        yield (
            f"displacement {vessel.displacement_t:g} t, and length, breadth and depth hold {box:.4g} t when full: "
            "one of the four is in another unit"
        )


def _overboard(plan: Plan, tables: Tables) -> Iterator[str]:
    length, breadth = plan.vessel.length_m, plan.vessel.breadth_m
    places = [(f"station {s.name}", s.position_m) for s in plan.stations if s.position_m]
    places += [(f"weight {w.name}", point) for w in plan.weights for point in (w.port_m, w.starboard_m)]
    places += [(f"muster station {m.name}", m.position_m) for m in plan.muster_stations]
    places += [(f"survey.csv, line {r.line}, {r.item}", r.position_m) for r in tables.survey or ()]
    for what, (x, y, _) in places:
        if length and (x < -ENDS * length or x > (1.0 + ENDS) * length):
            yield f"{what}: x = {x:g} m is off a vessel of {length:g} m; x is forward of the aft perpendicular"
        elif breadth and abs(y) > SIDES * breadth:
            yield f"{what}: y = {y:g} m is off a vessel {breadth:g} m wide"


def refused(plan: Plan) -> Iterator[str]:
    """Name what `quietheel log` or `quietheel reduce` would refuse on the day."""
    for station in plan.stations:
        if station.source.type == "manual":
            continue
        try:
            Intake(station, describe(station, plan.broker))
        except BadInput as error:
            yield from (f"needed: {fault.where}: found {fault.value}; {fault.wanted}" for fault in error.faults)
        for channel in station.channels:
            if channel.unit and conversion(channel, channel.unit) is None:
                yield (
                    f"needed: stations, {station.name}: unit {channel.unit} is none of {channel.quantity}; "
                    f"one of {', '.join(units_of(channel.quantity))}{meant_by(channel.unit)}"
                )
    heel = [s.name for s in plan.stations if any(c.quantity == "heel" for c in s.channels)]
    for name in plan.settings.leave_out:
        if name not in heel:
            yield f"needed: settings.leave_out: found {name}; heel stations of this plan: {', '.join(heel) or 'none'}"
