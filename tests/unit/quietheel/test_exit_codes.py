"""What a script may rely on: 1 where nothing that was found can be used."""

from __future__ import annotations

from pathlib import Path

import pytest

from quietheel.cli import run
from quietheel.jobs.marking import mark
from quietheel.jobs.new import new

AT = 1_900_000_000_000_000_000


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return new("fresh", tmp_path)


def put(folder: Path, kind: str, second: float, **data: object) -> None:
    mark(folder, kind, data, by="mate", at_ns=AT + round(second * 1e9))


@pytest.mark.parametrize("form", [(), ("--json",)])
def test_windows_of_which_none_is_evidence_need_a_person(folder: Path, form: tuple[str, ...]) -> None:
    verb = ["windows", str(folder), *form]
    assert run(verb) == 1
    for start in (0, 600):
        put(folder, "window_open", start)
        put(folder, "window_close", start + 180)
    assert run(verb) == 1
    put(folder, "reading", 790, station="pendulum", deflections_mm=[12, -9, 11, -8])
    assert run(verb) == 0


def test_a_folder_in_which_nothing_is_recorded_is_not_called_sound(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(folder)]) == 1
    assert "0 readings, 0 marks: nothing is recorded" in capsys.readouterr().out
    put(folder, "window_open", 0)
    put(folder, "reading", 60, station="pendulum", deflections_mm=[12, -9, 11, -8])
    assert run(["verify", str(folder)]) == 0
    assert "2 marks: sound" in capsys.readouterr().out
