"""What stands on top of the page because nobody may miss it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import page_day
import pytest

from config.folder import TestFolder
from config.plan import Plan
from dsp.live import LiveLook
from dsp.settled import Settled
from dsp.types import RollMotion
from logger.daystate import DayState, state_of_day
from logger.events import EventLog
from quietheel.page.caution import caution_of, spoilt_states
from quietheel.page.hours import time_section
from quietheel.page.source import LoggerState
from quietheel.page.still import Still, _rest
from quietheel.page.view import DayView
from quietheel.replay.source import ReplaySource

MINUTE = 60_000_000_000
WELL = LoggerState(recording=True, says="run 1 is being written")
QUIET = Still("", 1.0)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("caution") / "merrowby"
    page_day.make_day(folder, states=2)
    return folder


@pytest.fixture
def plan(tmp_path: Path) -> Plan:
    (tmp_path / "plan.toml").write_text(page_day.plan_text(2), encoding="utf-8")
    return TestFolder(tmp_path).plan()


def marked(folder: Path, plan: Plan, *marks: tuple[str, dict[str, Any]]) -> DayState:
    log = EventLog(folder)
    for minute, (kind, data) in enumerate((("gangway", {"state": "pulled"}), *marks)):
        log.append(kind, "mate", data, page_day.START_NS + minute * MINUTE)
    return state_of_day(log.read(), plan)


def taken(label: str) -> list[tuple[str, dict[str, Any]]]:
    return [("window_open", {"movement": label}), ("window_close", {"window": label})]


def entries(state: DayState, *verdicts: str) -> list[dict[str, Any]]:
    return [
        {"id": window.number, "label": window.label, "verdict": verdict, "words": "Somebody moved. And 1 more."}
        for window, verdict in zip(state.windows, verdicts, strict=True)
    ]


def test_a_rejected_window_is_said_before_the_weights_move(tmp_path: Path, plan: Plan) -> None:
    state = marked(tmp_path, plan, *taken("0"))
    says = caution_of(state, entries(state, "rejected"), [], WELL, QUIET)
    assert says.startswith("Window 0 is rejected: Somebody moved. Take it again before a weight moves")
    assert "“Window 0 again”" in says
    assert caution_of(state, entries(state, "caution"), [], WELL, QUIET) == ""
    again = marked(tmp_path, plan, ("window_open", {"window": "0 again", "movement": "0"}), ("window_close", {}))
    assert caution_of(again, entries(again, "rejected", "fine"), [], WELL, QUIET) == ""
    moved = marked(tmp_path, plan, ("movement", {"movement": "1"}))
    assert caution_of(moved, entries(moved, "rejected", "rejected"), [], WELL, QUIET) == ""


def test_a_day_that_ends_names_states_without_a_window_that_counts(tmp_path: Path, plan: Plan) -> None:
    marks = taken("0")
    for n in range(1, 9):
        marks += [("movement", {"movement": str(n)}), *taken(str(n))]
    state = marked(tmp_path, plan, *marks)
    windows = entries(state, *("rejected" if n in (2, 6) else "fine" for n in range(9)))
    assert caution_of(state, windows, [], WELL, QUIET) == "No window that counts in movements 2 and 6: rejected."
    assert list(spoilt_states(state, windows)) == ["2", "6"]


def test_what_speaks_against_the_open_window_is_said_on_top(tmp_path: Path, plan: Plan) -> None:
    state = marked(tmp_path, plan, taken("0")[0])
    windows = entries(state, "")
    warned = Still("", 0.5, warning="The mean heel steps.")
    assert "Against window 0 so far: The mean heel steps." in caution_of(state, windows, [], WELL, warned)
    assert caution_of(state, windows, [], WELL, QUIET) == ""


def test_silence_and_a_record_that_stands_still_are_said_on_top(tmp_path: Path, plan: Plan) -> None:
    state = marked(tmp_path, plan)
    stations = [
        {"name": "aft", "ill": True, "says": "silent for 10 s, last reading at 19:40:41"},
        {"name": "midship", "ill": True, "says": "slow: 4.3 Hz of 10"},
        {"name": "forward", "ill": True, "says": "no reading yet"},
    ]
    assert caution_of(state, [], stations, WELL, QUIET) == "No fresh readings from aft and forward."
    stopped = LoggerState(says="run 1 was stopped (interrupted)")
    says = caution_of(state, [], [], stopped, QUIET)
    assert says.startswith("Nothing is being recorded: run 1 was stopped (interrupted); `quietheel log` goes on")
    over = marked(tmp_path, plan, ("gangway", {"state": "back"}))
    assert caution_of(over, [], stations, stopped, QUIET) == ""


def test_the_first_window_teaches_and_promises_no_interval(day: Path) -> None:
    wall = [0]
    view = DayView(TestFolder(day), ReplaySource(TestFolder(day), 1.0, monotonic_ns=lambda: wall[0]))
    seen = {}
    for second in (140, 170):
        wall[0] = second * 1_000_000_000
        view.step()
        whole = view.whole()
        seen[second] = (whole["still"], whole["windows"][0])
    view.close()
    assert "Window 0: 40 s more to 1 min 20 s; its interval is known once it is closed." in seen[140][0]["words"]
    assert seen[140][0]["part"] == pytest.approx(0.5, abs=0.02)
    for still, window in seen.values():
        assert "reached" not in still["words"]
        assert window["u95_deg"] is None and window["heel_deg"] is not None


def test_nobody_has_lain_still_since_before_the_last_weight_moved() -> None:
    rest = Settled(True, 0.0, 10.0, 0.001, 0.0, "Settled for 161 s; swing 0.023 deg.")
    look = LiveLook(171.0, rest, RollMotion(8.0, 0.0, 0.02, 0.0, 0.0), 0.0, 0.0, None, (), "fine", (), "")
    assert _rest(look, 108.0) == "Settled for 1 min 03 s; swing 0.023 deg."
    bare = replace(look, settled=replace(rest, says="Settled for 161 s; no roll to wait for."))
    assert _rest(bare, 108.0) == "Settled for 1 min 03 s; no roll found yet."
    assert _rest(look, float("nan")) == "Settled for 2 min 41 s; swing 0.023 deg."


def test_the_time_table_ends_with_the_last_window_and_counts_the_spoilt(plan: Plan) -> None:
    first = page_day.START_NS + 120 * MINUTE  # 12:00 local: every step of the table has begun
    closed = {str(n): [first + (3 + 10 * n) * MINUTE] for n in range(9)}
    part = {label: closed[label] for label in ("0", "1", "2")}
    open_day = time_section(plan, part, 9, first, first + 30 * MINUTE, spoilt=1)
    assert open_day["says"].startswith("3 of 9 windows in 30 min 00 s, 1 of them rejected; at this pace")
    assert [step["state"] for step in open_day["steps"]] == ["gone", "gone", ""]
    done = time_section(plan, closed, 9, first, first + 90 * MINUTE, spoilt=2)
    assert done["says"] == "9 of 9 windows in 1 h 23 min, 2 of them rejected: every planned window was taken."
    assert [step["state"] for step in done["steps"]] == ["gone"] * 3


def test_a_decision_on_a_window_shows_before_there_is_a_gm(day: Path, tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    for second, kind, data in (
        (100, "window_open", {"movement": "0"}),
        (180, "window_close", {"window": "0"}),
        (190, "overrule", {"window": "0", "verdict": "rejected", "reason": "the pilot boat came alongside"}),
    ):
        log.append(kind, "mate", data, page_day.START_NS + second * 1_000_000_000)
    wall = [0]
    source = ReplaySource(TestFolder(day), 1.0, rehearse_in=tmp_path, monotonic_ns=lambda: wall[0])
    view = DayView(TestFolder(day), source)
    wall[0] = 200_000_000_000
    for _ in range(2):
        view.step()
        view.wait()
    whole = view.whole()
    view.close()
    assert whole["gm"]["value_m"] is None
    window = whole["windows"][0]
    assert window["verdict"] == "rejected"
    assert window["words"] == "Overruled: the pilot boat came alongside (mate; the checks said caution)"
    assert whole["next"]["caution"].startswith("Window 0 is rejected: Overruled: the pilot boat")
