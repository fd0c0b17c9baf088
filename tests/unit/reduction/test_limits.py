"""No headline reads as a pass while something is missing or was decided rather than measured: one by one."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from config.plan import AllowableKg, Overrule, Vessel
from config.survey_table import parse_survey
from quietheel.commands.reduce import exit_code
from reduction.day import reduce_day
from reduction.inputs import DayInputs
from reduction.report.text import render_text
from reduction.types import Answer, Centre, Quantified
from reduction.verdict.criteria import deviations, judge, side_of
from tests.examples_answer import SURVEY, day, example_inputs, plan

SEEN = "\n".join(line for line in SURVEY.splitlines() if "not surveyed" not in line) + "\n"
VALUES = {"source": "values", "bm_m": 3.2, "km_m": 4.85, "km_u95_percent": 0.2}
GM_WANTED = {"limits": {"min_gm_m": 0.5}}
TYPED = {"displacement_t": 1150.0, "displacement_u95_t": 4.0, "length_m": 48.0, "breadth_m": 11.0}


def whole(**changes: Any) -> DayInputs:
    """A day with nothing missing: every space seen, no window spoilt; ``changes`` go into the plan."""
    inputs = example_inputs()
    tables = dataclasses.replace(inputs.tables, survey=parse_survey(SEEN))
    return dataclasses.replace(inputs, plan=plan(**changes), tables=tables, day=day(plan(), spoilt=False))


def without(inputs: DayInputs, **tables: Any) -> DayInputs:
    return dataclasses.replace(inputs, tables=dataclasses.replace(inputs.tables, **tables))


def with_windows(inputs: DayInputs, labels: tuple[str, ...]) -> DayInputs:
    made = inputs.day
    assert made is not None
    keep = [i for i, w in enumerate(made.windows) if w.span.label in labels]
    windows = tuple(made.windows[i] for i in keep)
    fewer = dataclasses.replace(made, windows=windows, covariance=made.covariance[:, keep][keep])
    return dataclasses.replace(inputs, day=fewer)


def judged_by_checks(inputs: DayInputs, verdict: str, labels: tuple[str, ...]) -> DayInputs:
    made = inputs.day
    assert made is not None
    windows = tuple(
        dataclasses.replace(w, verdict=verdict, reasons=("taut",)) if w.span.label in labels else w  # type: ignore[arg-type]
        for w in made.windows
    )
    return dataclasses.replace(inputs, day=dataclasses.replace(made, windows=windows))


def no_pass(answer: Answer, *words: str) -> None:
    """Neither outlook, headline, terminal nor exit code says that the limits are kept."""
    assert answer.outlook in ("not judged", "clear with reservations")
    text = render_text(answer, plan())
    assert "CLEAR OF THE LIMIT" not in text
    if answer.outlook == "not judged":
        assert "clear of the limit" not in answer.headline
        assert not answer.conditions
        assert "mend what is missing" in answer.next_step or answer.gm.value is None
    for word in words:
        assert word in answer.headline
    assert exit_code(answer) == 1


def test_nothing_missing_is_clear() -> None:
    answer = reduce_day(whole())
    assert answer.outlook == "clear"
    assert answer.reservations == ()
    assert exit_code(answer) == 0


def test_no_survey() -> None:
    answer = reduce_day(without(whole(), survey=None))
    no_pass(answer, "no survey.csv")
    assert "no survey.csv" in answer.missing["conditions"]


def test_a_survey_in_which_no_space_was_seen() -> None:
    rows = parse_survey("item,space,action\nforepeak store,forepeak,not surveyed\n")
    no_pass(reduce_day(without(whole(), survey=rows)), "no space has been surveyed")


def test_a_space_that_nobody_opened_is_a_reservation() -> None:
    no_pass(reduce_day(without(whole(), survey=parse_survey(SURVEY))), "not surveyed yet: forepeak")


def test_no_waterline() -> None:
    no_pass(reduce_day(without(whole(vessel=TYPED), waterline=None)), "no waterline.csv")


def test_no_waterline_and_typed_hydrostatics() -> None:
    no_pass(reduce_day(without(whole(vessel=TYPED, hydrostatics=VALUES), waterline=None)), "no waterline.csv")


def test_displacement_taken_as_given() -> None:
    bare = {k: v for k, v in TYPED.items() if k != "displacement_u95_t"}
    no_pass(reduce_day(whole(vessel=bare, hydrostatics=VALUES)), "the displacement has no interval")
    no_pass(reduce_day(whole(vessel=bare, hydrostatics=VALUES, **GM_WANTED)), "the displacement has no interval")


def test_typed_displacement_and_km_are_reservations() -> None:
    no_pass(reduce_day(whole(vessel=TYPED, hydrostatics=VALUES)), "displacement typed")
    bare = {k: v for k, v in VALUES.items() if k != "km_u95_percent"}
    no_pass(reduce_day(whole(vessel=TYPED, hydrostatics=bare)), "KM taken as given")
    answer = reduce_day(without(whole(vessel=TYPED, **GM_WANTED), waterline=None))
    no_pass(answer, "displacement typed")


def test_no_km() -> None:
    no_pass(reduce_day(whole(vessel=TYPED, hydrostatics={"source": "values", "bm_m": 3.2})), "KM is not known")


def test_no_displacement_at_all() -> None:
    answer = reduce_day(without(whole(vessel={"name": "Merrowby"}, hydrostatics=VALUES), waterline=None))
    assert answer.outlook == "not judged"
    assert "no result yet" in answer.headline
    assert exit_code(answer) == 1


def test_no_record() -> None:
    no_pass(reduce_day(dataclasses.replace(whole(), day=None)), "no record of heel")
    no_pass(reduce_day(dataclasses.replace(whole(**GM_WANTED), day=None)), "no record of heel")


def test_every_window_rejected() -> None:
    every = tuple("0123456789")
    no_pass(reduce_day(judged_by_checks(whole(), "rejected", every)), "rejected were used for want of others")
    no_pass(reduce_day(judged_by_checks(whole(**GM_WANTED), "rejected", every)), "rejected were used")


@pytest.mark.parametrize("labels", [("0", "1"), ("0", "1", "2")])
def test_too_few_windows(labels: tuple[str, ...]) -> None:
    no_pass(reduce_day(with_windows(whole(), labels)), f"GM rests on {len(labels)} windows")
    no_pass(reduce_day(with_windows(whole(**GM_WANTED), labels)), f"GM rests on {len(labels)} windows")


@pytest.mark.parametrize("verdict", ["fine", "rejected"])
def test_a_window_that_a_person_decided_on(verdict: str) -> None:
    spoilt = dataclasses.replace(
        judged_by_checks(whole(), "rejected", ("5",)),
        overrules=(Overrule(window="5", verdict=verdict, reason="seen from the quay", by="mate"),),  # type: ignore[arg-type]
    )
    word = "used" if verdict == "fine" else "left out"
    no_pass(reduce_day(spoilt), f"window 5 {word} by a person's decision")


def test_weights_without_an_interval() -> None:
    weights = [w.model_dump() | {"mass_u95_kg": None} for w in plan().weights]
    no_pass(reduce_day(whole(weights=weights)), "no interval of mass or position for weight 1, 2, 3, 4")


@pytest.mark.parametrize("u", [math.nan, math.inf, 0.0])
def test_an_interval_that_is_not_known_judges_nothing(u: float) -> None:
    condition = AllowableKg(name="departure", mass_t=100, vcg_m=3.0, allowable_kg_m=4.0)
    found = judge(condition, Quantified(1.0, u), 0.95)
    assert found.verdict == "not judged"
    assert math.isnan(found.probability_over)
    assert found.says.endswith("not judged.")
    assert side_of(math.nan, 0.1) == "not judged"


@pytest.mark.parametrize("u", [math.nan, 0.0])
def test_a_lightship_without_an_interval_is_not_within(u: float) -> None:
    lightship = {"mass_t": 1000.0, "vcg_m": 4.0, "lcg_m": 20.0}
    vessel = Vessel.model_validate({"type": "cargo", "length_m": 40.0, "lightship": lightship})
    centre = Centre(*(Quantified(v, u) for v in (1000e3, 4.0, 20.0, 0.0)))
    assert {d.verdict for d in deviations(centre, vessel, 0.95)} == {"too close to call"}


def test_infinite_covariance_of_the_day() -> None:
    inputs = whole()
    assert inputs.day is not None
    wide = dataclasses.replace(inputs.day, covariance=inputs.day.covariance * math.inf)
    answer = reduce_day(dataclasses.replace(inputs, day=wide))
    assert answer.outlook == "not judged"
    assert exit_code(answer) == 1


def test_over_a_limit_stands_whatever_else_is_missing() -> None:
    limits = {"min_gm_m": 9.0, "conditions": [c.model_dump() for c in plan().limits.conditions]}
    answer = reduce_day(without(whole(limits=limits), survey=None))
    assert answer.outlook == "over"
    assert "conditions" in answer.missing
