"""The command line from end to end, as a person types it: one folder, several verbs, exit codes, JSON."""

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from quietheel.cli import run

T0 = "2031-05-14T08:00:00Z"


def says(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> str:
    capsys.readouterr()
    assert run(list(arguments)) == code, capsys.readouterr()
    return capsys.readouterr().out


@pytest.fixture(scope="module")
def practice(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("day") / "practice"
    assert run(["simulate", "merrowby", "--out", str(folder), "--seed", "3"]) == 0
    return folder


def test_reduce_prints_what_outside_programs_read(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(says(capsys, "reduce", str(practice), "--json"))
    truth = json.loads((practice / "truth.json").read_text(encoding="utf-8"))
    assert found["gm"]["method"]
    for pair in (found["gm"], found["gm_line"]):
        assert 0 < pair["u95_m"] < 0.02
    assert abs(found["gm"]["value_m"] - truth["gm_m"]) < found["gm"]["u95_m"]
    assert abs(found["kg_m"]["value"] - truth["kg_m"]) < found["kg_m"]["u95"]
    assert abs(found["displacement_t"]["value"] - truth["displacement_t"]) < found["displacement_t"]["u95"]
    for key, true in truth["lightship"].items():
        assert abs(found["lightship"][key]["value"] - true) < 1.5 * found["lightship"][key]["u95"]
    assert [w["label"] for w in found["windows"]] == list("012345678")
    for window in found["windows"]:
        assert window["verdict"] in ("fine", "caution", "rejected")
        assert window["start"] < window["stop"]
        assert {"moment_tm", "heel_deg", "u95_deg", "reasons"} <= window.keys()
    rejected = {w["label"]: w["reasons"] for w in found["windows"] if w["verdict"] == "rejected"}
    assert rejected.keys() == {"2", "6"}
    assert "taut" in rejected["2"]
    assert "people" in rejected["6"]


def test_a_reduction_is_the_same_to_the_last_digit(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    says(capsys, "reduce", str(practice), "--as", "one")
    says(capsys, "reduce", str(practice), "--as", "two")
    found = json.loads(says(capsys, "compare", "one", "two", "--folder", str(practice), "--json"))
    assert found["same"]


def test_another_setting_gives_another_result_beside_it(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    says(capsys, "reduce", str(practice))
    says(capsys, "reduce", str(practice), "--set", "gm_carried=line", "--as", "line")
    text = says(capsys, "compare", "reduction", "line", "--folder", str(practice))
    assert "gm_carried: curve -> line" in text
    assert "gm.value_m" in text


def test_report_and_verify(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    says(capsys, "report", str(practice))
    results = practice / "results"
    assert (results / "report.pdf").read_bytes().startswith(b"%PDF")
    assert "Preliminary until the authority accepts it" in (results / "report.html").read_text(encoding="utf-8")
    assert "sound" in says(capsys, "verify", str(practice))


def test_windows_waterline_survey_and_plan(practice: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(says(capsys, "windows", str(practice), "--json"))
    assert len(found["windows"]) == 9
    truth = json.loads((practice / "truth.json").read_text(encoding="utf-8"))
    assert found["roll"]["period_s"] == pytest.approx(truth["roll_period_s"], abs=2 * found["roll"]["period_u95_s"])
    assert found["wind"]["heel_u95_deg_at_10_m_s"] > 0
    assert abs(sum(w["wind_correction_deg"] for w in found["windows"])) < 1e-9  # referred to the mean of the windows
    assert re.search(r"period \d+\.\d\d ± \d+\.\d\d s, damping .* ± .* % of", says(capsys, "windows", str(practice)))
    assert "displacement" in says(capsys, "waterline", str(practice))
    assert "within 2%" in says(capsys, "survey", "totals", str(practice))
    plan = json.loads(says(capsys, "plan", "check", str(practice), "--json"))
    assert plan["heel_starboard_deg"] == pytest.approx(3.44, abs=0.1)


def write_imported(folder: Path, gm: float, displacement_t: float) -> None:
    """Nine windows of two sensors, straight from tan(heel) = moment / (displacement GM), with roll and noise."""
    random = np.random.default_rng(11)
    start = np.datetime64("2031-05-14T08:00:00", "ns")
    readings, windows = ["time,sensor,quantity,value,unit"], ["movement,start,stop,moment_tm"]
    moments = [0.0, 20.0, 40.0, 20.0, 0.0, -20.0, -40.0, -20.0, 0.0]
    for number, moment in enumerate(moments):
        begin = start + np.timedelta64(600 * number, "s")
        seconds = np.arange(0.0, 200.0, 0.25)
        phase = random.uniform(0, 2 * np.pi)
        heel = np.degrees(np.arctan(moment / (displacement_t * gm))) + 0.08 * np.cos(2 * np.pi * seconds / 7.3 + phase)
        for sensor, offset in (("fore", 0.02), ("aft", -0.05)):
            noisy = heel + offset + random.normal(0, 0.004, seconds.size)
            stamps = begin + (seconds * 1e9).astype("timedelta64[ns]")
            readings += [f"{t}Z,{sensor},heel,{v:.5f},deg" for t, v in zip(stamps, noisy, strict=True)]
        window = begin + np.timedelta64(40, "s"), begin + np.timedelta64(180, "s")
        windows.append(f"{number},{window[0]}Z,{window[1]}Z,{moment}")
    (folder / "readings.csv").write_text("\n".join(readings), encoding="utf-8")
    (folder / "windows.csv").write_text("\n".join(windows), encoding="utf-8")


def test_somebody_elses_measurement(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_imported(tmp_path, gm=1.234, displacement_t=1800.0)
    tables = ["--readings", str(tmp_path / "readings.csv"), "--windows", str(tmp_path / "windows.csv")]
    folder = str(tmp_path / "elsewhere")
    made = json.loads(says(capsys, "import", folder, *tables, "--displacement-t", "1800", "--json"))
    assert made["windows"] == 9
    found = json.loads(says(capsys, "reduce", folder, "--json"))
    assert found["gm_line"]["value_m"] == pytest.approx(1.234, rel=0.001)
    assert abs(found["gm"]["value_m"] - 1.234) < found["gm"]["u95_m"]
    assert found["kg_m"] is None and found["missing"]["kg_m"]
    assert found["lightship"] is None or found["lightship"]["mass_t"] is None
    assert run(["import", folder, *tables]) == 2


def test_a_plan_that_lacks_the_displacement_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    write_imported(tmp_path, gm=1.0, displacement_t=1000.0)
    tables = ["--readings", str(tmp_path / "readings.csv"), "--windows", str(tmp_path / "windows.csv")]
    folder = str(tmp_path / "elsewhere")
    says(capsys, "import", folder, *tables)
    found = json.loads(says(capsys, "reduce", folder, "--json", code=1))
    assert found["gm"]["value_m"] is None
    assert "displacement" in json.dumps(found["missing"])


def test_a_new_folder_and_its_marks(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    says(capsys, "new", "merrowby")
    monkeypatch.chdir(tmp_path / "merrowby")
    assert "movement 1: weight 2 to starboard" in says(capsys, "plan", "check")
    for line in ("gangway pulled", "movement 1", "open --all", "reading pendulum -- -3 5 -2 4", "close"):
        says(capsys, "mark", *line.split(), "--by", "mate") if "--" not in line.split() else says(
            capsys, "mark", "reading", "pendulum", "--by", "mate", "--", "-3", "5", "-2", "4"
        )
    says(capsys, "mark", "void", "tug alongside", "--window", "1")
    assert run(["mark", "movement", "twelve"]) == 2
    assert "one of: 0, 1" in capsys.readouterr().err
    assert run(["new", "../outside"]) == 2


@pytest.mark.parametrize(
    "text", ["[vessel]\nbreadth_m = -1", "[vessel", "x = 1", "[[stations]]\nname = 'a'\nkind = 'radar'"]
)
def test_a_bad_plan_is_named_line_by_line(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> None:
    (tmp_path / "plan.toml").write_text(text, encoding="utf-8")
    assert run(["plan", "check", str(tmp_path)]) == 2
    assert re.search(r"plan\.toml, line \d", capsys.readouterr().err)


def test_help_of_every_verb_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    from quietheel.cli import _VERBS

    for verb in _VERBS:
        assert "Example:" in says(capsys, verb, "--help"), verb


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from quietheel.cli import run; run(['--help']); "
        "heavy = {'numpy', 'scipy', 'pandas', 'pyarrow', 'pydantic', 'asyncio', 'matplotlib'} & set(sys.modules); "
        "assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_the_readme_shows_the_verbs_as_they_are() -> None:
    from quietheel.cli import _VERBS

    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    for verb in _VERBS:
        assert f"quietheel {verb}" in readme, verb


def test_a_log_without_a_reading_needs_a_person(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "plan.toml").write_text(
        '[[stations]]\nname = "aft"\nsource = { type = "playback", run = "last-week" }\n'
        'channels = [{ quantity = "heel" }]\n',
        encoding="utf-8",
    )
    assert run(["log", str(tmp_path), "--for", "1"]) == 1
    heard = capsys.readouterr()
    assert ": 0 readings on disk, sealed" in heard.out
    assert "warning: not one reading from aft (last-week): no such run: last-week; there is none beside it" in heard.err
