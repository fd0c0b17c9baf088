from pathlib import Path

import numpy as np
import pytest

from config.errors import BadInput
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
