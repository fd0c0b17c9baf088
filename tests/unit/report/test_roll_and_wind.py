"""What the report says of the natural roll and of the wind that was taken off the heels."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from config.plan import Plan
from dsp.types import DayHeel, RollComparison, RollMethod, RollMotion
from reduction.answer_json import answer_json
from reduction.report import Traces
from reduction.report.annex_part import confirmations_table
from reduction.report.data_summary import basis
from reduction.report.document import Figure, Paragraph, Section, Table
from reduction.report.heel_part import windows_section
from reduction.report.spectrum_part import change_in_words, roll_in_words, spectrum_section
from reduction.report.wind_part import wind_in_words
from reduction.types import Answer, Quantified

NAN = float("nan")
COMPARED = RollComparison(
    methods=(
        RollMethod("likelihood", 8.31, 0.03, 0.02, 0.003),
        RollMethod("decaying cosine", 8.36, 0.05, 0.011, 0.0004),
        RollMethod("spectrum", 8.9, 0.1, NAN, NAN),
    ),
    agree=False,
    drift=-0.2,
    drift_u=0.05,
    says="Roll period 8.31 s; spectrum says 8.90 s: look at the spectrum.",
)


def plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


def paragraphs(section: Section) -> str:
    return plain(" ".join(b.text for b in section.blocks if isinstance(b, Paragraph)))


def heel_of(answer: Answer) -> DayHeel:
    assert answer.day is not None
    return answer.day


def test_the_annex_holds_the_methods_against_each_other(answer: Answer) -> None:
    section = spectrum_section(replace(answer, day=replace(heel_of(answer), roll_comparison=COMPARED)))
    assert section is not None
    table = next(b for b in section.blocks if isinstance(b, Table))
    assert [[plain(str(cell)) for cell in row[:3]] for row in table.rows] == [
        ["period by period", "8.310 ± 0.059", "2.00 ± 0.59"],
        ["decaying cosine", "8.360 ± 0.098", "1.1"],
        ["spectrum", "8.90 ± 0.20", "–"],
    ]
    assert all(row[3] for row in table.rows)
    said = paragraphs(section)
    assert "Natural roll period 8.310 ± 0.059 s, damping 2.00 ± 0.59 % of critical" in said
    assert "spectrum says 8.90 s: look at the spectrum." in said
    assert "through the day: −0.200 ± 0.098 s per hour." in said


def test_without_a_comparison_the_period_stands_alone(answer: Answer) -> None:
    section = spectrum_section(answer)
    assert section is not None
    assert [type(b) for b in section.blocks] == [Figure, Paragraph]
    nothing = RollMotion(NAN, NAN, NAN, NAN, 0.0)
    assert roll_in_words(nothing, 0.95) == "No roll made out."
    unknown = spectrum_section(replace(answer, day=replace(heel_of(answer), roll=nothing)))
    assert unknown is not None and "No roll made out." in paragraphs(unknown)


def test_a_change_within_its_interval_may_be_none() -> None:
    assert "+0.200 ± 0.098 s per hour." in plain(change_in_words(replace(COMPARED, drift=0.2), 0.95))
    assert change_in_words(replace(COMPARED, drift=0.09), 0.95).endswith("; that may be none.")
    assert "cannot be told" in change_in_words(replace(COMPARED, drift=NAN, drift_u=NAN), 0.95)


def test_the_data_summary_tells_period_and_damping(answer: Answer, plan: Plan) -> None:
    said = plain(" ".join(b.text for b in basis(answer, plan) if isinstance(b, Paragraph)))
    assert "Natural roll period 8.310 ± 0.059 s, damping 2.00 ± 0.59 % of critical" in said


def test_wind_taken_off_is_told_window_by_window(answer: Answer, traces: Traces, plan: Plan) -> None:
    day = heel_of(answer)
    off = tuple(replace(w, wind_correction=math.radians(0.001 * k)) for k, w in enumerate(day.windows))
    day = replace(day, windows=off)
    table = confirmations_table(day)
    assert table.columns[-1].title == "wind, 0.001 deg"
    assert [row[-1] for row in table.rows] == ["–", *(f"{k}.0" for k in range(1, len(off)))]
    assert "3.1 m/s from abeam" in table.note
    said = paragraphs(windows_section(replace(answer, day=day), traces, plan))
    # rad per (m/s)^2 -> deg at 10 m/s: 2e-6 * 100 * 180 / pi = 0.01146
    assert "pushes as 3.1 m/s from abeam" in said
    assert "A steady 10 m/s from abeam is taken to heel her by 0.0115 ± 0.0034 deg" in said


@pytest.mark.parametrize("shown", ["table", "section"])
def test_without_wind_nothing_is_said_of_it(answer: Answer, traces: Traces, plan: Plan, shown: str) -> None:
    day = replace(heel_of(answer), wind_coefficient=NAN, wind_coefficient_u=NAN, reference_wind=NAN)
    if shown == "table":
        table = confirmations_table(day)
        assert table.caption == "Confirmations and roll"
        assert "ind" not in table.columns[-1].title and "ind" not in table.note
    else:
        assert wind_in_words(day, 0.95) == ""
        assert "abeam" not in paragraphs(windows_section(replace(answer, day=day), traces, plan))


def test_wind_as_windows_and_moments_showed_it(answer: Answer, traces: Traces, plan: Plan) -> None:
    """The coefficient of the answer goes before that of the gusts, and what it took off each window likewise."""
    day, gm = heel_of(answer), answer.gm.value
    assert gm is not None
    off = tuple(replace(p, wind_correction=math.radians(0.002 * k)) for k, p in enumerate(gm.points))
    gm = replace(gm, points=off, wind=Quantified(3e-6, 0.5e-6, unit="rad s2/m2"))
    told = replace(answer, gm=replace(answer.gm, value=gm))
    table = confirmations_table(day, off)
    assert [row[-1] for row in table.rows] == ["–", *(f"{2 * k}.0" for k in range(1, len(off)))]
    said = paragraphs(windows_section(told, traces, plan))
    assert "A steady 10 m/s from abeam is taken to heel her by 0.0172 ± 0.0056 deg" in said
    assert "windows and moments together" in said
    made = answer_json(told)
    assert made["wind"]["heel_deg_at_10_m_s"]["value"] == pytest.approx(math.degrees(3e-4))
    assert made["windows"][2]["wind_correction_deg"] == pytest.approx(0.004)
