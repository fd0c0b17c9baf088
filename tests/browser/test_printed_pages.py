"""Report and brief in a real browser: nothing wider than the phone, nothing fetched, contrast enough to read."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from piped_chromium import USABLE, Browser, chromium

from reduction.report import plot_traces, render_html
from reduction.report.brief import brief_html
from tests.report_example import example_answer, example_day, example_plan

pytestmark = [pytest.mark.browser, pytest.mark.skipif(not USABLE, reason="needs Chromium and pipes")]

WIDER = """[...document.querySelectorAll("body *")].filter((one) => {
  const scrolls = one.closest(".table");
  if (one.closest("svg, .unseen, .skip, thead") || (scrolls && scrolls !== one)) return false;
  const box = one.getBoundingClientRect();
  return box.width > 0 && box.right > document.documentElement.clientWidth + 1;
}).map((one) => one.tagName + " " + one.className + " " + one.textContent.slice(0, 40))"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    plan, folder = example_plan(), tmp_path_factory.mktemp("printed")
    written = {"report": folder / "report.html", "brief": folder / "brief.html"}
    text = render_html(example_answer(), plot_traces(example_day()), plan, form="final")
    written["report"].write_text(text, encoding="utf-8")
    written["brief"].write_text(brief_html(plan), encoding="utf-8")
    return written


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as made:
        yield made


@pytest.mark.parametrize("name", ["report", "brief"])
@pytest.mark.parametrize("width", [360, 768, 1400])
def test_fits_the_screen_and_fetches_nothing(browser: Browser, pages: dict[str, Path], name: str, width: int) -> None:
    browser.ask("Emulation.setDeviceMetricsOverride", width=width, height=800, deviceScaleFactor=1, mobile=width < 500)
    browser.open(pages[name])
    assert browser.run("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), browser.run(
        WIDER
    )
    assert browser.run(WIDER) == []
    asked = [e["params"]["request"]["url"] for e in browser.events if e.get("method") == "Network.requestWillBeSent"]
    assert asked == [pages[name].as_uri()]
    assert [e for e in browser.events if e.get("method") in ("Log.entryAdded", "Runtime.exceptionThrown")] == []
    shown = "[...document.querySelectorAll('.picture')].filter((one) => one.offsetWidth).map((one) => one.className)"
    kinds = set(browser.run(shown))
    assert kinds == (set() if name == "brief" else {"picture narrow"} if width < 600 else {"picture wide"})


def test_the_answer_is_on_the_first_screen_of_a_phone(browser: Browser, pages: dict[str, Path]) -> None:
    browser.ask("Emulation.setDeviceMetricsOverride", width=390, height=844, deviceScaleFactor=2, mobile=True)
    browser.open(pages["report"])
    bottom = browser.run("document.querySelectorAll('.results > div')[1].getBoundingClientRect().bottom")
    assert bottom < 844


CONTRAST = """((names) => {
  const style = getComputedStyle(document.documentElement);
  const light = (name) => {
    const hex = style.getPropertyValue("--" + name).trim();
    const parts = [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16) / 255);
    const [r, g, b] = parts.map((c) => (c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const page = light("page");
  return names.map((name) => {
    const one = light(name);
    return (Math.max(one, page) + 0.05) / (Math.min(one, page) + 0.05);
  });
})(["ink", "soft", "accent", "alarm", "amber", "plum"])"""


@pytest.mark.parametrize(("theme", "least"), [("as-device", 4.5), ("light", 7.0), ("dark", 4.5)])
def test_contrast_by_theme(browser: Browser, pages: dict[str, Path], theme: str, least: float) -> None:
    """WCAG 2.2, 1.4.3 (4.5 to 1) for every theme and 1.4.6 (7 to 1) for sunlight; its formula of relative luminance."""
    browser.open(pages["report"])
    browser.run(f"document.getElementById('{theme}').click()")
    assert min(browser.run(CONTRAST)) >= least
