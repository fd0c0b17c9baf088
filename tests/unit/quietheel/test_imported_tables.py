import json
from pathlib import Path

import numpy as np
import pytest

from config.errors import BadInput
from logger.archive.verify import verify
from quietheel.cli import run
from quietheel.jobs.imported_tables import read_readings, read_windows
from quietheel.jobs.importing import Imported, import_readings

HEAD = "time,sensor,quantity,value,unit\n"


def write(folder: Path, text: str) -> Path:
    path = folder / "table.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_units_times_gaps_and_repeats(tmp_path: Path) -> None:
    table = read_readings(
        write(
            tmp_path,
            HEAD + "2030-05-14T08:00:01.123456789Z,aft,heel,0.01,rad\n"
            "2030-05-14T08:00:00Z,aft,heel,0.02,rad\n"
            "2030-05-14T10:00:02+02:00,aft,heel,1.0,deg\n"
            "2030-05-14T08:00:00Z,aft,heel,0.05,rad\n"
            "2030-05-14T08:00:03Z,aft,heel,NaN,deg\n"
            "\n"
            "2030-05-14T08:00:00Z,mast,wind_speed,10,kn\n",
        )
    )
    heel, wind = table.series
    assert (table.rows, table.blank, table.repeated) == (6, 1, 1)
    assert np.allclose(heel.value, [np.degrees(0.02), np.degrees(0.01), 1.0])
    assert heel.time_ns[1] - heel.time_ns[0] == 1_123_456_789
    assert heel.time_ns[2] - heel.time_ns[0] == 2_000_000_000
    assert wind.value[0] == pytest.approx(5.14444, abs=1e-5)


def test_every_wrong_line_is_named(tmp_path: Path) -> None:
    text = (
        HEAD
        + "yesterday,aft,heel,1,deg\n2030-05-14T08:00:00Z,aft,heal,x,deg\n2030-05-14T08:00:00Z,aft,heel,1,furlong\n"
    )
    with pytest.raises(BadInput) as caught:
        read_readings(write(tmp_path, text))
    said = str(caught.value)
    for part in ("line 2, time: found 'yesterday'", "line 3, value: found 'x'", "line 3, quantity", "line 4, unit"):
        assert part in said


def test_windows_keep_their_order_and_get_names_of_their_own(tmp_path: Path) -> None:
    windows = read_windows(
        write(
            tmp_path,
            "movement,start,stop,moment_tm\n1,2030-05-14T08:10:00Z,2030-05-14T08:12:00Z,20\n"
            "0,2030-05-14T08:00:00Z,2030-05-14T08:02:00Z,0\n1,2030-05-14T08:20:00Z,2030-05-14T08:22:00Z,20\n",
        )
    )
    assert [w.label for w in windows] == ["0", "1", "1 again"]


@pytest.mark.parametrize(
    ("rows", "part"),
    [
        ("1,2030-05-14T08:10:00Z,2030-05-14T08:10:00Z,20\n", "a time after start"),
        ("1,2030-05-14T08:10:00Z,2030-05-14T08:12:00Z,many\n", "line 2, moment_tm: found 'many'"),
        (
            "1,2030-05-14T08:10:00Z,2030-05-14T08:12:00Z,2\n2,2030-05-14T08:11:00Z,2030-05-14T08:13:00Z,2\n",
            "do not overlap",
        ),
    ],
)
def test_windows_that_cannot_be(tmp_path: Path, rows: str, part: str) -> None:
    with pytest.raises(BadInput, match=part):
        read_windows(write(tmp_path, "movement,start,stop,moment_tm\n" + rows))


U95 = "movement,start,stop,moment_tm,moment_u95_tm\n"


def test_the_interval_of_a_moment_may_be_left_empty(tmp_path: Path) -> None:
    text = U95 + "0,2030-05-14T08:00:00Z,2030-05-14T08:02:00Z,0,\n1,2030-05-14T08:10:00Z,2030-05-14T08:12:00Z,20,0.05\n"
    assert [w.moment_u95_tm for w in read_windows(write(tmp_path, text))] == [None, 0.05]
    commas = text.replace("0.05", "0,05").replace(",", ";").replace("0;05", "0,05")
    assert [w.moment_u95_tm for w in read_windows(write(tmp_path, commas))] == [None, 0.05]


@pytest.mark.parametrize("cell", ["-0.1", "some", "nan", "inf", "1e7"])
def test_the_interval_of_a_moment_has_to_be_a_half_width(tmp_path: Path, cell: str) -> None:
    text = U95 + f"0,2030-05-14T08:00:00Z,2030-05-14T08:02:00Z,0,{cell}\n"
    with pytest.raises(BadInput, match=f"line 2, moment_u95_tm: found '{cell}'; a half width at 95 %"):
        read_windows(write(tmp_path, text))


