from __future__ import annotations

import io
import re
from pathlib import Path

import page_day
import pytest
from rich.console import Console

from config.folder import TestFolder
from quietheel.page.view import DayView
from quietheel.replay.play import replay
from quietheel.replay.source import ReplaySource
from quietheel.terminal import picture as terminal_picture
from quietheel.terminal import watch_terminal


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("terminal") / "merrowby"
    page_day.make_day(place, states=3)
    return place


def picture(folder: Path, width: int, seconds: float) -> str:
    wall = [0]
    source = ReplaySource(TestFolder(folder), 1.0, monotonic_ns=lambda: wall[0])
    wall[0] = round(seconds * 1e9)
    out = io.StringIO()
    watch_terminal(folder, source=source, once=True, console=Console(file=out, width=width))
    return out.getvalue()


@pytest.mark.parametrize("width", [60, 80, 140])
def test_one_picture_says_what_the_page_says(folder: Path, width: int) -> None:
    text = picture(folder, width, 700.0)
    for words in ("Merrowby", "GM 1.", "pendulum", "read by hand", "window 2 closed"):
        assert words in text
    assert max(len(line) for line in text.splitlines()) <= width
    assert "stbd" in text


@pytest.mark.parametrize("width", [60, 112, 140])
def test_every_window_keeps_its_label(folder: Path, width: int) -> None:
    labelled = re.findall(r"(?:^|\s)([012])\s+(?:\d\.\d+° \w+|–)", picture(folder, width, 3000.0), flags=re.MULTILINE)
    assert set(labelled) == {"0", "1", "2"}


def test_names_are_not_read_as_markup(folder: Path) -> None:
    assert "<b>witness</b>" in picture(folder, 140, 30.0)


def test_a_played_day_ends_by_itself_in_the_terminal(folder: Path) -> None:
    out = io.StringIO()
    replay(folder, 5000.0, page=False, console=Console(file=out, width=100, force_terminal=True, legacy_windows=False))
    assert "Merrowby" in out.getvalue()
    assert "3 windows" in out.getvalue().rpartition("\x1b[?1049l")[2]  # left on the screen once the day is over


def test_a_day_played_into_a_pipe_is_the_answer_in_lines(folder: Path) -> None:
    out = io.StringIO()
    replay(folder, 1.0, page=False, console=Console(file=out, width=60))
    lines = out.getvalue().splitlines()
    assert lines[0].startswith("Merrowby")
    windows = [line for line in lines if re.match(r"\d\d:\d\d:\d\d  window", line)]
    assert [line.split("window ")[1][0] for line in windows] == ["0", "1", "2"]
    assert all(re.search(r"° \w+ ± 0\.\d+, (fine|caution|rejected)\. ", line) for line in windows)
    assert any(re.match(r"GM 1\.\d+ ± 0\.\d+ m", line) for line in lines)
    assert any("quietheel reduce reads all of it, and decides" in line for line in lines)
    assert "\x1b" not in out.getvalue()


@pytest.mark.parametrize("width", [60, 80, 112, 140])
def test_the_view_that_runs_keeps_labels_and_verdicts(folder: Path, width: int) -> None:
    wall = [0]
    place = TestFolder(folder)
    view = DayView(place, ReplaySource(place, 1.0, monotonic_ns=lambda: wall[0]))
    wall[0] = 3000_000_000_000
    view.step()
    view.wait()
    view.step()
    out = io.StringIO()
    Console(file=out, width=width).print(terminal_picture(view.whole(), width, 50))
    view.close()
    rows = re.findall(r"([012])\s+(\d\.\d{4}° (?:\w+ )?± \d\.\d{4}°)\s+(\w+)", out.getvalue())
    assert {(label, verdict in ("fine", "caution", "rejected")) for label, _, verdict in rows} == {
        (label, True) for label in "012"
    }


@pytest.mark.parametrize("width", [60, 80, 110, 112, 120, 150, 160])
def test_what_is_said_of_a_station_is_neither_cut_nor_broken_for_a_trace(folder: Path, width: int) -> None:
    place = TestFolder(folder)
    view = DayView(place, ReplaySource(place, 1.0, monotonic_ns=lambda: 0))
    view.step()
    whole = view.whole()
    view.close()
    told = {
        "forward": ("0.147° stbd", "9.7 Hz"),
        "mast": ("2.8 m/s", "gusts to 3.1 m/s from 58° to starboard of the bow"),
        "forward breast cell": ("0.04 kN", "forward breast: up to 0.10 kN in 10 s"),
    }
    whole["stations"] = [
        {"name": name, "now_deg": None, "reads": reads, "says": says, "ill": False}
        for name, (reads, says) in told.items()
    ]
    whole["strip"] = {
        "lanes": [{"station": "forward", "quantity": "heel"}],
        "rows": [[0.1 * n, 0.1 * n] for n in range(60)],
    }
    out = io.StringIO()
    Console(file=out, width=width).print(terminal_picture(whole, width))
    text = out.getvalue()
    assert "…" not in text
    assert re.search(r"[▁-█]  9\.7 Hz|stbd  9\.7 Hz", text)
    for word in ("gusts", "starboard", "bow", "breast:", "0.10"):
        assert word in text
