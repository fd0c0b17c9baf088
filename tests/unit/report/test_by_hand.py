"""What a surveyor works out again by hand stands in the report: shifts, moments, free surface, limits, marks' zeros."""

import dataclasses
import math
import re

import pytest

from config.plan import Plan
from config.shifts_table import parse_shifts
from config.survey_table import parse_survey
from config.tables import Tables
from dsp.types import BudgetLine, StationHeel
from logger.events import Event
from reduction.day import reduce_day
from reduction.report.alone_part import alone_table, line_alone
from reduction.report.compose import sections
from reduction.report.data_summary import data_summary
from reduction.report.document import Paragraph, Section, Table, plain
from reduction.report.first_page import standing_in_words, window_sentence, windows_in_words
from reduction.report.hull_part import readings_table, waterline_facts
from reduction.report.lightship_part import spaces_table, steps_table
from reduction.report.limits_part import limits_section
from reduction.report.marks_part import voided_in_words
from reduction.report.method_part import budget_section
from reduction.report.plan_part import tanks_section, weights_section
from reduction.report.text import render_text
from reduction.types import Answer, Maybe
from reduction.verdict.limits import gm_wanted
from tests.examples_answer import example_inputs
from tests.examples_answer import plan as merrowby

SHIFTS = (
    "what,group,windows,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m,mass_u95_t,position_u95_m\n"
    "jib off its rest,crane,2,1.5,20,0,8,20,2,8,0.05,0.1\n"
    "gangway watch,people,2 9,0.08,,,,10,-3,6,0.01,0.2\n"
)


def number(cell: object) -> float:
    text = re.split(r"\s|\N{NO-BREAK SPACE}", plain(cell).replace("−", "-"))[0]  # type: ignore[arg-type]
    return float(text) if text not in ("–", "") else math.nan


def table(section: Section | None, caption: str) -> Table:
    assert section is not None
    return next(b for b in section.blocks if isinstance(b, Table) and b.caption == caption)


def reduced(*, shifts: str = "", **changes: object) -> tuple[Answer, Plan, Tables]:
    inputs = example_inputs()
    tables = inputs.tables
    if shifts:
        tables = dataclasses.replace(tables, shifts=parse_shifts(shifts))
    made = merrowby(**changes)
    return reduce_day(dataclasses.replace(inputs, plan=made, tables=tables)), made, tables


def test_what_shifted_stands_beside_the_moments_of_the_weights() -> None:
    answer, plan, tables = reduced(shifts=SHIFTS)
    section = weights_section(answer, plan, tables)
    steps = table(section, "Movements")
    for row in steps.rows:
        own, shifted, whole = (number(c) for c in row[-3:])
        assert (0.0 if math.isnan(shifted) else shifted) + own == pytest.approx(whole, abs=2e-3)
    assert [plain(row[0]) for row in steps.rows if not math.isnan(number(row[-2]))] == ["2"]
    rows = table(section, "What stood elsewhere in some windows").rows
    assert [number(row[-1]) for row in rows] == pytest.approx([3.0, -0.24])
    assert plain(rows[1][4]) == "not aboard"
    quiet, plan, tables = reduced()
    assert len(table(weights_section(quiet, plan, tables), "Movements").columns) == 3


def test_a_shift_in_a_window_that_is_not_there_is_told() -> None:
    answer, _, _ = reduced(shifts=SHIFTS)
    said = [note for note in answer.assumptions if "changes nothing there" in note]
    assert len(said) == 1
    assert "gangway watch" in said[0]
    assert "line 3" in said[0]
    assert "window 9" in said[0]


def test_masses_and_moments_add_up_to_the_lightship() -> None:
    answer, _, _ = reduced()
    steps = steps_table(answer)
    light = answer.lightship.value
    assert steps is not None
    assert light is not None
    for column in (1, 3, 5, 7):
        assert sum(number(row[column]) for row in steps.rows) == pytest.approx(number(steps.total[column]), abs=0.05)
    mass, vertical, lengthwise, transverse = (number(steps.total[c]) for c in (1, 3, 5, 7))
    assert mass == pytest.approx(light.mass.value / 1e3, abs=1e-3)
    assert vertical / mass == pytest.approx(light.vcg.value, abs=1e-4)
    assert lengthwise / mass == pytest.approx(light.lcg.value, abs=1e-4)
    assert transverse / mass == pytest.approx(light.tcg.value, abs=1e-4)


