"""The whole reduction, down one page: from the heels of a day to lightship and the answer.

What stands here is the order of the work; each step is a function of its own in the module it is named after.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from config.plan import Overrule
from config.tables import Tables
from config.units import COVERAGE_95, TONNE
from dsp.types import BudgetLine
from reduction.day_gm import GmCase, day_moments, gm_of_day
from reduction.floating import Case, float_her
from reduction.gm.period import gyration, roll_period
from reduction.inputs import DayInputs
from reduction.lightship.budget import Derived, linear
from reduction.lightship.model import Model
from reduction.lightship.montecarlo import draws, intervals
from reduction.lightship.survey import Survey, gather
from reduction.moments import Moments
from reduction.planning.plausible import check_places, check_plan
from reduction.shifts import noted_shifts
from reduction.types import Answer, AsInclined, Centre, Floating, Maybe, Quantified, Waterline
from reduction.verdict.criteria import condition_kg, deviations
from reduction.verdict.doubts import doubts
from reduction.verdict.headline import headline, next_step
from reduction.verdict.limits import hold
from reduction.verdict.procedure import Findings, advise
from reduction.water.density import water_density
from reduction.water.tanks import Liquid, liquids
from reduction.water.waterline import fit_waterline

TABLE_DENSITY_U95 = 1.0
"""kg/m3, interval of the water's density where no sample was taken and the table's density stands in (judgement)."""


def reduce_day(inputs: DayInputs) -> Answer:
    """Reduce one test day.

    Parameters
    ----------
    inputs : plan, heels, tables and facts; a plan with displacement, BM, moments and heels is enough for GM.

    Returns
    -------
    Answer; what cannot be computed is None with a reason under ``missing``.

    Raises
    ------
    BadInput where a file contradicts itself or another, naming file and line or key.
    """
    plan, tables, confidence = inputs.plan, inputs.tables, inputs.plan.settings.confidence
    check_plan(plan)
    missing: dict[str, str] = {}
    noted, said = noted_shifts(plan, tables)
    notes: list[str] = [*said, *_without_window(tables, inputs), *inputs.said]
    inputs = replace(inputs, shifts=(*inputs.shifts, *noted))

    density, of_density = _density(inputs)
    notes += of_density
    waterline = _waterline(inputs, density, notes, missing)
    tanks = liquids(plan.tanks, tables)
    found = float_her(inputs, waterline, density.value)
    case = found if isinstance(found, Case) else None
    if case is not None:
        notes += case.notes
    else:
        missing["displacement_t"] = str(found)
    moments = day_moments(inputs, waterline)
    notes += moments.assumptions
    survey = gather(plan, tables.survey, tanks)
    notes += survey.assumptions
    gm = gm_of_day(inputs, moments, case, tanks, waterline) if case is not None else str(found)
    if isinstance(gm, str):
        missing |= dict.fromkeys(("gm", "gm_line", "gm_all", "difference"), gm)
    fit = gm if isinstance(gm, GmCase) else None
    decided = (*plan.settings.overrules, *inputs.overrules)
    notes += _without_effect(decided, inputs, fit)
    if case is not None and fit is None and math.isfinite(case.hull.kg_guess):
        notes.append("Without GM, LCG was corrected for trim with KG of the previous or estimated lightship.")

    results, drawn = _results(inputs, case, fit, tanks, survey)
    as_inclined = _as_inclined(inputs, case, fit, results, missing)
    lightship = _lightship(inputs, results, survey, missing)
    if lightship.value is None:
        drawn = {name: pair for name, pair in drawn.items() if name not in ("mass", "vcg", "lcg", "tcg")}
    doubtful = doubts(case, fit, as_inclined.value, lightship.value, plan.vessel.depth_m)
    held = hold(inputs, case, fit, results, lightship, survey, missing, doubtful)
    missing |= held.missing
    compared = deviations(lightship.value, plan.vessel, confidence) if lightship.value is not None else ()
    advice = advise(_findings(inputs, case, fit, moments, waterline, lightship, survey, tanks, as_inclined))
    if case is not None and results["displacement"].u == 0.0:
        missing["displacement_u95"] = "the plan gives no vessel.displacement_u95_t; it was taken as given"
    if not drawn:
        missing["monte_carlo"] = _why_no_draws(inputs, missing)
    displacement = Maybe(results["displacement"]) if case is not None else Maybe[Quantified](None, str(found))
    labels = [w.span.label for w in inputs.day.windows] if inputs.day is not None else []
    answer = Answer(
        name=plan.test.name,
        confidence=confidence,
        headline="",
        outlook=held.outlook,
        next_step="",
        gm=Maybe(fit.result) if fit is not None else Maybe(None, missing["gm"]),
        waterline=Maybe(waterline) if waterline is not None else Maybe(None, missing["waterline"]),
        floating=_floating(case, missing),
        as_inclined=as_inclined,
        survey=survey.items,
        lightship=lightship,
        deviations=compared,
        conditions=held.conditions,
        advice=advice,
        monte_carlo=Maybe(drawn) if drawn else Maybe(None, missing["monte_carlo"]),
        assumptions=tuple(dict.fromkeys(notes)),
        missing=missing,
        day=inputs.day,
        provenance=inputs.provenance,
        displacement=displacement,
        reservations=held.reservations,
        overrules=decided,
        moment=dict(zip(labels, (state.moment for state in moments.states), strict=True)),
        moment_u=dict(zip(labels, moments.whole_u, strict=True)),
        doubts=doubtful,
    )
    return headline(next_step(answer, results, plan))


def _without_window(tables: Tables, inputs: DayInputs) -> list[str]:
    """Say which lines of shifts.csv name a window that is not there: they change nothing."""
    if inputs.day is None:
        return []
    known = {w.span.label for w in inputs.day.windows}
    return [
        f"Shift of {row.what} (shifts.csv, line {row.line}) names window {label}, which is not on record: it changes "
        "nothing there."
        for row in tables.shifts or ()
        for label in row.windows
        if label not in known
    ]


def _without_effect(decided: Sequence[Overrule], inputs: DayInputs, fit: GmCase | None) -> list[str]:
    """Say which decisions of a person on a window change nothing, and why."""
    used = {p.label: p.used for p in fit.result.points} if fit is not None else {}
    known = [w.span.label for w in inputs.day.windows] if inputs.day is not None else []
    notes = []
    for one in decided:
        if one.window not in known:
            why = "no such window stands"
        elif fit is None:
            why = "there is no GM that it could count in"
        elif used[one.window] and one.verdict == "rejected":
            why = "too few windows are left without it"
        elif not used[one.window] and one.verdict != "rejected":
            why = "it has no heel that could be used"
        else:
            continue
        notes.append(f"Window {one.window} taken as {one.verdict} ({one.reason}; {one.by}) changes nothing: {why}.")
    return notes


def _density(inputs: DayInputs) -> tuple[Quantified, list[str]]:
    """Density of the water, measured or taken from the hydrostatics (kg/m3)."""
    rows = inputs.tables.density
    if rows:
        value, said = water_density(rows)
        return value, list(said)
    table = inputs.plan.hydrostatics.density_kg_m3
    u = TABLE_DENSITY_U95 / COVERAGE_95
    value = Quantified(table, u, budget=(BudgetLine("density not measured", u),), unit="kg/m3", note="not measured")
    if inputs.tables.waterline is None or inputs.plan.hydrostatics.source == "values":
        return value, []
    return value, [f"No density sample: {table:g} ± {TABLE_DENSITY_U95:g} kg/m3 was taken."]


def _waterline(inputs: DayInputs, density: Quantified, notes: list[str], missing: dict[str, str]) -> Waterline | None:
    rows, vessel = inputs.tables.waterline, inputs.plan.vessel
    if not rows:
        missing["waterline"] = "no waterline.csv with draught or freeboard readings"
        return None
    if vessel.length_m is None:
        missing["waterline"] = "vessel.length_m is needed to place the readings between the perpendiculars"
        return None
    check_places(rows, vessel.length_m)
    waterline, said = fit_waterline(rows, vessel.length_m, vessel.keel_mm / 1e3, density)
    notes += said
    if not inputs.moments:
        notes.append("Draughts were taken as read with the weights in their first state.")
    return waterline


def _results(
    inputs: DayInputs,
    case: Case | None,
    fit: GmCase | None,
    tanks: tuple[Liquid, ...],
    survey: Survey,
) -> tuple[dict[str, Quantified], dict[str, tuple[float, float]]]:
    """Every result with its budget, and its interval by random draws."""
    if case is None:
        return {}, {}
    settings = inputs.plan.settings
    model = Model.build(case.hull, fit.part if fit is not None else None, tanks, survey)
    derived: dict[str, Derived] = {
        f"condition {i}": condition_kg(c) for i, c in enumerate(inputs.plan.limits.conditions)
    }
    results = linear(model, derived)
    if settings.monte_carlo_draws < MIN_DRAWS:
        return results, {}
    drawn = intervals(draws(model, settings.monte_carlo_draws, settings.seed), settings.confidence)
    names = {"lightship_lcg": "lcg", "lightship_tcg": "tcg", "lcg": "lcg as inclined", "tcg": "tcg as inclined"}
    return results, {names.get(name, name): pair for name, pair in drawn.items()}


MIN_DRAWS = 1000
"""Fewer draws than these give no interval worth printing."""


def _why_no_draws(inputs: DayInputs, missing: dict[str, str]) -> str:
    if inputs.plan.settings.monte_carlo_draws < MIN_DRAWS:
        return f"settings.monte_carlo_draws asks for fewer than {MIN_DRAWS} draws"
    return missing.get("displacement_t", "no result whose interval could be drawn")


def _as_inclined(
    inputs: DayInputs,
    case: Case | None,
    fit: GmCase | None,
    results: dict[str, Quantified],
    missing: dict[str, str],
) -> Maybe[AsInclined]:
    if case is None or fit is None or case.km is None:
        reason = missing.get("gm", "") or "KM is not known: give hydrostatics.km_m, a table or offsets"
        missing["kg_m"] = missing["as_inclined"] = reason
        return Maybe(None, reason)
    lcg, tcg = results["lcg"], results["tcg"]
    period = roll_period(inputs.day)
    return Maybe(
        AsInclined(
            displacement=results["displacement"],
            km=results["km"],
            gm_fluid=fit.result.gm,
            free_surface=results["free_surface"],
            kg=results["kg"],
            lcg=Maybe(lcg) if math.isfinite(lcg.value) else Maybe(None, _no_lcg(inputs)),
            tcg=Maybe(tcg) if math.isfinite(tcg.value) else Maybe(None, "no list"),
            roll_period=period,
            radius_ratio=gyration(period, fit.result.gm, inputs.plan.vessel.breadth_m),
        )
    )


def _no_lcg(inputs: DayInputs) -> str:
    if inputs.plan.hydrostatics.source == "values":
        return "LCB is not known: LCG needs a hydrostatic table or offsets, and draughts"
    return "LCB, KB, trim or KG is not known"


def _lightship(
    inputs: DayInputs, results: dict[str, Quantified], survey: Survey, missing: dict[str, str]
) -> Maybe[Centre]:
    """Lightship where a survey was made; parts that cannot be known are NaN with their reason under ``missing``."""
    if inputs.tables.survey is None:
        reason = "no survey.csv: what must come off and go on is not known"
    elif not results:
        reason = missing.get("displacement_t", "no displacement")
    elif results["mass"].value <= 0.0:
        reason = _nothing_left(results["mass"].value, survey)
    else:
        parts = {
            "vcg": ("vcg", missing.get("kg_m", "KG is not known")),
            "lcg": ("lightship_lcg", _no_lcg(inputs)),
            "tcg": ("lightship_tcg", missing.get("gm", "no list")),
        }
        made = {}
        for name, (key, why) in parts.items():
            value = results[key]
            if not math.isfinite(value.value):
                missing[name] = why
                value = Quantified(math.nan, math.nan, unit="m", note=why)
            made[name] = value
        return Maybe(Centre(results["mass"], made["vcg"], made["lcg"], made["tcg"]))
    missing["lightship"] = reason
    return Maybe(None, reason)


def _nothing_left(mass: float, survey: Survey) -> str:
    """Say why a lightship of ``mass`` kg, which no vessel has, came out."""
    off = max((item for item in survey.items if item.action == "off"), key=lambda item: item.mass)
    return (
        f"a lightship of {mass / TONNE:.1f} t would be left: more comes off than she displaces, most of it {off.name} "
        f"({off.mass / TONNE:g} t); masses are in tonnes"
    )


def _floating(case: Case | None, missing: dict[str, str]) -> Maybe[Floating]:
    if case is not None and case.floating is not None:
        return Maybe(case.floating)
    typed = "only typed values are known; hydrostatics.csv or offsets.csv gives them"
    reason = typed if case is not None else "no displacement"
    missing["floating"] = missing["hydrostatics"] = reason
    return Maybe(None, reason)


def _findings(
    inputs: DayInputs,
    case: Case | None,
    fit: GmCase | None,
    moments: Moments,
    waterline: Waterline | None,
    lightship: Maybe[Centre],
    survey: Survey,
    tanks: tuple[Liquid, ...],
    as_inclined: Maybe[AsInclined],
) -> Findings:
    done = as_inclined.value
    return Findings(
        plan=inputs.plan,
        tables=inputs.tables,
        gm=fit.result if fit is not None else None,
        moments=moments if fit is not None else None,
        waterline=waterline,
        case=case,
        lightship=lightship.value,
        survey=survey,
        liquids=tanks,
        shifts=inputs.shifts,
        windows=inputs.day.windows if inputs.day is not None else (),
        radius_ratio=done.radius_ratio.value if done is not None else None,
        kg=done.kg if done is not None else None,
    )
