"""Two reductions are held against each other by name, and a person is shown what a person asks for."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from quietheel.cli import run
from quietheel.jobs.compare import compare


def reduction(gm: float, parts: list[tuple[str, float]], **more: object) -> dict[str, object]:
    return {
        "gm": {"value_m": gm, "u95_m": 0.01},
        "budget": {"gm_m": [{"source": source, "u": u, "note": ""} for source, u in parts]},
        "monte_carlo": {"gm_m": [gm - 0.01, gm + 0.01]},
        "windows": [],
        "provenance": {"settings": {"gm_carried": "curve"}, "inputs": []},
        **more,
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    one = reduction(1.0, [("displacement", 0.004), ("wind", 0.001)])
    two = reduction(1.004, [("curvature left out", 0.006), ("displacement", 0.004), ("wind", 0.00101)])
    for name, content in (("one", one), ("two", two)):
        (tmp_path / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    return tmp_path


def test_parts_of_a_budget_are_held_against_their_like_wherever_they_stand(folder: Path) -> None:
    changed = {c.what: (c.before, c.after) for c in compare(folder / "one.json", folder / "two.json").results}
    assert changed["budget.gm_m[curvature left out].u"] == (None, 0.006)
    assert changed["budget.gm_m[wind].u"] == (0.001, 0.00101)
    assert "budget.gm_m[displacement].u" not in changed


def test_what_prints_is_the_answer_and_what_made_it_move(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["compare", str(folder / "one.json"), str(folder / "two.json")]) == 0
    said = capsys.readouterr().out
    assert "gm.value_m: 1 -> 1.004   (40% of its 95 % interval)" in said
    assert "budget.gm_m[curvature left out].u: nothing -> 0.006" in said
    assert "wind" not in said
    assert "monte_carlo" not in said
    assert "further figures behind these changed as well" in said


def test_sentences_that_came_and_went_are_said_as_such(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, assumed in (("one", ["a", "b"]), ("two", ["b", "c"])):
        content = reduction(1.0, [], assumptions=assumed)
        (tmp_path / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    assert run(["compare", str(tmp_path / "one.json"), str(tmp_path / "two.json")]) == 0
    said = capsys.readouterr().out
    assert "assumptions, no longer: a" in said
    assert "assumptions, now: c" in said
    assert ": b" not in said


def test_chances_and_units_are_told_as_in_the_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, kg, over, sure in (("one", 3.9, 3e-146, 0.2), ("two", 3.8, 1e-135, 1e-9)):
        conditions = [{"name": "departure", "probability_over": over}, {"name": "arrival", "probability_over": sure}]
        content = reduction(1.0, [], kg_m={"value": kg, "u95": 0.02}, conditions=conditions)
        (tmp_path / f"{name}.json").write_text(json.dumps(content), encoding="utf-8")
    assert run(["compare", str(tmp_path / "one.json"), str(tmp_path / "two.json")]) == 0
    said = capsys.readouterr().out
    assert "kg_m.value: 3.9 -> 3.8 m   (" in said
    assert "conditions[arrival].probability_over: 20.0 % -> below 0.1 %" in said
    assert "departure" not in said and "e-1" not in said