def test_free_surface_of_every_tank_adds_up() -> None:
    day_tank = merrowby().tanks[0].model_dump()
    gear = day_tank | {"name": "steering oil", "part_of": "lightship", "mass_t": 0.4}
    stays = day_tank | {"name": "water stays", "part_of": "to_stay", "mass_t": 3.0}
    answer, plan, tables = reduced(tanks=[day_tank, gear, stays])
    rows = table(tanks_section(answer, plan, tables), "Tanks during the test").rows
    whole = answer.as_inclined.value
    assert whole is not None
    assert sum(number(row[6]) for row in rows) == pytest.approx(whole.free_surface.value / 1e3, abs=0.02)
    assert [plain(row[7]) for row in rows] == ["to come off", "lightship", "stays, in the lightship"]
    assert any("water stays (3 t) stay" in note for note in answer.assumptions)


def test_kg_of_a_condition_can_be_worked_out_again() -> None:
    answer, plan, _ = reduced()
    light = answer.lightship.value
    assert light is not None
    rows = table(limits_section(answer, plan), "What the conditions are made of").rows
    assert len(rows) == len(answer.conditions) > 0
    for row, condition in zip(rows, answer.conditions, strict=True):
        deadweight, height, surface, displacement = (number(c) for c in row[1:])
        moment = light.mass.value / 1e3 * light.vcg.value + deadweight * height + surface
        assert moment / displacement == pytest.approx(condition.kg.value, abs=1e-4)


@pytest.mark.parametrize(("least", "verdict"), [(0.3, "clear"), (9.0, "over"), (0.0, "too close to call")])
def test_the_smallest_gm_wanted_is_in_the_report_and_in_what_comes_next(least: float, verdict: str) -> None:
    gm = reduced()[0].gm.value
    assert gm is not None
    answer, plan, _ = reduced(limits={"min_gm_m": least or gm.gm.value})
    wanted = gm_wanted(answer, plan)
    assert wanted is not None
    assert wanted[0] == verdict
    section = limits_section(answer, plan)
    assert section is not None
    assert Paragraph(wanted[1]) in section.blocks
    if verdict != "clear":
        assert "GM" in answer.next_step
        assert "VCG" not in answer.next_step
    assert gm_wanted(answer, merrowby()) is None


def test_each_reading_says_where_it_starts() -> None:
    answer, _, tables = reduced()
    water = answer.waterline.value
    assert water is not None
    assert tables.waterline is not None
    for row, read, typed in zip(readings_table(water).rows, water.readings, tables.waterline, strict=True):
        sign = 1.0 if read.kind == "draught" else -1.0
        assert number(row[5]) + sign * number(row[4]) == pytest.approx(read.waterline_z, abs=1.1e-3)
        if typed.kind == "freeboard":
            assert typed.zero_z_m is not None
            assert number(row[5]) == pytest.approx(typed.zero_z_m + typed.plate_mm / 1e3, abs=1e-3)


def test_a_hog_within_its_interval_is_not_called_one() -> None:
    answer, _, _ = reduced()
    water = answer.waterline.value
    assert water is not None
    small = dataclasses.replace(water, hog=dataclasses.replace(water.hog, value=-0.5 * water.hog.u95()))
    large = dataclasses.replace(water, hog=dataclasses.replace(water.hog, value=-5.0 * water.hog.u95()))
    assert any("neither hog nor sag" in name for name, _ in waterline_facts(small, 0.95))
    assert any("sagged" in name for name, _ in waterline_facts(large, 0.95))


def test_nobody_has_seen_a_space_that_was_not_surveyed() -> None:
    text = "item,space,action,surveyed_by\nto be opened,chain locker,not surveyed,surveyor\n"
    row = spaces_table(parse_survey(text)).rows[0]
    assert plain(row[4]) == "–"
    assert plain(row[5]) == "to be opened"


def test_the_first_page_names_what_a_verdict_rests_on_beside_measurements() -> None:
    answer, plan, _ = reduced()
    told = dataclasses.replace(answer, outlook="too close to call", reservations=("not surveyed yet: forepeak",))
    assert any("not surveyed yet: forepeak" in line for line in standing_in_words(told, plan, "preliminary"))
    passed = dataclasses.replace(told, outlook="clear with reservations")
    assert not any("forepeak" in line for line in standing_in_words(passed, plan, "preliminary"))


def test_sections_take_the_tables(answer: Answer, traces, plan: Plan) -> None:  # type: ignore[no-untyped-def]
    made = sections(answer, traces, plan, "preliminary", (), Tables(shifts=parse_shifts(SHIFTS)))
    section = next(s for s in made if s.key == "weights")
    assert table(section, "What stood elsewhere in some windows").rows


