"""Shifts written down in shifts.csv, as the moments take them; liquid pumped by soundings and density."""

from __future__ import annotations

from collections.abc import Sequence

from config.errors import bad
from config.model import Point
from config.plan import Plan, Tank
from config.shifts_table import Pumped, ShiftRow
from config.tables import Tables
from config.units import COVERAGE_95, TONNE
from reduction.moments import PERSON_U, PLACE_U, Shift
from reduction.water.tanks import sounded

AGREEMENT = 0.1
"""Fraction by which what left one tank and what reached the other may differ before it is refused."""
MASS_U95 = 0.02
PLACE_U95 = 0.1
"""Intervals taken where a line of shifts.csv gives none: 2 % of mass, 0.1 m (judgement)."""


def noted_shifts(plan: Plan, tables: Tables) -> tuple[tuple[Shift, ...], tuple[str, ...]]:
    """Turn the lines of shifts.csv into shifts; and sentences on what was assumed."""
    shifts, notes = [], []
    for row in tables.shifts or ():
        if row.pumped is not None:
            shifts.append(pumped_shift(row, row.pumped, plan.tanks, tables))
            continue
        person = row.group == "people"
        mass_u95, place_u95 = row.mass_u95_t, row.position_u95_m
        mass = row.mass_t * TONNE
        if mass_u95 is None or place_u95 is None:
            notes.append(f"Shift of {row.what}: interval of mass or place taken as usual for {row.group}.")
        usual = PERSON_U if person else MASS_U95 * mass / COVERAGE_95
        place = PLACE_U if person else PLACE_U95 / COVERAGE_95
        shifts.append(
            Shift(
                what=row.what,
                group=row.group,
                mass=mass,
                start=row.start_m,
                stop=row.stop_m,
                windows=row.windows,
                mass_u=usual if mass_u95 is None else mass_u95 * TONNE / COVERAGE_95,
                position_u=place if place_u95 is None else place_u95 / COVERAGE_95,
            )
        )
    return tuple(shifts), tuple(notes)


def pumped_shift(row: ShiftRow, pumped: Pumped, tanks: Sequence[Tank], tables: Tables) -> Shift:
    """Liquid that went from one tank to another.

    What left is a slice of the first tank: volume V_b - V_a with its centre at (V_b c_b - V_a c_a)/(V_b - V_a), from
    the sounding table; what arrived likewise. Mass is the mean of both, their disagreement is part of its uncertainty.
    """
    left, start = _slice(pumped.from_tank, pumped.from_after, pumped.from_before, row, tanks, tables)
    came, stop = _slice(pumped.to_tank, pumped.to_before, pumped.to_after, row, tanks, tables)
    mean = 0.5 * (left + came)
    if mean <= 0 or left <= 0 or came <= 0:
        raise bad("shifts.csv", f"line {row.line}, soundings", None, "less in from_tank and more in to_tank afterwards")
    if abs(left - came) > AGREEMENT * mean:
        found = f"{left / TONNE:.2f} t left, {came / TONNE:.2f} t arrived"
        raise bad("shifts.csv", f"line {row.line}, soundings", found, "as much arriving as left; sound again")
    u = max(abs(left - came) / 2.0, MASS_U95 * mean / COVERAGE_95)
    return Shift(row.what, row.group, mean, start, stop, row.windows, mass_u=u, position_u=0.02)


def _slice(
    name: str, low: float, high: float, row: ShiftRow, tanks: Sequence[Tank], tables: Tables
) -> tuple[float, Point]:
    """Mass (kg) and centre between two soundings of a tank."""
    tank = next((t for t in tanks if t.name == name), None)
    where = f"line {row.line}, from_tank, to_tank"
    if tank is None:
        known = ", ".join(t.name for t in tanks) or "none"
        raise bad("shifts.csv", where, name, f"a tank of the plan ({known})")
    table = tables.tanks.get(tank.table) if tank.table else None
    if table is None:
        raise bad("shifts.csv", where, name, "a tank whose plan entry names a sounding table")
    where = f"line {row.line}, soundings"
    before, below = sounded(table, low, "shifts.csv", where)[:2]
    after, whole = sounded(table, high, "shifts.csv", where)[:2]
    volume = after - before
    if volume <= 0:
        return 0.0, (0.0, 0.0, 0.0)
    x, y, z = ((after * b - before * a) / volume for a, b in zip(below, whole, strict=True))
    return volume * tank.density_kg_m3, (x, y, z)
