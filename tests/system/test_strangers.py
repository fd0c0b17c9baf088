"""What a stranger does on the first day: odd tables, odd terminals, names that stand in the way."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from quietheel.cli import run
from quietheel.jobs.imported_tables import read_readings, read_windows

HEADING = "time,sensor,quantity,value,unit"
ROW = "2031-05-14T08:00:00Z,aft,heel,1.5,deg"
WINDOWS = "movement,start,stop,moment_tm\n0,2031-05-14T08:00:00Z,2031-05-14T08:02:00Z,0\n"


def table(folder: Path, text: str, coding: str = "utf-8") -> Path:
    file = folder / "readings.csv"
    file.write_bytes(text.encode(coding))
    return file


@pytest.mark.parametrize(
    "text",
    [
        f"{HEADING}\n{ROW}\n",
        f"\ufeff{HEADING}\r\n{ROW}\r\n",
        f"{HEADING}\n{ROW},,\n",
        f"{HEADING},note\n{ROW},still,and more\n",
        f"Time, Sensor ,QUANTITY,value,unit\n{ROW}\n",
        f'"time","sensor","quantity","value","unit"\n"{ROW.replace(",", chr(34) + "," + chr(34))}"\n',
        f"{HEADING}\n{ROW.replace('T', 't').replace('Z', 'z')}\n",
        f"{HEADING}\n{ROW.replace('08:00:00Z', '13:30:00.000000000+05:30')}\n",
        f"{HEADING}\n{ROW.replace('08:00:00Z', '08:00:00.0000000000000000Z')}\n",
        "time;sensor;quantity;value;unit\n2031-05-14T08:00:00Z;aft;heel;1,5;deg\n",
    ],
)
def test_odd_but_legal_tables_are_read(tmp_path: Path, text: str) -> None:
    found = read_readings(table(tmp_path, text))
    (series,) = found.series
    assert (series.station, found.rows) == ("aft", 1)
    assert series.time_ns.tolist() == [1936512000 * 10**9]
    assert series.value[0] == pytest.approx(1.5)


def test_a_sheet_saved_as_utf_16_is_read(tmp_path: Path) -> None:
    assert read_readings(table(tmp_path, f"{HEADING}\n{ROW}\n", "utf-16")).rows == 1


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "nothing in it"),
        ("\x00\x01\x02", "no column time"),
        ("time,sensor\n1,2\n", "no column quantity, value, unit"),
        (f'{HEADING}\n{ROW}\n2031-05-14T08:00:01Z,"aft,heel,5,deg\n', "line 3: found a quote that is never closed"),
        (f"{HEADING}\n{ROW.replace('2031', '1600')}\n", "line 2, time"),
        (f"{HEADING}\n{ROW.replace('2031', '9999')}\n", "from 1971 to 2199"),
        (f"{HEADING}\n{ROW.replace('1.5', '1e300')}\n", "line 2, value: found '1e300'"),
        (f"{HEADING}\n{ROW.replace('aft', chr(1))}\n", "line 2, sensor"),
    ],
)
def test_a_table_that_is_none_is_refused_and_nothing_written(
    tmp_path: Path, text: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    windows = tmp_path / "windows.csv"
    windows.write_text(WINDOWS, encoding="utf-8")
    folder = tmp_path / "elsewhere"
    given = ["import", str(folder), "--readings", str(table(tmp_path, text)), "--windows", str(windows)]
    assert run(given) == 2
    assert says in capsys.readouterr().err
    assert not folder.exists()


def test_a_figure_that_is_none_leaves_no_folder_behind(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    windows = tmp_path / "windows.csv"
    windows.write_text(WINDOWS, encoding="utf-8")
    readings = table(tmp_path, f"{HEADING}\n{ROW}\n")
    folder = tmp_path / "elsewhere"
    given = ["import", str(folder), "--readings", str(readings), "--windows", str(windows)]
    assert run([*given, "--displacement-t", "nan"]) == 2
    assert "--displacement-t: found nan" in capsys.readouterr().err
    assert not folder.exists()
    assert run([*given, "--displacement-t", "2000", "--bm-m", "3.2"]) == 0


def test_windows_of_one_name_all_get_names_of_their_own(tmp_path: Path) -> None:
    rows = [f"{name},2031-05-14T08:0{n}:00Z,2031-05-14T08:0{n + 1}:00Z,0" for n, name in enumerate("1121")]
    file = tmp_path / "windows.csv"
    file.write_text("\n".join(["movement,start,stop,moment_tm", *rows]), encoding="utf-8")
    assert [window.label for window in read_windows(file)] == ["1", "1 again", "2", "1 again 2"]


def test_a_folder_named_like_the_packaged_day_is_not_in_its_way(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["new", "merrowby"]) == 0
    assert run(["simulate", "merrowby", "--out", "día [1]", "--seed", "7"]) == 0
    assert run(["simulate", "merrowby", "--out", "other", "--seed", "-7"]) == 2
    assert run(["reduce", "día [1]", "--set", "seed=-4"]) == 2
    assert run(["stations", "list", "nowhere"]) == 2
    assert "found nowhere" in capsys.readouterr().err


def typed(folder: Path, *arguments: str, **environment: str) -> "subprocess.CompletedProcess[bytes]":
    return subprocess.run(
        [sys.executable, "-m", "quietheel", *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[2]), **environment},
        capture_output=True,
        check=False,
        timeout=120,
    )


def test_a_terminal_without_the_letters_shows_the_day_all_the_same(tmp_path: Path) -> None:
    assert typed(tmp_path, "new", "quay").returncode == 0
    assert typed(tmp_path / "quay", "mark", "note", "café 日本").returncode == 0
    for coding in ("ascii", "cp1252"):
        shown = typed(tmp_path / "quay", "watch", "--once", PYTHONIOENCODING=coding)
        assert shown.returncode == 0, shown.stderr
    found = typed(tmp_path / "quay", "mark", "note", "café 日本", "--json")
    assert json.loads(found.stdout.decode("utf-8"))["data"]["text"] == "café 日本"


def test_no_color_is_honoured(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.setattr("click.utils.should_strip_ansi", lambda stream, color=None: color is False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert run(["windows", "nowhere"]) == 2
    assert "\x1b[" in capsys.readouterr().err
    monkeypatch.setenv("NO_COLOR", "1")
    assert run(["windows", "nowhere"]) == 2
    assert "\x1b[" not in capsys.readouterr().err


def test_every_function_of_the_front_door_is_there_and_documented() -> None:
    import quietheel

    for name in quietheel.__all__:
        if name != "__version__":
            assert getattr(quietheel, name).__doc__
    assert {"mark", "waterline", "reduce", "read_frame"} <= set(dir(quietheel))


def test_an_empty_form_and_a_missing_one_are_told_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "quay"
    assert typed(tmp_path, "new", "quay").returncode == 0
    for file, verb in (("survey.csv", ["survey", "totals"]), ("waterline.csv", ["waterline"])):
        assert run([*verb, str(folder)]) == 2
        assert f"{file}, whole file: found no line filled in" in capsys.readouterr().err
        (folder / file).unlink()
        assert run([*verb, str(folder)]) == 2
        assert f"{file}, whole file: found no such file" in capsys.readouterr().err


def test_a_folder_that_windows_could_not_open_is_not_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    table(tmp_path, f"{HEADING}\n{ROW}\n")
    (tmp_path / "windows.csv").write_text(WINDOWS, encoding="utf-8")
    for command in (
        ["new", "aux"],
        ["simulate", "merrowby", "--out", "COM1.day"],
        ["import", "nul", "--readings", "readings.csv", "--windows", "windows.csv", "--displacement-t", "2000"],
    ):
        assert run(command) == 2
        assert "does not keep for a device" in capsys.readouterr().err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["readings.csv", "windows.csv"]