def test_a_line_of_one_station_gives_back_the_gm_put_in() -> None:
    moment = [m * 1e3 for m in (-80.0, -40.0, 0.0, 40.0, 80.0)]
    heel = [math.atan(m / (1.2e6 * 1.1)) + 0.003 for m in moment]
    found = line_alone(moment, heel, [1e-4] * 5, 1.2e6)
    assert found is not None
    assert found[0] == pytest.approx(1.1, rel=2e-4)
    assert line_alone([1.0, 1.0, 1.0], [0.1, 0.2, 0.3], [1e-4] * 3, 1.0) is None
    assert line_alone([1.0, 2.0], [0.1, 0.2], [1e-4] * 2, 1.0) is None


def test_a_station_with_a_wrong_scale_stands_off_the_others_in_the_table() -> None:
    answer, _, _ = reduced()
    assert answer.day is not None
    names = ("aft", "forward", "plumb line")
    windows = tuple(
        dataclasses.replace(
            w,
            stations=tuple(
                StationHeel(n, w.heel * (1.02 if n == "plumb line" else 1.0), 1e-4, 0.0, 10, 1.0, n != "plumb line")
                for n in names
            ),
        )
        for w in answer.day.windows
    )
    made = dataclasses.replace(answer, day=dataclasses.replace(answer.day, windows=windows))
    assert answer.displacement.value is not None
    alone = alone_table(made, answer.displacement.value.value)
    assert alone is not None
    against = {plain(row[0]): number(row[3]) for row in alone.rows}
    assert against["aft"] == pytest.approx(0.0, abs=0.01)
    assert against["plumb line"] == pytest.approx(-2.0, abs=0.1)
    assert alone_table(dataclasses.replace(answer, day=None), 1e6) is None


def test_a_crane_confirmed_as_stowed_and_noted_off_its_rest_is_told() -> None:
    inputs = example_inputs()
    assert inputs.day is not None
    answer, _, _ = reduced(shifts=SHIFTS)
    stowed = any("crane" in w.span.confirmed for w in inputs.day.windows if w.span.label == "2")
    windows = tuple(
        dataclasses.replace(w, span=dataclasses.replace(w.span, confirmed=frozenset({"crane"})))
        for w in inputs.day.windows
    )
    told = reduce_day(
        dataclasses.replace(
            inputs,
            day=dataclasses.replace(inputs.day, windows=windows),
            tables=dataclasses.replace(inputs.tables, shifts=parse_shifts(SHIFTS)),
        )
    )
    assert [a.code for a in answer.advice].count("crane") == int(stowed)
    said = [a.says for a in told.advice if a.code == "crane"]
    assert len(said) == 1
    assert "window 2" in said[0]


def test_what_narrows_gm_is_what_is_behind_the_displacement() -> None:
    answer, _, _ = reduced()
    gm, displacement = answer.gm.value, answer.displacement.value
    assert gm is not None
    assert displacement is not None
    line = (BudgetLine("displacement", 1.0),)
    of_tables = dataclasses.replace(displacement, budget=(BudgetLine("hydrostatics: displacement", 1.0),))
    made = dataclasses.replace(
        answer,
        gm=Maybe(dataclasses.replace(gm, gm=dataclasses.replace(gm.gm, budget=line))),
        displacement=Maybe(of_tables),
    )
    note = table(budget_section(made), "Budget of GM").note
    assert "get hydrostatics of better known accuracy" in note
    assert "read draughts" not in note


def test_a_window_left_out_by_a_person_says_so() -> None:
    answer, plan, _ = reduced()
    gm = answer.gm.value
    assert gm is not None
    clean = next(p for p in gm.points if p.used and not p.reasons)
    point = dataclasses.replace(clean, verdict="rejected", used=False, overruled="rigger crossed the deck (mate)")
    said = window_sentence(point, plan)
    assert "by a person's decision" in said
    assert "no reason" not in said


def test_a_window_voided_by_a_person_is_told_wherever_the_windows_are() -> None:
    at = 1_936_512_000_000_000_000
    marks = (
        Event(1, at, "window_open", "mate", {"window": "0"}),
        Event(2, at + 10**11, "window_close", "mate", {"window": "0"}),
        Event(3, at + 2 * 10**11, "void", "mate", {"window": "0", "reason": "aft breast line seen taut"}),
    )
    answer, plan, _ = reduced()
    said = voided_in_words(marks, plan)
    assert len(said) == 1
    assert "Window 0" in said[0]
    assert "mate: aft breast line seen taut" in said[0]
    assert said[0] in windows_in_words(answer, plan, said)
    assert "aft breast line seen taut" in " ".join(render_text(answer, plan, events=marks).split())
    basis = data_summary(answer, plan, marks).sections[0]
    assert Paragraph(said[0]) in basis.blocks
    assert voided_in_words(marks[:2], plan) == ()