def test_a_column_that_is_there_twice_is_named(tmp_path: Path) -> None:
    text = U95.replace("\n", ",Moment_tm\n") + "0,2030-05-14T08:00:00Z,2030-05-14T08:02:00Z,0,1,2\n"
    with pytest.raises(BadInput, match="moment_tm; each column once"):
        read_windows(write(tmp_path, text))


def test_columns_that_are_missing(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="the columns time,sensor"):
        read_readings(write(tmp_path, "t,v\n1,2\n"))


def rows(day: str, zone: str = "Z") -> str:
    return HEAD + "".join(f"{day}T08:0{m}:0{s}{zone},aft,heel,0.5,deg\n" for m in range(2) for s in range(10))


def imported(folder: Path, day: str, zone: str = "Z") -> Imported:
    (folder / "readings.csv").write_text(rows("2030-05-14", zone), encoding="utf-8")
    (folder / "windows.csv").write_text(
        "movement,start,stop,moment_tm\n"
        f"0,{day}T08:00:00Z,{day}T08:00:09Z,0\n1,{day}T08:01:00Z,{day}T08:01:09Z,20\n2,{day}T09:00:00Z,{day}T09:01:00Z,9\n",
        encoding="utf-8",
    )
    return import_readings(folder / "made", folder / "readings.csv", folder / "windows.csv", displacement_t=900.0)


def test_windows_without_a_reading_are_named(tmp_path: Path) -> None:
    assert imported(tmp_path, "2030-05-14").empty_windows == ("2",)


def test_windows_of_another_day_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match=r"which run from 2030-05-14T08:00:00\.000Z to 2030-05-14T08:01:09\.000Z"):
        imported(tmp_path, "2030-05-15")
    assert not (tmp_path / "made").exists()


def test_times_without_a_zone_are_counted(tmp_path: Path) -> None:
    assert imported(tmp_path, "2030-05-14", zone="").unzoned == 20


def test_decimal_commas_between_commas_are_told(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="decimals are written with a point"):
        read_readings(write(tmp_path, HEAD + "2030-05-14T08:00:01Z,aft,heel,0,01,deg\n"))


def test_rows_left_out_are_named_and_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = "".join(f"2030-05-14T08:00:{n:02d}Z,aft,heel,{'' if n in (3, 4) else n},deg\n" for n in range(20))
    rows += "2030-05-14T08:00:07Z,aft,heel,7.5,deg\n"
    readings = write(tmp_path, HEAD + rows)
    windows = tmp_path / "windows.csv"
    windows.write_text(
        "movement,start,stop,moment_tm\n0,2030-05-14T08:00:00Z,2030-05-14T08:00:15Z,0\n", encoding="utf-8"
    )
    folder = tmp_path / "made"
    assert run(["import", str(folder), "--readings", str(readings), "--windows", str(windows)]) == 0
    out, said = capsys.readouterr()
    assert "18 readings of 1 station" in out
    assert "left out: 2 rows without a value, 1 with a time its channel had" in said
    assert "table.csv, line 5, aft heel: value ''; no value: a gap" in said
    assert "table.csv, line 22, aft heel: value '7.5'; line 9 has this channel and time: kept" in said
    (kept,) = folder.glob("record/*/left-out.csv")
    assert str(kept) in said
    assert kept.read_text(encoding="utf-8").splitlines() == [
        "line,time,sensor,quantity,value,unit,why",
        "5,2030-05-14T08:00:03Z,aft,heel,,deg,no value: a gap",
        "6,2030-05-14T08:00:04Z,aft,heel,,deg,no value: a gap",
        "22,2030-05-14T08:00:07Z,aft,heel,7.5,deg,line 9 has this channel and time: kept",
    ]
    assert verify(folder).sound


def test_what_a_plan_still_needs_is_said_before_the_next_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = write(tmp_path, HEAD + "".join(f"2030-05-14T08:{n:02d}:00Z,aft,heel,{n},deg\n" for n in range(20)))
    windows = tmp_path / "windows.csv"
    windows.write_text(
        "movement,start,stop,moment_tm\n0,2030-05-14T08:00:00Z,2030-05-14T08:05:00Z,0\n"
        "1,2030-05-14T08:06:00Z,2030-05-14T08:12:00Z,5\n",
        encoding="utf-8",
    )
    tables = ["--readings", str(readings), "--windows", str(windows)]
    bare, broken, whole = (tmp_path / name for name in ("bare", "broken", "whole"))
    assert run(["import", str(bare), *tables]) == 0
    said = capsys.readouterr().err
    assert "needed: vessel.displacement_t as inclined" in said
    assert said.splitlines()[-1].startswith("Next: mend what is needed (quietheel plan check ")
    broken.mkdir()
    (broken / "plan.toml").write_text("[vessel]\ndisplacement_t = 900.0\n", encoding="utf-8")
    (broken / "survey.csv").write_text("item,mass_t\nanchor,heavy\n", encoding="utf-8")
    assert run(["import", str(broken), *tables, "--json"]) == 0
    assert any("survey.csv" in line for line in json.loads(capsys.readouterr().out)["needed"])
    assert run(["import", str(whole), *tables, "--displacement-t", "900", "--bm-m", "3"]) == 0
    assert capsys.readouterr().err.splitlines()[-1].startswith("Next: quietheel reduce ")


