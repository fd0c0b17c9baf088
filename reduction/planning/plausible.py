"""Figures of a plan or a survey that no vessel has: a slip of unit or decimal point, told before it spoils a result."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from config.errors import BadInput, Fault
from config.plan import Plan
from config.survey_table import SurveyRow
from config.units import TONNE
from config.waterline_table import ReadingRow

LONGEST = 600.0
"""m. Longer than any vessel afloat (judgement)."""


def check_plan(plan: Plan) -> None:
    """Raise BadInput for every figure outside what any vessel could have."""
    faults = [
        Fault("plan.toml", where, f"{value:g}", f"{low:g} to {high:g} {unit}".strip())
        for where, value, low, high, unit in _bounds(plan)
        if value is not None and not low <= value <= high
    ]
    if faults:
        raise BadInput(faults)


def check_places(rows: tuple[ReadingRow, ...], length: float) -> None:
    """Raise BadInput for readings that were not taken on this vessel."""
    faults = [
        Fault("waterline.csv", f"line {row.line}, x_m", f"{row.x_m:g}", f"{-0.2 * length:g} to {1.2 * length:g} m")
        for row in rows
        if not -0.2 * length <= row.x_m <= 1.2 * length
    ]
    if faults:
        raise BadInput(faults)


def check_masses(rows: Sequence[SurveyRow], plan: Plan, file: str) -> None:
    """Raise BadInput for every line of a survey that by itself is heavier than the plan says the vessel is.

    Where of the vessel only the lightship is known, liquid ballast may weigh more.
    """
    vessel = plan.vessel
    displaced = vessel.displacement_t is not None
    light = vessel.lightship.mass_t if vessel.lightship is not None else 0.0
    most = max(vessel.displacement_t or 0.0, light)
    which = "vessel.displacement_t" if (vessel.displacement_t or 0.0) >= light else "vessel.lightship.mass_t"
    faults = [
        Fault(
            file,
            f"line {row.line}, mass_t",
            f"{row.mass_t:g}",
            f"tonnes, under the {most:g} t of the vessel ({which}); {row.mass_t:g} kg are {row.mass_t / TONNE:g}",
        )
        for row in rows
        if row.mass_t > most > 0.0 and (displaced or not row.ballast)
    ]
    if faults:
        raise BadInput(faults)


def _bounds(plan: Plan) -> Iterator[tuple[str, float | None, float, float, str]]:
    vessel, values = plan.vessel, plan.hydrostatics
    yield "vessel.length_m", vessel.length_m, 1.0, LONGEST, "m"
    yield "vessel.breadth_m", vessel.breadth_m, 0.3, 150.0, "m"
    yield "vessel.depth_m", vessel.depth_m, 0.2, 100.0, "m"
    yield "vessel.keel_mm", vessel.keel_mm, 0.0, 5000.0, "mm"
    yield "vessel.displacement_t", vessel.displacement_t, 0.05, 1e6, "t"
    if vessel.displacement_t is not None:
        yield "vessel.displacement_u95_t", vessel.displacement_u95_t, 0.0, 0.5 * vessel.displacement_t, "t"
    if vessel.lightship is not None:
        yield "vessel.lightship.mass_t", vessel.lightship.mass_t, 0.05, 1e6, "t"
        yield "vessel.lightship.vcg_m", vessel.lightship.vcg_m, -10.0, 150.0, "m"
        yield "vessel.lightship.lcg_m", vessel.lightship.lcg_m, -LONGEST, LONGEST, "m"
        yield "vessel.lightship.tcg_m", vessel.lightship.tcg_m, -75.0, 75.0, "m"
    yield "hydrostatics.bm_m", values.bm_m, 0.001, 2000.0, "m"
    yield "hydrostatics.km_m", values.km_m, 0.01, 2000.0, "m"
    if values.bm_m is not None:
        yield "hydrostatics.bm_u95_m", values.bm_u95_m, 0.0, 0.5 * values.bm_m, "m"
    yield "hydrostatics.density_kg_m3", values.density_kg_m3, 950.0, 1200.0, "kg/m3"
    yield "hydrostatics.plating", values.plating, 0.0, 0.1, "as a fraction"
    for name in ("km_u95_percent", "displacement_u95_percent"):
        yield f"hydrostatics.{name}", getattr(values, name), 0.0, 50.0, "%"
    yield "settings.assumed_displacement_u95_percent", plan.settings.assumed_displacement_u95_percent, 0.0, 50.0, "%"
    for i, weight in enumerate(plan.weights):
        yield f"weights[{i}].mass_t", weight.mass_t, 1e-4, 5000.0, "t"
        yield f"weights[{i}].mass_u95_kg", weight.mass_u95_kg, 0.0, 500.0 * weight.mass_t, "kg"
        yield f"weights[{i}].position_u95_m", weight.position_u95_m, 0.0, 10.0, "m"
        yield from _place(f"weights[{i}].port_m", weight.port_m)
        yield from _place(f"weights[{i}].starboard_m", weight.starboard_m)
    for i, movement in enumerate(plan.movements):
        yield f"movements[{i}].moment_tm", movement.moment_tm, -1e6, 1e6, "t m"
    for i, station in enumerate(plan.muster_stations):
        yield from _place(f"muster_stations[{i}].position_m", station.position_m)
    for i, person in enumerate(plan.people):
        yield f"people[{i}].mass_kg", person.mass_kg, 10.0, 400.0, "kg"
    for i, tank in enumerate(plan.tanks):
        where = f"tanks[{i}]"
        yield f"{where}.density_kg_m3", tank.density_kg_m3, 300.0, 3000.0, "kg/m3"
        yield f"{where}.mass_t", tank.mass_t, 0.0, 5e5, "t"
        yield f"{where}.sounding_m", tank.sounding_m, 0.0, 100.0, "m"
        yield f"{where}.free_surface_m4", tank.free_surface_m4, 0.0, 1e6, "m4"
        for name in ("length_m", "breadth_m", "height_m"):
            yield f"{where}.{name}", getattr(tank, name), 0.01, LONGEST, "m"
        yield f"{where}.free_surface_u95_percent", tank.free_surface_u95_percent, 0.0, 200.0, "%"
        if tank.position_m is not None:
            yield from _place(f"{where}.position_m", tank.position_m)
    for i, condition in enumerate(plan.limits.conditions):
        where = f"limits.conditions[{i}]"
        yield f"{where}.mass_t", condition.mass_t, 1e-4, 1e6, "t"
        yield f"{where}.vcg_m", condition.vcg_m, -10.0, 150.0, "m"
        yield f"{where}.free_surface_tm", condition.free_surface_tm, 0.0, 1e6, "t m"
        yield f"{where}.allowable_kg_m", condition.allowable_kg_m, 0.01, 150.0, "m"


def _place(where: str, at: tuple[float, float, float]) -> Iterator[tuple[str, float, float, float, str]]:
    yield f"{where}[0]", at[0], -LONGEST, LONGEST, "m"
    yield f"{where}[1]", at[1], -150.0, 150.0, "m"
    yield f"{where}[2]", at[2], -50.0, 200.0, "m"
