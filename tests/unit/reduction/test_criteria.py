"""Limits, deviations, advice and the words of the answer."""

from __future__ import annotations

import dataclasses
import json
import math

import pytest

from config.plan import AllowableKg, Vessel
from reduction.answer_json import answer_json
from reduction.day import reduce_day
from reduction.inputs import DayInputs
from reduction.moments import Shift
from reduction.types import Answer, Centre, Quantified
from reduction.verdict.criteria import chance, deviations, judge, outlook, solas_mass_percent, threshold_of
from tests.examples_answer import day, example_answer, example_inputs, minimal_answer, plan

CONDITION = AllowableKg(name="departure", mass_t=100, vcg_m=3.0, allowable_kg_m=4.0)


@pytest.fixture(scope="module")
def answer() -> Answer:
    return example_answer()


@pytest.mark.parametrize(
    ("kg", "u", "verdict", "over"),
    [
        (3.9, 0.01, "clear", 0.0),
        (4.1, 0.01, "over", 1.0),
        (3.99, 0.01, "too close to call", 0.1587),
        (4.0, 0.01, "too close to call", 0.5),
        (3.98, 0.01, "clear", 0.0228),
    ],
)
def test_a_condition_is_clear_over_or_too_close_to_call(kg: float, u: float, verdict: str, over: float) -> None:
    found = judge(CONDITION, Quantified(kg, u), 0.95)
    assert found.verdict == verdict
    assert found.probability_over == pytest.approx(over, abs=1e-3)
    assert "4.000 m allowed" in found.says
    assert f"the chance of being over is {chance(found.probability_over)}." in found.says


def test_confidence_moves_the_line() -> None:
    assert judge(CONDITION, Quantified(3.98, 0.01), 0.99).verdict == "too close to call"


def test_the_outlook_is_that_of_the_worst_condition() -> None:
    assert outlook([]) == "no limit given"
    assert outlook(["clear", "over", "too close to call"]) == "over"


@pytest.mark.parametrize(
    ("kind", "length", "mass", "lcg"),
    [
        ("cargo", 105.0, 1.5, 0.5),
        ("passenger", 80.0, 2.0, 1.0),
        ("fishing", 20.0, 3.0, 1.0),
        ("tug", 30.0, 2.0, 1.0),
        ("high_speed", 30.0, 2.0, 1.0),
        ("offshore", 48.0, 2.0, 0.5),
    ],
)
def test_thresholds_by_type(kind: str, length: float, mass: float, lcg: float) -> None:
    found = threshold_of(Vessel.model_validate({"type": kind, "length_m": length}))
    assert found is not None
    assert (found.mass_percent, found.lcg_percent) == (mass, lcg)
    assert found.source


@pytest.mark.parametrize(("mass", "verdict"), [(1010.0, "within"), (1040.0, "beyond"), (1019.0, "too close to call")])
def test_deviation_of_mass(mass: float, verdict: str) -> None:
    lightship = {"mass_t": 1000.0, "vcg_m": 4.0, "lcg_m": 20.0, "source": "sister"}
    vessel = Vessel.model_validate({"type": "cargo", "length_m": 40.0, "lightship": lightship})
    one = Quantified(4.0, 0.005)
    centre = Centre(Quantified(mass * 1e3, 1500.0), one, Quantified(20.0, 0.01), Quantified(0.0, 0.01))
    found = {d.what: d for d in deviations(centre, vessel, 0.95)}
    assert solas_mass_percent(40.0) == 2.0
    assert found["lightship mass"].verdict == verdict
    assert "sister" in found["lightship mass"].says
    assert found["LCG"].verdict == "within"
    assert found["VCG"].threshold == 1.0


def test_answer_reads_well(answer: Answer) -> None:
    assert answer.headline.startswith("Merrowby stability test: GM 1.1")
    assert "Preliminary until the authority accepts it." in answer.headline
    assert answer.outlook == "clear with reservations"
    assert "with reservations (not surveyed yet: forepeak)" in answer.headline
    assert not answer.missing
    assert answer.next_step


def test_close_to_the_limit_says_what_would_settle_it() -> None:
    inputs = example_inputs()
    vcg = example_answer().conditions[1].kg.value
    limits = {"conditions": [{"name": "arrival", "mass_t": 150.0, "vcg_m": 3.6, "free_surface_tm": 45.0}]}
    limits["conditions"][0]["allowable_kg_m"] = vcg + 0.002
    precise = {"source": "table", "displacement_u95_percent": 0.0, "km_u95_percent": 0.0}
    close = reduce_day(dataclasses.replace(inputs, plan=plan(limits=limits, hydrostatics=precise)))
    assert close.outlook == "too close to call"
    assert "To settle arrival" in close.next_step
    assert "carries most of its interval" in close.next_step
    limits["conditions"][0]["allowable_kg_m"] = vcg - 0.5
    over = reduce_day(dataclasses.replace(inputs, plan=plan(limits=limits)))
    assert over.outlook == "over"
    assert "the authority" in over.next_step