@pytest.mark.parametrize("unit", ["kn", "kt", "kts", "KT", "knot", "knots", "Knots"])
def test_knots_are_knots_however_they_are_written(tmp_path: Path, unit: str) -> None:
    table = read_readings(write(tmp_path, HEAD + f"2030-05-14T08:00:00Z,mast,wind_speed,10,{unit}\n"))
    assert table.series[0].value[0] == pytest.approx(5.14444, abs=1e-5)
    assert table.rewritten == (() if unit == "kn" else (f"{unit}, taken as kn",))


@pytest.mark.parametrize(
    ("quantity", "unit", "part"),
    [
        ("heel", "%", "its arctangent"),
        ("wind_speed", "bft", "a Beaufort number is a range"),
        ("wind_speed", "mph", "0.44704"),
        ("line_tension", "t", "tf for the weight of a tonne"),
        ("temperature", "F", "figures in degC"),
        ("heel", "knots", "for heel: one of deg, rad"),
    ],
)
def test_a_customary_unit_that_is_none_of_ours_is_answered(tmp_path: Path, quantity: str, unit: str, part: str) -> None:
    with pytest.raises(BadInput, match=part):
        read_readings(write(tmp_path, HEAD + f"2030-05-14T08:00:00Z,aft,{quantity},1,{unit}\n"))


AT = "2030-05-14T08:00:00Z"


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("aft,heel,200,deg", "line 2, value: found '200'; for heel: an angle within 90 degrees"),
        ("aft,trim,-1.6,rad", "line 2, value: found '-1.6'; for trim: an angle within 90 degrees"),
        ("mast,wind_speed,-5,m/s", "line 2, value: found '-5'; for wind_speed: a speed of 0 or more"),
        ("mast,wind_direction,400,deg", "line 2, value: found '400'; for wind_direction: from -360 to 360"),
        ('aft,heel,"-0,00169",deg', "decimal commas are read in a table with ; between the cells"),
        ("../x,heel,1,deg", "line 2, sensor: found '../x'; a name of at most 64 letters of any language"),
        ("fwd·ü,heel,1,deg", "line 2, sensor: found 'fwd·ü'"),
        (f"{'a' * 65},heel,1,deg", "line 2, sensor: found 'aaa"),
    ],
)
def test_what_no_sensor_can_have_read_is_named_with_what_would_be_right(tmp_path: Path, row: str, words: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_readings(write(tmp_path, HEAD + f"{AT},{row}\n"))
    assert words in str(caught.value) and len(caught.value.faults) == 1


def test_angles_to_the_bound_and_names_of_any_language_are_taken(tmp_path: Path) -> None:
    table = read_readings(
        write(tmp_path, HEAD + f"{AT},décküü 1,heel,-90,deg\n{AT},mast,wind_direction,-180,deg\n{AT},hold,heel,,deg\n")
    )
    assert [series.station for series in table.series] == ["décküü 1", "mast", "hold"]


def test_faults_are_counted_over_all_sensors_together(tmp_path: Path) -> None:
    rows = "".join(f"{AT},s{n % 10},heel,1,furlong\n" for n in range(50))
    with pytest.raises(BadInput) as caught:
        read_readings(write(tmp_path, HEAD + rows))
    assert len(caught.value.faults) == 21 and caught.value.faults[-1].value == "30 more lines like that"
    assert [fault.where for fault in caught.value.faults[:2]] == ["line 2, unit", "line 3, unit"]


def test_windows_of_another_day_are_named_by_line_and_time(tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        imported(tmp_path, "2030-05-15")
    first = caught.value.faults[0]
    assert (first.file, first.where) == ("windows.csv", "line 2, start, stop")
    assert first.value == "2030-05-15T08:00:00.000Z to 2030-05-15T08:00:09.000Z"


def test_a_movement_with_several_windows_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    readings = write(tmp_path, rows("2030-05-14"))
    windows = tmp_path / "windows.csv"
    spans = "".join(f"1,2030-05-14T08:0{n}:00Z,2030-05-14T08:0{n}:09Z,{n}\n" for n in range(2))
    windows.write_text("movement,start,stop,moment_tm\n" + spans, encoding="utf-8")
    assert run(["import", str(tmp_path / "made"), "--readings", str(readings), "--windows", str(windows)]) == 0
    assert "movement 1 has 2 windows, called 1, 1 again: the same movement again?" in capsys.readouterr().err
