"""Synthetic days whose every input is off by its stated uncertainty: does the lightship's interval hold the truth?"""

from __future__ import annotations

import dataclasses
import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from config.survey_table import parse_survey
from config.tables import Tables
from config.units import COVERAGE_95
from config.waterline_table import parse_density, parse_waterline
from dsp.types import DayHeel
from reduction.day import reduce_day
from reduction.gm.curve import from_kn, heel_at
from reduction.inputs import DayInputs
from reduction.lightship.corrections import to_lightship
from reduction.lightship.survey import gather
from reduction.moments import planned_states
from reduction.types import Quantified, SurveyItem
from reduction.water.hull import make_hull
from reduction.water.hydrostatics import FromOffsets
from reduction.water.tanks import liquids
from tests import examples_answer as merrowby

Array = NDArray[np.float64]

PERCENT_U95 = 0.3
"""Of displacement and KM of the hydrostatics."""
NAMES = ("mass", "vcg", "lcg", "tcg")


@cache
def tables() -> Tables:
    """Tables of the vessel; readings are drawn anew for each day."""
    survey = parse_survey(merrowby.SURVEY)
    return dataclasses.replace(merrowby.tables(), survey=survey)


def one_day(seed: int) -> dict[str, tuple[float, Quantified]]:
    """True value and result of mass, VCG, LCG and TCG of one day."""
    rng = np.random.default_rng(seed)
    plan = merrowby.plan(
        hydrostatics={"source": "table", "displacement_u95_percent": PERCENT_U95, "km_u95_percent": PERCENT_U95},
        settings={"monte_carlo_draws": 0},
        limits={},
    )
    hull = FromOffsets(make_hull(merrowby.offsets(), merrowby.LENGTH))
    at = merrowby.true_afloat()
    drawn = hull.at(at)
    u = PERCENT_U95 / 100 / COVERAGE_95
    displacement = drawn.displacement * (1 + u * rng.standard_normal())
    km = drawn.km * (1 + u * rng.standard_normal())
    free = 845.0 * 3.0 * 4.0**3 / 12.0 * (1 + 0.05 / COVERAGE_95 * rng.standard_normal())
    kg = merrowby.TRUE_KG
    gm = km - kg - free / displacement
    form = from_kn(hull.kn(at))
    total = gm * math.tan(at.list) + float(form.c(np.array([at.list]))[0])
    lcg = drawn.lcb + (kg - drawn.kb) * at.trim / merrowby.LENGTH

    known = liquids(plan.tanks, tables())
    items = [_as_it_is(item, rng) for item in gather(plan, tables().survey, known).items]
    masses = {i.name: i.mass for i in items}
    moment = _moments(plan, masses, items, rng)
    arm = moment / displacement
    heel = heel_at(arm, gm, total - arm[0], form)
    day = _observed(merrowby.day(plan, spoilt=False), heel, rng)

    density = 1022.0
    samples = f"sample,hydrometer_kg_m3,u95_kg_m3\n1,{density + 0.5 / COVERAGE_95 * rng.standard_normal():.4f},0.5\n"
    found = dataclasses.replace(tables(), waterline=parse_waterline(_readings(rng)), density=parse_density(samples))
    answer = reduce_day(DayInputs(plan, day, found))
    assert answer.lightship.value is not None
    mass, (x, y, z) = to_lightship(displacement, (lcg, total, kg), items)
    light = answer.lightship.value
    return {
        "mass": (float(mass), light.mass),
        "vcg": (float(z), light.vcg),
        "lcg": (float(x), light.lcg),
        "tcg": (float(y), light.tcg),
    }


def _as_it_is(item: SurveyItem, rng: np.random.Generator) -> SurveyItem:
    """The item as it truly is: off what was noted by the stated uncertainty."""
    x, y, z = (place + item.position_u * rng.standard_normal() for place in (item.x, item.y, item.z))
    mass = item.mass + item.mass_u * rng.standard_normal()
    return dataclasses.replace(item, mass=mass, x=x, y=y, z=z)


def _moments(plan, masses, items, rng: np.random.Generator) -> Array:  # type: ignore[no-untyped-def]
    """True moments: true masses, true positions of both sides, of which the first state's is the item's own."""
    start = {i.name: i.y for i in items}
    typed = planned_states(plan, {})
    places: dict[str, float] = {}
    for weight in plan.weights:
        for side, at in (("port", weight.port_m), ("starboard", weight.starboard_m)):
            name = f"position of weight {weight.name} to {side}"
            places[name] = at[1] + weight.position_u95_m / COVERAGE_95 * rng.standard_normal()
    first = next(iter(typed.values()))
    for name in first.sensitivities:
        if name.startswith("position of weight"):
            weight_name = name.split()[3]
            places[name] = start[f"test weight {weight_name}"]
    moments = []
    for state in typed.values():
        standing = [n for n in state.sensitivities if n.startswith("position of weight")]
        moments.append(sum(masses[f"test weight {n.split()[3]}"] * places[n] for n in standing))
    return np.array(moments)


def _observed(day: DayHeel, heel: Array, rng: np.random.Generator) -> DayHeel:
    noise = np.linalg.cholesky(day.covariance) @ rng.standard_normal(heel.size)
    seen = heel / (1 + day.scale_u * rng.standard_normal()) - day.zero_u * rng.standard_normal() + noise
    windows = tuple(dataclasses.replace(w, heel=float(h)) for w, h in zip(day.windows, seen, strict=True))
    return dataclasses.replace(day, windows=windows)


def _readings(rng: np.random.Generator) -> str:
    at = merrowby.true_afloat()
    lines = ["mark,kind,x_m,y_m,reading_m,reading_u95_m,zero_z_m"]
    for x in (2.0, 10.0, 24.0, 38.0, 46.0):
        for y in (-4.0, 4.0):
            z = float(at.level(np.array([x]), merrowby.LENGTH)[0]) + y * math.tan(at.list)
            read = z + 0.01 / COVERAGE_95 * rng.standard_normal()
            lines.append(f"{x:g} {'port' if y < 0 else 'starboard'},draught,{x},{y},{read:.5f},0.01,0")
    return "\n".join(lines) + "\n"


def study(days: int, first: int = 0) -> dict[str, tuple[float, float]]:
    """Coverage of the 95 % intervals and standard deviation of error over standard uncertainty, by result."""
    rows = [one_day(seed) for seed in range(first, first + days)]
    out = {}
    for name in NAMES:
        inside = [abs(true - found.value) <= found.u95() for true, found in (r[name] for r in rows)]
        scaled = [(found.value - true) / found.u for true, found in (r[name] for r in rows)]
        out[name] = (float(np.mean(inside)), float(np.std(scaled)))
    return out
