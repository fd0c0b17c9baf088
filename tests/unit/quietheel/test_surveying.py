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


def test_an_item_heavier_than_the_vessel_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    plan = "[vessel]\ndisplacement_t = 1150.0\n[vessel.lightship]\nmass_t = 938.0\nvcg_m = 4.0\nlcg_m = 20.0\n"
    (tmp_path / "plan.toml").write_text(plan, encoding="utf-8")
    (tmp_path / "tablet.csv").write_text(FORM.replace("0.35", "4470"), encoding="utf-8")
    wanted = r"tablet.csv, line 2, mass_t: found 4470; tonnes, under the 1150 t of the vessel \(vessel.displacement_t\)"
    with pytest.raises(BadInput, match=wanted):
        import_survey(tmp_path, tmp_path / "tablet.csv")
    assert not (tmp_path / "survey.csv").exists()
    (tmp_path / "plan.toml").write_text(plan.replace("displacement_t = 1150.0", ""), encoding="utf-8")
    with pytest.raises(BadInput, match=r"938 t of the vessel \(vessel.lightship.mass_t\); 4470 kg are 4.47"):
        import_survey(tmp_path, tmp_path / "tablet.csv")
    (tmp_path / "plan.toml").write_text("", encoding="utf-8")
    assert import_survey(tmp_path, tmp_path / "tablet.csv") == (1, 0)


def test_a_line_that_is_there_with_another_mass_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plan.toml").write_text("", encoding="utf-8")
    (tmp_path / "survey.csv").write_text(FORM, encoding="utf-8")
    (tmp_path / "tablet.csv").write_text(FORM.replace("0.35", "0.4"), encoding="utf-8")
    assert run(["survey", "import", str(tmp_path / "tablet.csv"), "-C", str(tmp_path)]) == 0
    assert "there with another mass: paint, main deck: 0.4 t, 0.35 t on line 2" in capsys.readouterr().err
    assert run(["survey", "import", str(tmp_path / "tablet.csv"), "-C", str(tmp_path)]) == 0
    assert "another mass" not in capsys.readouterr().err
