"""Forms that come back are added to survey.csv; what a person wrote there stays."""

from __future__ import annotations

from pathlib import Path

from config.survey_table import read_survey
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
