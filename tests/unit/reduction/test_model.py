"""The measurement model: linear and random-draw intervals agree, with GM's own budget too; speed."""

from __future__ import annotations

import dataclasses
import math
import time

import numpy as np
import pytest

from config.plan import Plan
from reduction.day import reduce_day
from reduction.day_gm import GmCase, day_moments, gm_of_day
from reduction.floating import float_her
from reduction.inputs import DayInputs
from reduction.lightship.budget import linear
from reduction.lightship.model import Model, Quadratic, quadratic_of
from reduction.lightship.montecarlo import draws, intervals
from reduction.lightship.survey import gather
from reduction.water.hull import make_hull
from reduction.water.hydrostatics import FromOffsets
from reduction.water.tanks import liquids
from reduction.water.waterline import fit_waterline
from tests.examples_answer import LENGTH, TRUE_KG, example_inputs, offsets, plan, tables, true_afloat


def build(inputs: DayInputs) -> tuple[Model, GmCase]:
    p, t = inputs.plan, inputs.tables
    from reduction.water.density import water_density

    assert t.density is not None
    assert t.waterline is not None
    waterline, _ = fit_waterline(t.waterline, LENGTH, 0.0, water_density(t.density)[0])
    case = float_her(inputs, waterline, 1025.0)
    assert not isinstance(case, str)
    tanks = liquids(p.tanks, t)
    gm = gm_of_day(inputs, day_moments(inputs, waterline), case, tanks, waterline)
    assert isinstance(gm, GmCase)
    return Model.build(case.hull, gm.part, tanks, gather(p, t.survey, tanks)), gm


@pytest.fixture(scope="module")
def built() -> tuple[Model, GmCase]:
    return build(example_inputs())


def test_model_at_rest_is_the_fit(built: tuple[Model, GmCase]) -> None:
    model, gm = built
    out = model.evaluate(np.zeros((1, len(model.components))))
    assert out["gm"][0] == pytest.approx(gm.result.gm.value, rel=1e-9)


def test_gm_has_the_uncertainty_of_its_own_budget(built: tuple[Model, GmCase]) -> None:
    """Two derivations of u(GM), by the gains of the fit and by making the fit again, within 2 %."""
    model, gm = built
    found = linear(model)["gm"]
    assert found.u == pytest.approx(gm.result.gm.u, rel=0.02)


def test_straight_line_carried_too() -> None:
    inputs = example_inputs()
    settings = inputs.plan.settings.model_copy(update={"gm_carried": "line"})
    model, gm = build(dataclasses.replace(inputs, plan=inputs.plan.model_copy(update={"settings": settings})))
    assert gm.result.carried == "line"
    found = linear(model)["gm"]
    assert found.value == pytest.approx(gm.result.line.value, rel=1e-9)
    assert found.u == pytest.approx(gm.result.line.u, rel=0.02)


def test_linear_and_random_draws_agree_within_two_percent(built: tuple[Model, GmCase]) -> None:
    """The bar: half widths within 2 %, by 100 000 draws, in under 5 s."""
    model, _ = built
    by_gum = linear(model)
    start = time.perf_counter()
    drawn = intervals(draws(model, 100_000, seed=3), 0.95)
    assert time.perf_counter() - start < 5.0
    for name in ("displacement", "km", "gm", "kg", "lcg", "tcg", "mass", "vcg", "lightship_lcg", "lightship_tcg"):
        low, high = drawn[name]
        assert (high - low) / 2 == pytest.approx(by_gum[name].u95(), rel=0.02), name
        assert (high + low) / 2 == pytest.approx(by_gum[name].value, abs=0.03 * by_gum[name].u), name


def test_the_mass_of_a_weight_is_one_input(built: tuple[Model, GmCase]) -> None:
    model, _ = built
    keys = [c.key for c in model.components]
    assert keys.count("mass of weight 1") == 1
    assert not any(k.startswith("mass: test weights, test weight 1") for k in keys)


def test_draughts_reach_everything_together(built: tuple[Model, GmCase]) -> None:
    """A deeper draught: more displacement, less KM, less GM; KG moves by the difference."""
    model, _ = built
    z = np.zeros((2, len(model.components)))
    z[1, model.place["waterline 0"]] = 1.0
    out = model.evaluate(z)
    change = {name: values[1] - values[0] for name, values in out.items()}
    assert change["displacement"] > 0
    assert change["gm"] == pytest.approx(-out["gm"][0] * change["displacement"] / out["displacement"][0], rel=0.05)
    assert change["kg"] == pytest.approx(change["km"] - change["gm"], rel=0.02)


def test_kg_recovered_by_table_and_by_offsets() -> None:
    for source in ("table", "offsets"):
        p = plan(hydrostatics={"source": source, "displacement_u95_percent": 0.1, "km_u95_percent": 0.1})
        answer = reduce_day(dataclasses.replace(example_inputs(), plan=p))
        assert answer.as_inclined.value is not None
        kg = answer.as_inclined.value.kg
        assert abs(kg.value - TRUE_KG) < kg.u95()
        assert answer.displacement.value is not None
        true = FromOffsets(make_hull(offsets(), LENGTH)).at(true_afloat()).displacement
        assert answer.displacement.value.value == pytest.approx(true, rel=0.003)


def test_quadratic_surface_is_exact_for_quadratics() -> None:
    def f(z: np.ndarray) -> dict[str, float]:
        return {"f": float(3 + z[0] - 2 * z[1] + 0.5 * z[0] ** 2 + z[0] * z[1])}

    surface = quadratic_of(f, 2)["f"]
    points = np.array([[0.3, -0.7], [1.5, 2.0]])
    assert surface(points) == pytest.approx([f(p)["f"] for p in points], rel=1e-12)
    assert Quadratic.constant(2.0, 3)(np.ones((4, 3))) == pytest.approx(2.0)


def test_without_gm_the_survey_still_gives_mass_and_lcg() -> None:
    inputs = dataclasses.replace(example_inputs(), day=None)
    answer = reduce_day(inputs)
    light = answer.lightship.value
    assert light is not None
    assert light.mass.u > 0
    assert light.lcg.u > 0
    assert math.isnan(light.vcg.value)
    assert "vcg" in answer.missing
    assert "conditions" in answer.missing
    assert "could not be compared" in answer.headline
    bare = plan(vessel={"length_m": LENGTH, "breadth_m": 11.0})
    blind = reduce_day(dataclasses.replace(inputs, plan=bare))
    assert blind.lightship.value is not None
    assert math.isnan(blind.lightship.value.lcg.value)
    assert "lcg" in blind.missing


def test_a_plan_alone_says_what_is_missing() -> None:
    answer = reduce_day(DayInputs(Plan()))
    assert set(answer.missing) >= {"gm", "gm_line", "kg_m", "displacement_t", "lightship", "waterline"}
    assert answer.gm.value is None
    assert "no displacement" in answer.missing["displacement_t"]


def test_whole_reduction_in_under_two_seconds() -> None:
    inputs = example_inputs()
    start = time.perf_counter()
    reduce_day(inputs)
    assert time.perf_counter() - start < 2.0


def test_folder_without_offsets_uses_the_wall_sided_curve() -> None:
    inputs = example_inputs()
    answer = reduce_day(dataclasses.replace(inputs, tables=dataclasses.replace(tables(), offsets=None)))
    assert answer.gm.value is not None
    assert answer.gm.value.curve.value is not None
    assert answer.as_inclined.value is not None
    assert answer.as_inclined.value.kg.value == pytest.approx(TRUE_KG, abs=0.02)
