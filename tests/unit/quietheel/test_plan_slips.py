"""A plan in another unit, or one that the logger would refuse, is told weeks before the day."""

from __future__ import annotations

from pathlib import Path

import pytest

import quietheel
from quietheel.jobs.new import new

RIGHT = """
[vessel]
length_m = 46.0
breadth_m = 10.0
depth_m = 4.2
displacement_t = 900.0
estimated_gm_m = 1.0
estimated_period_s = 7.5
[[stations]]
name = "aft"
position_m = [6.0, 0.0, 6.5]
dialect = "nmea"
channels = [{ quantity = "heel", field = "HEEL", unit = "degrees" }]
source = { type = "serial", port = "COM4" }
[[stations]]
name = "pendulum"
kind = "pendulum"
length_m = 4.5
[[weights]]
name = "A"
mass_t = 2.9
port_m = [20.0, -4.0, 5.0]
starboard_m = [20.0, 4.0, 5.0]
[[people]]
name = "mate"
muster_station = "wheelhouse"
mass_kg = 80
[settings]
window_s = 120.0
leave_out = []
[[movements]]
label = "0"
[[movements]]
label = "1"
to_starboard = ["A"]
[sequence]
standard = "own"
"""


def said(folder: Path, old: str = "", new_text: str = "") -> list[str]:
    assert old in RIGHT
    (folder / "plan.toml").write_text(RIGHT.replace(old, new_text) if old else RIGHT, encoding="utf-8")
    found = quietheel.check_plan(folder)
    return [*found.advice, *found.missing]


@pytest.mark.parametrize(
    ("old", "slip", "words"),
    [
        ("mass_t = 2.9", "mass_t = 2900", "mass_t is in tonnes"),
        ("length_m = 46.0", "length_m = 46000", "in another unit"),
        ("displacement_t = 900.0", "displacement_t = 900000.0", "in another unit"),
        ("length_m = 4.5\n", "length_m = 4500\n", "length_m is in metres"),
        ("mass_kg = 80", "mass_kg = 0.08", "mass_kg is in kilograms"),
        ("window_s = 120.0", "window_s = 2.0", "30 s or more"),
        ("[6.0, 0.0, 6.5]", "[6000.0, 0.0, 6.5]", "x = 6000 m is off a vessel of 46 m"),
        ("[20.0, 4.0, 5.0]", "[20.0, 40.0, 5.0]", "y = 40 m is off a vessel 10 m wide"),
        ('dialect = "nmea"', 'dialect = "nmae"', "needed: stations, aft, dialect: found nmae"),
        ('unit = "degrees"', 'unit = "grad"', "needed: stations, aft: unit grad is none of heel; one of deg, rad"),
        ('unit = "degrees"', 'unit = "mm/m"', "here figures in deg (of a slope: its arctangent)"),
        ("leave_out = []", 'leave_out = ["afft"]', "needed: settings.leave_out: found afft"),
    ],
)
def test_each_slip_is_named_and_the_right_plan_has_none(tmp_path: Path, old: str, slip: str, words: str) -> None:
    assert not any(words in line for line in said(tmp_path))
    assert any(words in line for line in said(tmp_path, old, slip))


def test_what_the_logger_would_refuse_makes_the_plan_not_ready(tmp_path: Path) -> None:
    said(tmp_path)
    assert quietheel.check_plan(tmp_path).ready
    said(tmp_path, 'dialect = "nmea"', 'dialect = "nmae"')
    assert not quietheel.check_plan(tmp_path).ready


def test_the_scaffold_has_no_slip(tmp_path: Path) -> None:
    found = quietheel.check_plan(new("fresh", tmp_path))
    assert found.ready
    assert not [line for line in found.advice if not line.startswith("largest part")]


def test_what_the_forecast_takes_the_displacement_for_is_said(tmp_path: Path) -> None:
    folder = new("fresh", tmp_path)
    plan = (folder / "plan.toml").read_text(encoding="utf-8")
    typed = [line for line in quietheel.check_plan(folder).advice if line.startswith("largest part")]
    (folder / "plan.toml").write_text(plan.replace('source = "values"', 'source = "table"'), encoding="utf-8")
    (folder / "hydrostatics.csv").write_text("draught_m,displacement_t\n2,800\n4,1600\n", encoding="utf-8")
    read = [line for line in quietheel.check_plan(folder).advice if line.startswith("largest part")]
    assert "once draughts are read" not in typed[0]
    assert "displacement" in read[0]
    assert "taken as known to 0.5 % once draughts are read" in read[0]


def test_the_smallest_plan_of_the_readme_lacks_what_the_readme_says(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[3] / "README.md").read_text(encoding="utf-8")
    part = readme.partition("## The smallest plan")[2]
    (tmp_path / "plan.toml").write_text(part.partition("```toml\n")[2].partition("```")[0], encoding="utf-8")
    needed = [line for line in quietheel.check_plan(tmp_path).missing if line.startswith("needed")]
    assert len(needed) == 2
    for line, key in zip(needed, ("vessel.estimated_gm_m", "[[weights]]"), strict=True):
        assert key in line and key in part.partition("```toml")[0]
