"""Marks or readings that are not as they were written reach the answer, the terminal and the exit code."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from quietheel.cli import run


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A quiet day of an invented vessel without a reservation."""
    folder = tmp_path_factory.mktemp("day") / "practice"
    assert run(["simulate", "merrowby", "--out", str(folder), "--seed", "3"]) == 0
    return folder


@pytest.fixture
def day(sound: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(sound, tmp_path / "day"))


def reduced(day: Path, capsys: pytest.CaptureFixture[str]) -> tuple[int, str, str, list[str]]:
    capsys.readouterr()
    code = run(["reduce", str(day)])
    heard = capsys.readouterr()
    found = json.loads((day / "results" / "reduction.json").read_text(encoding="utf-8"))
    return code, " ".join(heard.out.split()), heard.err, found["reservations"]


def rewrite(day: Path) -> None:
    """Put another hand to the mark that closed the first window."""
    marks = day / "events.jsonl"
    lines = marks.read_text(encoding="utf-8").splitlines(keepends=True)
    number = next(n for n, line in enumerate(lines) if '"window_close"' in line)
    lines[number] = lines[number].replace('"by": "', '"by": "not ')
    marks.write_text("".join(lines), encoding="utf-8", newline="\n")


def scribble(day: Path) -> None:
    with (day / "events.jsonl").open("a", encoding="utf-8", newline="\n") as marks:
        marks.write("tug came alongside\n")


def swap(day: Path) -> None:
    """Another digest of a sealed file in the stop record, as if the file were another one."""
    stop = next(day.glob("record/*/stop.json"))
    told = json.loads(stop.read_text(encoding="utf-8"))
    told["segments"][0]["sha256"] = "0" * 64
    stop.write_text(json.dumps(told), encoding="utf-8")


def test_a_day_as_it_was_written(day: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, out, err, reservations = reduced(day, capsys)
    assert code == 0
    assert "CLEAR OF THE LIMIT" in out
    assert "warning" not in err
    assert reservations == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (rewrite, "marks are not as they were written: events.jsonl, line "),
        (scribble, "is no JSON: 'tug came alongside'"),
        (swap, "readings are not as they were recorded: record/"),
    ],
)
def test_what_was_changed_is_a_reservation(
    day: Path, capsys: pytest.CaptureFixture[str], change: Callable[[Path], None], words: str
) -> None:
    change(day)
    code, out, err, reservations = reduced(day, capsys)
    assert code == 1
    assert "CLEAR ONLY WITH RESERVATIONS" in out
    assert words in out
    assert words in err
    assert words in "; ".join(reservations)


def test_without_a_limit_it_is_said_all_the_same(day: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plan = (day / "plan.toml").read_text(encoding="utf-8")
    bare = plan[: plan.index("[limits]")] if "[limits]" in plan else plan
    (day / "plan.toml").write_text(bare, encoding="utf-8")
    code, out, _, _ = reduced(day, capsys)
    assert (code, "NO LIMIT" in out.upper()) == (0, True)
    scribble(day)
    code, out, _, _ = reduced(day, capsys)
    assert code == 1
    assert "is no JSON" in out
