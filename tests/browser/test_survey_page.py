"""The survey page driven in a real browser: type, save, read back; a hostile name stays text; nothing is fetched."""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from piped_chromium import USABLE, Browser, chromium

from config.plan import Plan
from config.survey_table import parse_survey
from reduction.report.survey_page import survey_html

HOSTILE = "<img src=x onerror=\"document.title='owned'\"> & 'hold', 3"
pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(not USABLE, reason="needs Chromium and pipes"),
]


@pytest.fixture
def browser() -> Iterator[Browser]:
    with chromium() as made:
        yield made


def fill(label: str, value: str) -> str:
    return f"""(() => {{
      const boxes = [...document.querySelectorAll("#rows label.field")];
      const field = boxes.find((one) => one.firstChild.textContent === {json.dumps(label)});
      const box = field.querySelector("input, select");
      box.value = {json.dumps(value)};
      box.dispatchEvent(new Event(box.tagName === "SELECT" ? "change" : "input", {{ bubbles: true }}));
    }})()"""


def test_an_item_typed_comes_out_as_a_line_of_the_survey(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "survey.html"
    page.write_text(survey_html(Plan(), ("Forecastle", HOSTILE, "Void 4")), encoding="utf-8")
    browser.open(page)
    browser.run("document.querySelectorAll('#spaces button')[1].click()")
    browser.run("document.getElementById('add').click()")
    assert "needed" in str(browser.run("document.querySelector('#rows').textContent"))
    for label, value in (
        ("item", 'anchor, "spare"'),
        ("mass, t", "0,9125"),
        ("x, m forward of aft perpendicular", "44.0"),
        ("y, m to starboard (port is minus)", "-1.5"),
        ("z, m above baseline", "5.2"),
        ("what happens to it", "move"),
        ("moved to x, m", "40"),
        ("moved to y, m", "1"),
        ("moved to z, m", "5.5"),
    ):
        browser.run(fill(label, value))
    assert browser.run("document.querySelector('#rows .hint:not(:empty)').textContent") == "= 912.5 kg"
    browser.run("document.querySelector('input[name=seen][value=done]').click()")
    browser.run("document.querySelectorAll('#spaces button')[2].click()")
    browser.run("document.querySelector('input[name=seen][value=shut]').click()")
    text = browser.run("csv()")
    assert isinstance(text, str)
    rows = parse_survey(text)
    assert [(r.space, r.action) for r in rows] == [
        ("Forecastle", "not surveyed"),
        (HOSTILE, "move"),
        (HOSTILE, "none"),
        ("Void 4", "not surveyed"),
    ]
    anchor = rows[1]
    assert (anchor.item, anchor.mass_t, anchor.position_m) == ('anchor, "spare"', 0.9125, (44.0, -1.5, 5.2))
    assert anchor.to_m == (40.0, 1.0, 5.5)
    assert browser.run("document.title") == "stability test: deadweight survey"
    assert browser.run("document.querySelectorAll('img').length") == 0


def test_what_was_saved_can_be_read_back_and_nothing_is_fetched(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "survey.html"
    page.write_text(survey_html(Plan(), ("Forecastle",)), encoding="utf-8")
    browser.open(page)
    saved = (
        "item;space;action;mass_t;x_m;y_m;z_m;note\r\n"
        "hawser;Forecastle;off;0,64;44;0;6;wet\r\n"
        "not opened;Void 4;not surveyed;;;;;gas\r\n"
        "space seen;Forecastle;none;;;;;\r\n"
    )
    browser.run(f"load({json.dumps(saved)})")
    rows = parse_survey(str(browser.run("csv()")))
    assert [(r.item, r.space, r.action, r.note) for r in rows] == [
        ("hawser", "Forecastle", "off", "wet"),
        ("space seen", "Forecastle", "none", ""),
        ("not opened", "Void 4", "not surveyed", "gas"),
    ]
    assert rows[0].mass_t == pytest.approx(0.64)
    asked = [e["params"]["request"]["url"] for e in browser.events if e.get("method") == "Network.requestWillBeSent"]
    assert asked == [page.as_uri()]
    complaints = [e for e in browser.events if e.get("method") in ("Log.entryAdded", "Runtime.exceptionThrown")]
    assert complaints == []


def test_a_space_with_an_item_to_complete_is_not_counted_as_done(browser: Browser, tmp_path: Path) -> None:
    page = tmp_path / "survey.html"
    page.write_text(survey_html(Plan(), ("Forecastle", "Void 4")), encoding="utf-8")
    browser.open(page)
    totals = "document.getElementById('totals').textContent"
    browser.run("document.querySelector('input[name=seen][value=done]').click()")
    assert "1 of 2 spaces done" in str(browser.run(totals))
    browser.run("document.getElementById('add').click()")
    browser.run("document.querySelector('input[name=seen][value=done]').click()")
    assert "0 of 2 spaces done" in str(browser.run(totals))
