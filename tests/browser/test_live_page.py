"""A whole simulated day on the live page, in a real browser, as coordinator and mate would have it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest

pytestmark = pytest.mark.browser
TOKEN = "token-of-this-start"
DESK, PHONE = {"width": 1440, "height": 900}, {"width": 390, "height": 844}


class Watched:
    """A page with everything that it asked for and complained of."""

    def __init__(self, browser: Any, size: dict[str, int], url: str) -> None:
        self.context = browser.new_context(viewport=size, has_touch=size is PHONE)
        self.page = self.context.new_page()
        self.asked: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.asked.append(request.url))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on(
            "console",
            lambda message: self.complaints.append(message.text) if message.type in ("error", "warning") else None,
        )
        self.page.set_default_timeout(15_000)
        self.page.goto(url)

    def press(self, name: str) -> None:
        self.page.get_by_role("button", name=re.compile(name)).first.click()

    def points(self) -> int:
        label = self.page.locator("#curve").get_attribute("aria-label") or ""
        found = re.search(r"(\d+) points", label)
        return int(found[1]) if found else 0


@pytest.fixture
def watch(browser: Any, live_day: Any) -> Iterator[Any]:
    opened: list[Watched] = []

    def open_page(size: dict[str, int], token: str = "") -> Watched:
        opened.append(Watched(browser, size, live_day.url + (f"#token={token}" if token else "")))
        return opened[-1]

    yield open_page
    for one in opened:
        hosts = {urlsplit(url).netloc for url in one.asked}
        one.context.close()
        assert hosts == {f"127.0.0.1:{live_day.port}"}, f"a request left the machine: {hosts}"
        assert one.complaints == []


def introduce(watched: Watched, name: str) -> None:
    watched.page.get_by_label("Name or duty").fill(name)
    watched.press("^Go on$")


def test_a_whole_day_with_marks_windows_and_a_growing_plot(live_day: Any, watch: Any) -> None:
    live_day.move_to(15)
    phone, desk = watch(PHONE, TOKEN), watch(DESK)
    assert TOKEN not in phone.page.url, "the token must not stay in the address"
    assert "Pull the gangway" in phone.page.locator("#sentence").inner_text()
    assert desk.page.locator("#do").count() == 0, "without the token there is nothing to press"

    phone.press("^Gangway pulled")
    introduce(phone, "mate")
    for state in range(9):
        begin = state * live_day.states_s
        if state:
            live_day.move_to(begin + 52)
            phone.press(f"^Movement {state} made")
        live_day.move_to(begin + 90)
        for code in ("lines", "muster", "crane", "clear", "quiet"):
            tick = phone.page.locator(f"[data-confirm={code}]")
            tick.click()
            phone.page.locator(f"[data-confirm={code}][aria-pressed=true]").wait_for()
        assert "all confirmed" in phone.page.locator("#do").inner_text()
        live_day.move_to(begin + 100)
        phone.press(f"^Open window {state}")
        phone.page.locator("#do[data-kind=window_close]").wait_for()
        desk.page.locator(f"[data-window='{state}'] .stamp.open").wait_for()
        live_day.move_to(begin + 180)
        phone.press(f"^Close window {state}")
        phone.page.locator("#do:not([data-kind=window_close])").wait_for()
        if state == 3:
            desk.page.locator("[data-window='3'] .stamp:is(.fine, .caution, .rejected)").wait_for()
            assert desk.points() == 4

    desk.page.locator("[data-window='8'] .stamp:is(.fine, .caution, .rejected)").wait_for()
    assert desk.points() == 9, "the plot grows with the windows"
    gm = float(desk.page.locator("#gm").inner_text().split()[0])
    assert gm == pytest.approx(1.1, abs=0.02)
    kinds = [event.kind for event in live_day.log.read()]
    assert kinds.count("window_open") == kinds.count("window_close") == 9
    assert {event.by for event in live_day.log.read()} == {"mate"}

    desk.page.locator("[data-window='2']").click()
    desk.page.locator("#sheet table").wait_for()
    assert "aft" in desk.page.locator("#sheet").inner_text()


def test_sizes_of_phone_and_desk(live_day: Any, watch: Any) -> None:
    live_day.move_to(30)
    for size in (PHONE, DESK):
        watched = watch(size, TOKEN)
        watched.page.locator("#do").wait_for()
        wide = watched.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= size["width"], "nothing may stick out sideways"
        button = watched.page.locator("#do").bounding_box()
        assert button["height"] >= 60, "a button for cold hands"
        assert button["y"] + button["height"] <= size["height"], "the next mark is always in reach"
        columns = {round(watched.page.locator(s).bounding_box()["x"]) for s in ("#paper", "#windows", "#answer")}
        assert len(columns) == (3 if size is DESK else 1)


def test_a_rejected_window_stands_on_the_first_screen_of_a_phone(live_day: Any, watch: Any) -> None:
    at = live_day.start_ns
    live_day.log.append("gangway", "mate", {"state": "pulled"}, at + 10_000_000_000)
    live_day.log.append("window_open", "mate", {"movement": "0"}, at + 100_000_000_000)
    live_day.log.append("window_close", "mate", {"window": "0"}, at + 180_000_000_000)
    spoilt = {"window": "0", "verdict": "rejected", "reason": "the pilot boat came alongside"}
    live_day.log.append("overrule", "mate", spoilt, at + 190_000_000_000)
    live_day.move_to(200)
    for size in (PHONE, DESK):
        page = watch(size, TOKEN).page
        page.locator("#caution", has_text="Window 0 is rejected").wait_for()
        box, button = page.locator("#caution").bounding_box(), page.locator("#do").bounding_box()
        assert "Take it again before a weight moves" in page.locator("#caution").inner_text()
        assert box["y"] + box["height"] < size["height"] and box["height"] < 0.25 * size["height"]
        assert box["y"] + box["height"] <= button["y"], "the caution is read before the button is pressed"
        assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]


def test_a_page_that_hears_nothing_says_that_it_is_old(live_day: Any, browser: Any) -> None:
    live_day.move_to(30)
    context = browser.new_context(viewport=PHONE)
    page = context.new_page()
    page.goto(live_day.url)
    page.locator("body:not(.stale)").wait_for()
    live_day.server.should_exit = True
    page.locator("body.stale").wait_for(timeout=20_000)
    assert "all below is old" in page.locator("#line").inner_text()
    assert float(page.locator("main").evaluate("node => getComputedStyle(node).opacity")) < 0.6
    context.close()


def test_marks_are_refused_without_the_token_and_from_elsewhere(live_day: Any, watch: Any) -> None:
    watched = watch(DESK)
    mark = json.dumps({"kind": "note", "text": "let me in", "by": "nobody"})
    good = {"content-type": "application/json", "x-quietheel-token": TOKEN}

    def status(headers: dict[str, str]) -> int:
        return int(watched.context.request.post(live_day.url + "mark", data=mark, headers=headers).status)

    assert status({"content-type": "application/json"}) == 403
    assert status({**good, "x-quietheel-token": TOKEN[:-1]}) == 403
    assert status({**good, "origin": "http://elsewhere.example"}) == 403
    assert status({**good, "sec-fetch-site": "cross-site"}) == 403
    assert status({**good, "content-type": "text/plain"}) == 415
    assert status({**good, "host": f"elsewhere.example:{live_day.port}"}) == 421
    assert live_day.log.read() == []
    assert status(good) == 200
    assert [event.data["text"] for event in live_day.log.read()] == ["let me in"]


def test_two_marks_at_once_both_stand_and_voiding_deletes_nothing(live_day: Any, watch: Any) -> None:
    live_day.move_to(30)
    pages = [watch(PHONE, TOKEN), watch(DESK, TOKEN)]
    for watched, name in zip(pages, ("mate", "coordinator"), strict=True):
        watched.press("^Note$")
        watched.page.get_by_label("What happened").fill(f"seen by the {name}")
        watched.page.get_by_label("Marked by").fill(name)
    for watched in pages:
        watched.page.locator("#sheet .go").click(no_wait_after=True)
    for watched in pages:
        watched.page.locator("#sheet:not([open])").wait_for(state="attached")
        watched.page.get_by_text("note: seen by the mate").wait_for()
        watched.page.get_by_text("note: seen by the coordinator").wait_for()

    pages[1].page.get_by_role("button", name="void note: seen by the mate").click()
    pages[1].page.get_by_label("Reason").fill("seen twice")
    pages[1].press("^Void it$")
    pages[0].page.locator(".mark.void", has_text="seen by the mate").wait_for()
    log = live_day.log.read()
    assert [event.kind for event in log] == ["note", "note", "void"]
    pages[0].page.get_by_role("button", name="let note: seen by the mate stand again").click()
    pages[0].page.get_by_label("Reason").fill("it was not the same one")
    pages[0].press("^Let it stand$")
    pages[1].page.get_by_role("button", name="void note: seen by the mate").wait_for()
    # Which of two marks at once comes first is left to the machine.
    voided = next(event.number for event in log if event.data.get("text") == "seen by the mate")
    assert [event.data.get("event") for event in live_day.log.read()] == [None, None, voided, 3]
    assert live_day.log.verify().intact


def test_names_are_text_and_the_keyboard_is_enough(live_day: Any, watch: Any) -> None:
    live_day.move_to(15)
    watched = watch(DESK, TOKEN)
    page = watched.page
    page.locator("[data-person='<b>witness</b>']").wait_for()
    assert page.locator("#people b").count() == 0
    page.keyboard.press("n")
    assert page.evaluate("document.activeElement.id") == "do"
    page.keyboard.press("Enter")
    page.keyboard.type("technician")
    page.keyboard.press("Enter")
    page.locator("[data-confirm=lines]").wait_for()
    page.keyboard.press("1")
    page.locator("[data-confirm=lines][aria-pressed=true]").wait_for()
    page.keyboard.press("1")
    page.locator("[data-confirm=lines][aria-pressed=false]").wait_for()
    assert [event.kind for event in live_day.log.read()] == ["gangway", "confirm", "void"]


def test_someone_changes_place_and_the_moment_is_shown(live_day: Any, watch: Any) -> None:
    live_day.move_to(15)
    watched = watch(PHONE, TOKEN)
    watched.page.locator("[data-person=mate]").click()
    watched.page.locator("#sheet").get_by_role("button", name="wheelhouse").click()
    watched.page.get_by_label("Marked by").fill("coordinator")
    watched.press("^Mark the place$")
    watched.page.get_by_text("240 kg m to port").wait_for()
