"""A plan is practised on a quiet day of its own; what is no scenario is told before anything is written."""

from __future__ import annotations

from pathlib import Path

import pytest

import quietheel
from config.errors import BadInput
from config.folder import TestFolder
from config.tables import read_tables
from quietheel.jobs.new import new
from quietheel.jobs.rehearsal import scenario_of
from quietheel.jobs.simulate import simulate


def test_the_estimates_of_a_plan_come_true_and_are_found_again(tmp_path: Path) -> None:
    folder = new("fresh", tmp_path)
    made = simulate(folder / "plan.toml", tmp_path / "practice", seed=3)
    assert (made.truth.gm_m, made.truth.displacement_t) == (1.0, 1000.0)
    assert (tmp_path / "practice" / "plan.toml").read_bytes() == (folder / "plan.toml").read_bytes()
    found = quietheel.reduce(tmp_path / "practice").gm.value
    assert found is not None
    assert abs(found.gm.value - 1.0) < found.gm.u95()
    (expected,) = (1.96 * one.gm_u for one in quietheel.check_plan(folder).forecasts if one.window_s == 120.0)
    assert 0.7 < found.gm.u95() / expected < 1.3
    assert len(TestFolder(tmp_path / "practice").events.read_text().splitlines()) > 27


@pytest.mark.parametrize(
    ("old", "new_text", "words"),
    [
        ("estimated_gm_m = 1.0", "# ", "both: they are what comes true"),
        ('kind = "inclinometer"', 'kind = "other"', "an inclinometer"),
    ],
)
def test_what_a_day_cannot_be_made_without_is_named(tmp_path: Path, old: str, new_text: str, words: str) -> None:
    plan = new("fresh", tmp_path) / "plan.toml"
    plan.write_text(plan.read_text(encoding="utf-8").replace(old, new_text), encoding="utf-8")
    with pytest.raises(BadInput, match=words):
        simulate(plan, tmp_path / "practice")
    assert not (tmp_path / "practice").exists()


def test_people_stand_at_their_muster_stations_and_the_day_begins_on_its_date(tmp_path: Path) -> None:
    plan = new("fresh", tmp_path) / "plan.toml"
    text = plan.read_text(encoding="utf-8").replace("# date = 2030-05-14", "date = 2030-05-14")
    plan.write_text(text + '\n[[people]]\nname = "mate"\nmuster_station = "wheelhouse"\n', encoding="utf-8")
    made = scenario_of(TestFolder(plan.parent).plan())
    assert made.people[0].at_m == (30.0, 0.0, 9.0)
    assert f"{made.schedule.start:%Y-%m-%dT%H:%M%z}" == "2030-05-14T08:00+0000"


def test_the_wind_of_the_day_has_the_hold_on_her_that_the_forecast_takes(tmp_path: Path) -> None:
    plan = new("fresh", tmp_path) / "plan.toml"
    usual = scenario_of(TestFolder(plan.parent).plan())
    assert usual.wind.area_m2 == pytest.approx(0.8 * 5.0 * 50.0)
    assert usual.wind.area_height_m + 0.5 * usual.vessel.draught_m == pytest.approx(0.8 * 5.0)
    text = plan.read_text(encoding="utf-8") + "windage_area_m2 = 310.0\nwindage_lever_m = 6.5\n"
    plan.write_text(text, encoding="utf-8")
    own = scenario_of(TestFolder(plan.parent).plan())
    assert own.wind.area_m2 == 310.0
    assert own.wind.area_height_m + 0.5 * own.vessel.draught_m == pytest.approx(6.5)


def test_a_scenario_without_a_device_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    (tmp_path / "bare.toml").write_text('name = "bare"\n', encoding="utf-8")
    with pytest.raises(BadInput, match=r"one \[\[devices\]\] or more"):
        simulate(tmp_path / "bare.toml", tmp_path / "practice")
    assert not (tmp_path / "practice").exists()


def test_the_answer_is_said_even_where_the_folder_cannot_be_written_to(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from quietheel.cli import run
    from quietheel.commands import reduce as verb

    def refuse(*_: object) -> None:
        raise OSError(30, "Read-only file system")

    simulate(new("fresh", tmp_path) / "plan.toml", tmp_path / "practice", seed=3)
    monkeypatch.setattr(verb, "write_result", refuse)
    assert run(["reduce", str(tmp_path / "practice")]) == 3
    said = capsys.readouterr()
    assert "GM" in said.out
    assert "Read-only file system" in said.err


def test_her_metacentre_is_that_of_the_offsets(tmp_path: Path) -> None:
    folder = new("fresh", tmp_path)
    plan = folder / "plan.toml"
    text = plan.read_text(encoding="utf-8").replace('source = "values"', 'source = "offsets"')
    plan.write_text(text.replace("# length_m = 48.0", "length_m = 48.0"), encoding="utf-8")
    box = "".join(f"{x},{z},5.5\n" for x in (0, 24, 48) for z in (0, 6))
    (folder / "offsets.csv").write_text("x_m,z_m,half_breadth_m\n" + box, encoding="utf-8")
    made = scenario_of(TestFolder(folder).plan(), tables=read_tables(TestFolder(folder), TestFolder(folder).plan()))
    draught = 1000.0 / 1.025 / (48.0 * 11.0)
    assert made.vessel.draught_m == pytest.approx(draught)
    assert made.vessel.bm_m == pytest.approx(11.0**2 / 12.0 / draught)
    assert made.vessel.km_m == pytest.approx(draught / 2.0 + 11.0**2 / 12.0 / draught)
