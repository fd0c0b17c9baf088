"""Settled stretches that the record itself shows, with no look at the marks."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import page_day
import pytest

from config.errors import BadInput
from quietheel.cli import run
from quietheel.jobs import day as jobs
from quietheel.jobs.day import open_day
from quietheel.jobs.windows import suggest

STATES = 5


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("suggest") / "merrowby"
    page_day.make_day(folder, states=STATES, rate=20.0)
    return folder


@pytest.fixture(params=["short", "long"])
def either(request: pytest.FixtureRequest, day: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    if request.param == "long":
        monkeypatch.setattr(jobs, "LONG_ROWS", 1000)
    return day


def test_every_state_of_the_weights_is_found_and_none_with_a_movement_in_it(either: Path) -> None:
    found = suggest(either)
    marked = open_day(either)
    assert len(found.heel.windows) >= STATES
    at = [(w.span.start, w.span.stop, float(np.degrees(w.heel))) for w in found.heel.windows]
    start = (page_day.START_NS - found.heel.epoch_ns) * 1e-9
    for begin, end, _ in at:
        assert 60.0 <= end - begin <= 600.0
        # Weights move from 10 to 50 s into each state.
        first, last = (begin - start) % page_day.STATE_S, (end - start) % page_day.STATE_S
        same = int((begin - start) // page_day.STATE_S) == int((end - 1.0 - start) // page_day.STATE_S)
        assert same or last < 15.0 or begin - start < 10.0
        assert first > 40.0 or begin - start < 60.0
    levels = page_day.heel_at(np.arange(STATES) * page_day.STATE_S + 150.0, STATES)
    for state, level in enumerate(levels):
        inside = [heel for begin, _, heel in at if int((begin - start) // page_day.STATE_S) == state]
        assert inside, f"nothing found in state {state}"
        assert min(abs(heel - level) for heel in inside) < 0.1
    assert marked.day.windows != found.recorded.day.windows
    assert [w.span.label for w in found.heel.windows] == [f"suggested {k + 1}" for k in range(len(at))]


def test_lengths_asked_for_are_kept(either: Path) -> None:
    for window in suggest(either, shortest_s=80.0, longest_s=100.0).heel.windows:
        assert 80.0 <= window.span.stop - window.span.start <= 100.5


def test_where_nothing_is_settled_nothing_is_suggested(either: Path) -> None:
    found = suggest(either, shortest_s=1000.0, longest_s=2000.0)
    assert found.heel.windows == ()
    assert found.recorded.day.windows != ()


def test_on_the_command_line(either: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["windows", str(either), "--suggest", "--json"]) in (0, 1)
    rows = json.loads(capsys.readouterr().out)["suggested"]
    assert len(rows) >= STATES
    assert {"label", "start", "stop", "heel_deg", "u95_deg", "verdict", "reasons"} <= set(rows[0])
    assert run(["windows", str(either), "--suggest"]) in (0, 1)
    printed = capsys.readouterr()
    assert len(printed.out.splitlines()) == len(rows) + 1, "a heading and a line for each"
    assert "the marks must say" in printed.err


def test_a_folder_without_a_record_says_so(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(page_day.plan_text(1), encoding="utf-8")
    assert suggest(tmp_path).heel.windows == ()
    with pytest.raises(BadInput):
        suggest(tmp_path / "nowhere")