def test_advice_of_the_day(answer: Answer) -> None:
    found = {a.code: a for a in answer.advice}
    assert found["heel"].met
    assert found["initial heel"].met
    assert not found["spoilt windows"].met
    assert "3, 6" in found["spoilt windows"].says
    assert not found["misread"].met
    assert "forward port" in found["misread"].says
    assert not found["spaces"].met
    assert "forepeak" in found["spaces"].says
    assert found["missing weights"].met
    assert found["surplus weights"].met
    assert found["deflection"].met
    assert all(a.source and a.status in ("read", "from memory", "common practice") for a in answer.advice)


def test_departure_on_record() -> None:
    inputs = example_inputs()
    departures = [{"check": "spoilt windows", "reason": "repeated next tide", "by": "coordinator"}]
    answer = reduce_day(dataclasses.replace(inputs, plan=plan(departures=departures)))
    found = {a.code: a for a in answer.advice}
    assert found["spoilt windows"].departure == "repeated next tide (coordinator)"
    assert found["heel"].departure == ""


def test_one_station_is_counted_in_the_singular() -> None:
    inputs = dataclasses.replace(example_inputs(), plan=plan(stations=[{"name": "aft", "position_m": (6.0, 0.0, 6.5)}]))
    found = {a.code: a.says for a in reduce_day(inputs).advice}
    assert found["stations"].startswith("1 heel station; ")


def test_people_who_changed_place_are_advised_and_counted() -> None:
    inputs = example_inputs()
    shift = Shift("mate to the aft deck", "people", 75.0, (30, 0, 9), (6, -3, 6), ("5",))
    answer = reduce_day(dataclasses.replace(inputs, shifts=(shift,)))
    found = {a.code: a for a in answer.advice}
    assert found["people"].met is False
    assert answer.gm.value is not None
    moments = {p.label: p.moment for p in answer.gm.value.points}
    assert moments["5"] == pytest.approx(-40e3 - 225.0)


def test_json_keys_and_nulls(answer: Answer) -> None:
    whole = answer_json(answer)
    text = json.dumps(whole, allow_nan=False)
    read = json.loads(text)
    assert set(read["gm"]) == {"value_m", "u95_m", "method"}
    assert set(read["gm_line"]) == {"value_m", "u95_m"}
    for key in ("kg_m", "displacement_t"):
        assert set(read[key]) == {"value", "u95"}
    for key in ("mass_t", "vcg_m", "lcg_m", "tcg_m"):
        assert set(read["lightship"][key]) == {"value", "u95"}
    window = read["windows"][3]
    fixed = {"label", "start", "stop", "moment_tm", "heel_deg", "u95_deg", "verdict", "reasons", "because"}
    assert fixed <= set(window)
    assert (window["verdict"], window["reasons"]) == ("rejected", ["people"])
    assert window["start"].endswith("Z")
    assert read["missing"] == {}


def test_json_of_the_least_plan() -> None:
    read = json.loads(json.dumps(answer_json(minimal_answer()), allow_nan=False))
    assert read["gm"]["value_m"] == pytest.approx(1.168, abs=0.002)
    assert read["gm"]["u95_m"] > 0
    assert read["displacement_t"] == {"value": 1150.0, "u95": None}
    assert "displacement_u95_t" in read["missing"]["displacement_u95"]
    assert read["kg_m"] is None
    assert read["lightship"] == {"mass_t": None, "vcg_m": None, "lcg_m": None, "tcg_m": None}
    assert {"kg_m", "lightship"} <= set(read["missing"])
    assert any("Displacement was taken as given" in a for a in read["assumptions"])


def test_assumed_interval_of_a_typed_displacement() -> None:
    base = plan(
        vessel={"displacement_t": 1150.0},
        hydrostatics={"source": "values", "bm_m": 3.2, "km_m": 4.85},
        settings={"assumed_displacement_u95_percent": 0.5, "monte_carlo_draws": 0},
        tanks=[],
    )
    answer = reduce_day(DayInputs(base, day(plan(), spoilt=False)))
    assert answer.displacement.value is not None
    assert answer.displacement.value.u95() == pytest.approx(1150e3 * 0.005, rel=1e-6)
    assert answer.as_inclined.value is not None
    gm = answer.as_inclined.value.gm_fluid
    assert gm.u95() > 0.005 * gm.value * 0.95
    assert math.isfinite(answer.as_inclined.value.kg.u)
    assert answer.monte_carlo.value is None
    assert "fewer" in answer.monte_carlo.reason
