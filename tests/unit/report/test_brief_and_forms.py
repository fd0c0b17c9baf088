"""The master's brief and the forms to write on."""

import math
import re
from dataclasses import replace

import pytest

from config.plan import Plan
from config.survey_table import COLUMNS
from reduction.report import print_html, print_pdf
from reduction.report.brief import brief, brief_html, brief_pdf, expected_heels
from reduction.report.document import Bullets, Table
from reduction.report.forms import CALLS, pendulum_form, roll_call, survey_form
from reduction.report.survey_page import survey_html


def pages_of(pdf: bytes) -> int:
    counts = re.findall(rb"/Type\s*/Pages[^>]*?/Count\s+(\d+)|/Count\s+(\d+)[^>]*?/Type\s*/Pages", pdf)
    return max(int(a or b) for a, b in counts)


def crowded(plan: Plan) -> Plan:
    """Twelve people, eight lines, ten steps: about the most a test has."""
    people = tuple(plan.people[n % len(plan.people)] for n in range(12))
    lines = tuple(plan.moorings[n % len(plan.moorings)] for n in range(8))
    schedule = tuple(plan.schedule[n % len(plan.schedule)] for n in range(10))
    return plan.model_copy(update={"people": people, "moorings": lines, "schedule": schedule})


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_brief_has_two_pages(plan: Plan, paper) -> None:
    assert pages_of(brief_pdf(plan, paper=paper)) == 2
    assert pages_of(brief_pdf(crowded(plan), paper=paper)) == 2
    assert pages_of(brief_pdf(Plan(), paper=paper)) == 2


def test_the_brief_says_what_the_master_needs(plan: Plan) -> None:
    page = re.sub(r"\s+", " ", brief_html(plan))
    for words in (
        "A month before",
        "A week before",
        "The day before",
        "On the day",
        "boatswain",
        "engine-room spares",
        "Cabins: agree with each person",
        "extra-long mooring lines",
        "hang to the water",
        "waterline, or a tug",
        "yard toilets, hut 4",
        "food van on the quay",
        "stands for every reading at",
        "gangway out",
        "crane stowed",
        "1.8° to starboard",
        "Loads overhead",
        "Slack lines",
        "adrift",
        "Tanks and closed spaces",
        "Man overboard",
        "Stop and put the weights back",
        "from memory",
    ):
        assert words in page, words


def test_heels_of_the_brief_by_hand(plan: Plan) -> None:
    heels = expected_heels(plan)
    # Weights 2 and 4 to starboard move 2.51 + 2.53 t by 8.4 m.
    moment = (2.51 + 2.53) * 8.4
    assert math.degrees(heels["2"]) == pytest.approx(math.degrees(math.atan(moment / (1150 * 1.2))), rel=1e-6)
    assert heels["0"] == heels["4"] + (heels["0"] - heels["4"])
    assert heels["6"] < 0 < heels["2"]


def test_forms_have_room_for_every_window_and_person(plan: Plan) -> None:
    roll = roll_call(plan)
    tables = [b for b in roll.sections[0].blocks if isinstance(b, Table)]
    assert [row[0] for row in tables[0].rows][: len(plan.people)] == [p.name for p in plan.people]
    assert len(tables[0].columns) == 3 + 9
    assert [row[0] for row in tables[1].rows][: len(CALLS)] == list(CALLS)
    swings = next(b for b in pendulum_form(plan).sections[0].blocks if isinstance(b, Table))
    assert [row[0] for row in swings.rows] == [str(n) for n in range(9)]
    assert "4.500 m" in print_html(pendulum_form(plan))


def test_survey_form_is_one_page_a_space(plan: Plan) -> None:
    made = survey_form(plan, ("Forecastle", "Engine room", "Void 4"))
    for paper in ("a4", "letter"):
        assert pages_of(print_pdf(made, paper=paper)) == 3
    # And it fills the page: five lines more run over on A4, the longer sheet.
    longer = []
    for section in made.sections:
        blocks = [replace(b, rows=b.rows + b.rows[:5]) if isinstance(b, Table) else b for b in section.blocks]
        longer.append(replace(section, blocks=tuple(blocks)))
    assert pages_of(print_pdf(replace(made, sections=tuple(longer)), paper="a4")) == 6
    boxes = [b for s in made.sections for b in s.blocks if isinstance(b, Bullets)]
    assert all("not opened, because:" in b.items for b in boxes)
    assert len(survey_form(plan).sections) >= 10


def test_masses_are_in_tonnes_on_paper_on_the_tablet_and_in_the_table(plan: Plan) -> None:
    form = survey_form(plan, ("Forecastle",))
    table = next(block for block in form.sections[0].blocks if isinstance(block, Table))
    titles = [column.title for column in table.columns]
    assert {"mass, t", "give or take, t"} <= set(titles)
    assert not any("kg" in title for title in titles)
    assert "12.5 kg is 0.0125 t" in " ".join(block.text for block in form.front)
    page = survey_html(plan, ("Forecastle",))
    assert "mass, t" in page
    assert "mass, kg" not in page


def test_survey_page_carries_every_column_of_the_table_and_no_hostile_markup(plan: Plan) -> None:
    page = survey_html(plan, ("</body><script>alert(1)</script>",))
    assert page.count("<script") == 1 and "alert(1)</script>" not in page
    for column in COLUMNS:
        assert f"&#34;name&#34;: &#34;{column.name}&#34;" in page
    assert "http" not in page.replace("http-equiv", "")


def test_an_empty_plan_gives_blanks_to_fill(plan: Plan) -> None:
    for made in (brief(Plan()), roll_call(Plan()), pendulum_form(Plan()), survey_form(Plan())):
        assert "________" in print_html(made)
        assert print_pdf(replace(made, title="x")).startswith(b"%PDF")
