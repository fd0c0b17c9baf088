"""The report in HTML, PDF and words: complete, the same each time, safe with any name, fetching nothing."""

import math
import re
import time
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from config.plan import Plan
from config.survey_table import parse_survey
from config.tables import Tables
from config.waterline_table import SampleRow
from dsp.types import Day
from logger.events import Event
from reduction.answer_json import answer_json
from reduction.report import (
    ReportExtraMissing,
    Traces,
    data_summary,
    plot_traces,
    print_html,
    print_pdf,
    render_html,
    render_pdf,
    render_text,
    report,
)
from reduction.report import extras as report_extras
from reduction.report.document import Figure, Table, plain
from reduction.report.pdf import needs_other_fonts
from reduction.types import Answer, Deviation, GmResult, Maybe, Provenance, Quantified

HOSTILE = "</style></svg><script>alert(1)</script>{{ 7*7 }}\" onload='x' #set $x$ *b* _i_ \\ @ref <label> \u202e"


@pytest.fixture(scope="module")
def final(answer, traces, plan):
    return report(answer, traces, plan, form="final")


@pytest.fixture(scope="module")
def page(final) -> str:
    return print_html(final)


class Outline(HTMLParser):
    """Collect what the tests ask of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.text: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag, attrs) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data) -> None:
        self.text.append(data)

    def all(self, tag: str) -> list[dict]:
        return [attrs for name, attrs in self.tags if name == tag]


def test_first_page_answers_with_intervals(page: str) -> None:
    first = page[: page.index("In this report")].replace("\N{NO-BREAK SPACE}", " ").replace("&nbsp;", " ")
    for words in (
        "Clear of the limit",
        "Preliminary" if "preliminary" in first else "For acceptance by the flag administration",
        "1.2130",
        "± 0.0097",
        "4.318",
        "1152.4",
        "1131.2",
        "4.361",
        "22.620",
        "−0.012",
        "7 of 9 windows used",
        "Window 4",
        "someone moved",
        "a line, fender or the bottom held her",
        "Repeat movement 6",
        "local rules come first",
    ):
        assert words in first, words


def test_every_section_is_there_and_every_figure_named_is_drawn(final, page: str) -> None:
    titles = [s.title for s in final.sections]
    for title in (
        "Moment and heel",
        "The day, and its windows",
        "Weights and movements",
        "People, lines, instruments",
        "Tanks and free surface",
        "How she floated",
        "From as inclined to lightship",
        "Held against limits",
        "Procedure checks",
        "Where the uncertainty comes from",
        "Two ways to the same interval",
        "Assumptions and gaps",
        "Cautions",
        "What is asked for, and where it is",
        "Reference planes, inputs, version",
        "Signatures",
        "Annex A. Evidence of the checks",
        "Annex B. Readings window by window",
        "Annex C. Spectrum of the day",
    ):
        assert title in titles
        assert title in page
    figures = [b for s in final.sections for b in s.blocks if isinstance(b, Figure)]
    assert {f.name for f in figures} == set(final.pictures)
    assert all(f.alt and f.caption for f in figures)


def test_tables_are_rectangular_and_captioned(final) -> None:
    for section in final.sections:
        for block in section.blocks:
            if isinstance(block, Table):
                assert block.caption
                assert {len(row) for row in block.rows} <= {len(block.columns)}, block.caption
                assert len(block.total) in (0, len(block.columns)), block.caption


def test_page_is_accessible(page: str) -> None:
    outline = Outline(page)
    assert outline.all("html")[0]["lang"] == "en"
    assert len(outline.all("table")) == len(outline.all("caption"))
    assert all(attrs.get("aria-label") for attrs in outline.all("div") if attrs.get("role") == "img")
    assert all(attrs.get("scope") for attrs in outline.all("th"))
    ids = [attrs["id"] for _, attrs in outline.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    links = [attrs["href"].removeprefix("#") for attrs in outline.all("a")]
    assert set(links) <= set(ids)
    levels = [int(tag[1]) for tag, _ in outline.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1 and max(np.diff(levels)) <= 1


def test_nothing_is_fetched_and_nothing_runs(page: str) -> None:
    outline = Outline(page)
    assert not outline.all("script") and not outline.all("link") and not outline.all("iframe")
    assert "//" not in re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    assert "url(" not in re.sub(r"url\(#[\w-]+\)", "", page)
    assert "@import" not in page
    policy = next(a for a in outline.all("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy["content"].startswith("default-src 'none'") and "script-src" not in policy["content"]
    assert not any(name.startswith("on") for _, attrs in outline.tags for name in attrs)


def test_same_answer_same_bytes_and_in_time(answer, traces, plan, final, page) -> None:
    started = time.process_time()
    again = report(answer, traces, plan, form="final")
    assert print_html(again) == page
    printed = print_pdf(again)
    assert time.process_time() - started < 8.0
    assert printed == print_pdf(final)


def hostile(value: object) -> object:
    """Put a hostile text in the place of every text a person may have typed."""
    if isinstance(value, str):
        return HOSTILE
    if isinstance(value, tuple):
        return tuple(hostile(item) for item in value)
    return value


def test_no_name_becomes_markup(answer: Answer, traces: Traces, plan: Plan) -> None:
    gm = answer.gm.value
    assert gm is not None
    points = tuple(
        replace(p, label=f"{HOSTILE}{n}", overruled=HOSTILE, reasons=(HOSTILE,)) for n, p in enumerate(gm.points)
    )
    attacked = replace(
        answer,
        name=HOSTILE,
        headline=HOSTILE,
        outlook=HOSTILE,
        next_step=HOSTILE,
        gm=Maybe(replace(gm, points=points, difference=HOSTILE)),
        survey=tuple(
            replace(i, name=HOSTILE, space=HOSTILE, surveyed_by=HOSTILE, group=HOSTILE) for i in answer.survey
        ),
        advice=tuple(replace(a, says=HOSTILE, source=HOSTILE, departure=HOSTILE) for a in answer.advice),
        conditions=tuple(replace(c, name=HOSTILE, says=HOSTILE) for c in answer.conditions),
        assumptions=(HOSTILE,),
        missing={HOSTILE: HOSTILE},
        provenance=Provenance(HOSTILE, HOSTILE, ((HOSTILE, HOSTILE),), {HOSTILE: HOSTILE}),
    )
    people = tuple(p.model_copy(update={"name": HOSTILE, "duty": HOSTILE}) for p in plan.people)
    occasion = plan.test.model_copy(
        update=dict.fromkeys(("place", "witness", "approving_body", "coordinator"), HOSTILE)
    )
    renamed = replace(
        traces,
        heel=tuple(replace(e, station=f"{HOSTILE}{n}") for n, e in enumerate(traces.heel)),
        windows={p.label: e for p, e in zip(points, traces.windows.values(), strict=True)},
    )
    made = report(attacked, renamed, plan.model_copy(update={"people": people, "test": occasion}))
    page = print_html(made)
    outline = Outline(page)
    assert not outline.all("script")
    assert not any(name.startswith("on") for _, attrs in outline.tags for name in attrs)
    assert "<script" not in page and "49" not in Outline(print_html(replace(made, pictures={}))).all("h1")
    assert HOSTILE in "".join(outline.text)
    assert print_pdf(made).startswith(b"%PDF")


def pages_of(pdf: bytes) -> int:
    """Number of pages, from the page tree (our printer leaves it readable)."""
    counts = re.findall(rb"/Type\s*/Pages[^>]*?/Count\s+(\d+)|/Count\s+(\d+)[^>]*?/Type\s*/Pages", pdf)
    return max(int(a or b) for a, b in counts)


@pytest.mark.parametrize(("paper", "box"), [("a4", b"595.27"), ("letter", b"612")])
def test_pdf_is_paged_for_the_paper(final, paper, box: bytes) -> None:
    pdf = print_pdf(final, paper=paper)
    assert pdf.startswith(b"%PDF") and b"/StructTreeRoot" in pdf
    assert 10 <= pages_of(pdf) <= 20
    assert re.search(rb"/MediaBox\s*\[\s*0 0 " + re.escape(box), pdf)
    assert b"CreationDate" not in pdf


def test_letters_of_all_the_world_are_printed(answer: Answer, plan: Plan) -> None:
    assert not needs_other_fonts("Ærøskøbing, Łódź, Ελλάς, Владивосток, ● ▲ ✕ ○ − × ° ± ³")
    assert needs_other_fonts("船")
    assert print_pdf(data_summary(replace(answer, name="試験 ทดสอบ"), plan)).startswith(b"%PDF")


def empty_answer(answer: Answer) -> Answer:
    """A day that gave nothing but its name."""
    return replace(
        answer,
        headline="No result: no window is on record.",
        outlook="no limit given",
        next_step="",
        gm=Maybe(None, "no windows"),
        waterline=Maybe(None, "no readings"),
        floating=Maybe(None, "no hydrostatics"),
        as_inclined=Maybe(None, "no GM"),
        survey=(),
        lightship=Maybe(None, "no survey"),
        deviations=(),
        conditions=(),
        advice=(),
        monte_carlo=Maybe(None, "no GM"),
        assumptions=(),
        missing={"gm": "no windows"},
        day=None,
        provenance=Provenance("0.1.0", "2030-05-14T14:05:00Z", ()),
    )


@pytest.mark.parametrize("form", ["preliminary", "final"])
def test_an_empty_day_still_prints_and_says_why(answer: Answer, form) -> None:
    bare = empty_answer(answer)
    nothing = plot_traces(Day(epoch_ns=0, heel=(), windows=()))
    page = render_html(bare, nothing, form=form)
    assert "no windows" in page and "no survey" in page
    assert render_pdf(bare, nothing, form=form).startswith(b"%PDF")
    assert "No result" in render_text(bare)


def test_not_a_number_prints_as_a_dash(answer: Answer, traces: Traces, plan: Plan) -> None:
    gm = answer.gm.value
    assert gm is not None
    lost = replace(gm.points[0], heel=math.nan, u=math.nan, residual_line=math.nan, residual_curve=math.nan, used=False)
    unknown = Quantified(math.nan, math.nan)
    broken: GmResult = replace(gm, points=(lost, *gm.points[1:]), curve=Maybe(None, "no BM"), line_all=unknown)
    page = render_html(replace(answer, gm=Maybe(broken), day=None, conditions=()), Traces(), plan)
    assert ">nan" not in page.lower() and " nan " not in page.lower()
    assert "no BM" in page


def test_words_for_the_owner(answer: Answer, plan: Plan) -> None:
    text = render_text(answer, plan)
    assert text.encode("cp1252")
    assert all(len(line) <= 90 for line in text.splitlines())
    for words in (
        "GM              1.2130 ± 0.0097 m",
        "Lightship mass",
        "7 of 9 windows",
        "administration decides",
        "Next",
    ):
        assert words in text
    assert "\x1b" not in render_text(replace(answer, headline="x\x1b[2J\u202ey"), plan)


def test_many_spoilt_windows_do_not_bury_the_answer(answer: Answer, plan: Plan) -> None:
    gm = answer.gm.value
    assert gm is not None
    points = tuple(replace(gm.points[4 if n % 2 else 2], label=str(n)) for n in range(20))
    text = render_text(replace(answer, gm=Maybe(replace(gm, points=points))), plan)
    assert text.count("someone moved") == 5
    assert "Also not plainly fine: 11, 13" in text


def test_data_summary_permits_nothing(answer: Answer, plan: Plan) -> None:
    page = print_html(data_summary(answer, plan))
    assert "It is no letter, certificate or permission" in page
    assert "1131.2" in page and "SHA-256" in page
    assert pages_of(print_pdf(data_summary(answer, plan))) <= 4


def test_a_missing_library_is_named_with_its_cure(monkeypatch, answer: Answer, traces: Traces) -> None:
    def none(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(report_extras.importlib, "import_module", none)
    with pytest.raises(ReportExtraMissing, match=r'needs matplotlib.*pip install "quietheel\[report\]"'):
        render_html(answer, traces)


def test_marks_are_printed_as_made(answer: Answer, plan: Plan) -> None:
    at = 1_905_062_400_000_000_000
    events = (
        Event(1, at, "gangway", "Ada", {"state": "pulled"}),
        Event(2, at, "window_open", "Ada", {"window": "0"}),
        Event(3, at, "reading", "Bo", {"station": "pendulum", "deflections_mm": [143, 151.5], "window": "0"}),
        Event(4, at, "note", "<i>Cleo</i>", {"text": "tug <b>clear</b>"}, intact=False),
        Event(5, at, "void", "Ada", {"event": 3, "reason": "misread"}),
        Event(6, at, "people", "Ada", {"person": "Eli", "position_m": [10, 2, 6]}),
    )
    page = render_html(empty_answer(answer), Traces(), plan, events=events)
    for words in (
        "gangway pulled",
        "143, 151.5 mm",
        "voided by 5",
        "void mark 3: misread",
        "altered",
        "Eli at 10, 2, 6",
    ):
        assert words in page, words
    assert "tug &lt;b&gt;clear&lt;/b&gt;" in page
    assert "Annex D" not in render_html(empty_answer(answer), Traces(), plan)


def test_samples_and_spaces_are_printed_as_written_down(answer: Answer, plan: Plan) -> None:
    survey = parse_survey(
        "item,space,action,mass_t,x_m,y_m,z_m,surveyed_by,confirmed,note\n"
        "hawser,Forecastle,off,0.6,44,0,6,Ada,yes,\nnot opened,Void 4,not surveyed,,,,,,,gas <not> tested\n"
    )
    sample = SampleRow(2, "1", "midships, port", 1.5, 1021.5, 14.0, 15.0, 0.2, 13.5, None, None, "Bo", "by boat")
    page = render_html(empty_answer(answer), Traces(), plan, tables=Tables(survey=survey, density=(sample,)))
    for words in ("Density samples as read", "1021.5", "midships, port", "Spaces surveyed", "1 of 1", "not surveyed"):
        assert words in page, words
    assert "gas &lt;not&gt; tested" in page


def test_blocks_keep_their_type_in_json(final) -> None:
    made = plain(final)
    assert isinstance(made, dict)
    kinds = {block["type"] for section in made["sections"] for block in section["blocks"]}
    assert {"table", "figure", "paragraph", "bullets", "facts", "caution", "signatures"} <= kinds


def test_what_was_assumed_is_counted_as_it_is_listed(answer: Answer, traces: Traces, plan: Plan) -> None:
    gm = answer.gm.value
    assert gm is not None
    assumed = replace(answer, assumptions=("one", "two"), gm=Maybe(replace(gm, assumptions=("two", "three"))), day=None)
    made = report(assumed, traces, plan)
    assert "Assumed, for want of a figure: 3 points" in print_html(made)
    listed = [block for section in made.sections if section.key == "assumptions" for block in section.blocks]
    assert "three" in str(listed[0])
    assert "Assumed: three" in print_html(data_summary(assumed, plan))


def test_a_lightship_beyond_its_estimate_is_said_on_the_first_page(answer: Answer, plan: Plan) -> None:
    found = Deviation("lightship mass", 4.6, 2.0, "%", "lightship mass differs by +4.6 %.", "rule", "beyond")
    assert "Lightship mass differs by +4.6 %." in render_text(replace(answer, deviations=(found,)), plan)
    within = replace(found, verdict="within")
    assert "Lightship mass differs" not in render_text(replace(answer, deviations=(within,)), plan)


def test_settings_are_printed_in_words(answer: Answer, traces: Traces, plan: Plan) -> None:
    settings: dict[str, object] = {"leave_out": [], "yes_or_no": True, "assumed_displacement_u95_percent": None}
    made = print_html(report(replace(answer, provenance=replace(answer.provenance, settings=settings)), traces, plan))
    for raw in ("<td>null</td>", "<td>[]</td>", "<td>true</td>"):
        assert raw not in made
    assert "not set" in made


def test_moments_of_the_windows_have_their_interval_where_it_is_known(
    answer: Answer, traces: Traces, plan: Plan
) -> None:
    result = answer.gm.value
    assert result is not None
    known, unknown = result.points[1], result.points[2]
    answer = replace(answer, moment_u={known.label: 40.0, unknown.label: math.nan})
    tables = [b for s in report(answer, traces, plan).sections for b in s.blocks if isinstance(b, Table)]
    rows = next(table.rows for table in tables if table.caption == "Windows in order")
    cells = {plain(row[0]): plain(row[3]).replace("\N{NO-BREAK SPACE}", " ") for row in rows}
    assert re.fullmatch(rf"{known.moment / 1e3:.3f} ± 0\.078", cells[known.label])
    assert "±" not in cells[unknown.label] and cells[unknown.label].startswith(f"{unknown.moment / 1e3:.3f}")
    listed = {w["label"]: w["moment_u95_tm"] for w in answer_json(answer)["windows"]}  # type: ignore[attr-defined]
    assert listed[known.label] == pytest.approx(0.0784, abs=1e-4)
    assert listed[unknown.label] is None
