"""Forms that come back are added to survey.csv; what a person wrote there stays."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.errors import BadInput
from config.survey_table import read_survey
from quietheel.cli import run
from quietheel.jobs.new import new
from quietheel.jobs.surveying import import_survey

FORM = "item,space,action,mass_t,x_m,y_m,z_m\npaint,main deck,off,0.35,20,-2,4.9\n"


def test_remarks_and_columns_of_the_scaffold_survive_an_import(tmp_path: Path) -> None:
    folder = new("fresh", tmp_path)
    before = (folder / "survey.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "tablet.csv").write_text(FORM, encoding="utf-8")
    assert import_survey(folder, tmp_path / "tablet.csv") == (1, 0)
    after = (folder / "survey.csv").read_text(encoding="utf-8").splitlines()
    assert after[: len(before)] == before
    assert import_survey(folder, tmp_path / "tablet.csv") == (0, 1)
    assert [row.item for row in read_survey(folder / "survey.csv")] == ["paint"]


def test_a_form_that_nobody_filled_in_is_told_so(tmp_path: Path) -> None:
    folder = new("fresh", tmp_path)
    (tmp_path / "tablet.csv").write_text(FORM.splitlines()[0] + "\n", encoding="utf-8")
    with pytest.raises(BadInput, match="no line filled in"):
        import_survey(folder, tmp_path / "tablet.csv")


@pytest.mark.parametrize(("mass", "code"), [(3.0, 0), (5.0, 1)])
def test_totals_beyond_the_limits_need_a_person(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], mass: float, code: int
) -> None:
    lightship = "[vessel.lightship]\nmass_t = 100.0\nvcg_m = 4.0\nlcg_m = 20.0\n"
    (tmp_path / "plan.toml").write_text(lightship, encoding="utf-8")
    (tmp_path / "survey.csv").write_text(FORM.replace("0.35", str(mass)), encoding="utf-8")
    assert run(["survey", "totals", str(tmp_path)]) == code
    assert ("beyond 4%" in capsys.readouterr().out) == bool(code)
    assert run(["survey", "totals", str(tmp_path), "--json"]) == code


def test_totals_without_a_lightship_say_that_nothing_was_compared(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "plan.toml").write_text("", encoding="utf-8")
    (tmp_path / "survey.csv").write_text(FORM, encoding="utf-8")
    assert run(["survey", "totals", str(tmp_path)]) == 0
    assert "the plan gives no [vessel.lightship]" in capsys.readouterr().err


def test_kilograms_for_tonnes_and_a_space_seen_since_are_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lightship = "[vessel.lightship]\nmass_t = 2460.0\nvcg_m = 6.0\nlcg_m = 27.0\n"
    (tmp_path / "plan.toml").write_text(lightship, encoding="utf-8")
    moved = "item,space,action,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m\ncement box,void 3,move,400,20,0,1,21,0,1\n"
    moved += "to be opened,chain locker,not surveyed,,,,,,,\nmud,chain locker,off,0.75,58,0,3,,,\n"
    (tmp_path / "survey.csv").write_text(moved, encoding="utf-8")
    assert run(["survey", "totals", str(tmp_path)]) == 1
    told = capsys.readouterr()
    assert "cement box (400 t, 16.3 % of lightship)" in told.out
    assert "mud" not in told.out
    assert "chain locker has other lines too" in told.err
    (tmp_path / "survey.csv").write_text(moved.replace(",400,", ",0.4,"), encoding="utf-8")
    assert run(["survey", "totals", str(tmp_path)]) == 0
