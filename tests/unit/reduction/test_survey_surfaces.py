"""Free surface typed in survey.csv: bilge water and the like that was aboard during the test is in KG and lightship."""

import dataclasses

import pytest

from config.survey_table import parse_survey
from reduction.day import reduce_day
from reduction.types import Answer, AsInclined
from tests.examples_answer import SURVEY, example_inputs

HEAD = "item,action,mass_t,x_m,y_m,z_m,mass_u95_t,position_u95_m,free_surface_tm\n"


def with_survey(*lines: str) -> Answer:
    inputs = example_inputs()
    seen = (*(parse_survey(SURVEY)), *(parse_survey(HEAD + "\n".join(lines) + "\n") if lines else ()))
    return reduce_day(dataclasses.replace(inputs, tables=dataclasses.replace(inputs.tables, survey=seen)))


def inclined(answer: Answer) -> AsInclined:
    assert answer.as_inclined.value is not None
    return answer.as_inclined.value


def test_bilge_water_lowers_kg_by_its_moment_over_displacement() -> None:
    dry = inclined(with_survey("bilge water,off,2.0,20,0,0.5,0.1,0.1,0"))
    answer = with_survey("bilge water,off,2.0,20,0,0.5,0.1,0.1,23.0")
    wet = inclined(answer)
    assert wet.free_surface.value - dry.free_surface.value == pytest.approx(23.0e3)
    assert dry.kg.value - wet.kg.value == pytest.approx(23.0e3 / dry.displacement.value, rel=1e-6)
    assert wet.free_surface.u > dry.free_surface.u
    assert any("bilge water" in note and "23 t m" in note for note in answer.assumptions)
    slack = next(a for a in answer.advice if a.code == "slack tanks")
    assert "bilge water (survey)" in slack.says
    assert answer.monte_carlo.value is not None
    low, high = answer.monte_carlo.value["kg"]
    assert (low + high) / 2 == pytest.approx(wet.kg.value, abs=0.05 * wet.kg.u)


def test_what_goes_on_afterwards_had_no_free_surface_during_the_test() -> None:
    dry = inclined(with_survey())
    answer = with_survey("service tank contents,on,2.0,20,0,0.5,0.1,0.1,23.0")
    assert inclined(answer).free_surface.value == pytest.approx(dry.free_surface.value)
    assert any("service tank contents" in note and "not counted" in note for note in answer.assumptions)


def test_one_item_heavier_than_all_surplus_may_be_is_told() -> None:
    answer = with_survey("cement box,off,400,20,0,1,1,0.2,")
    said = [a for a in answer.advice if a.code == "heavy items"]
    assert len(said) == 1
    assert "cement box (400 t" in said[0].says
    assert said[0].met is False
    assert not [a for a in with_survey().advice if a.code == "heavy items"]
