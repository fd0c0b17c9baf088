"""Tables as spreadsheets leave them: read alike, faults by line and column, written back unharmed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import quietheel
from config.csvtext import Column, decode, parse_table, write_table
from config.errors import BadInput
from config.folder import TestFolder
from config.hull_tables import parse_hydrostatics, parse_kn, parse_offsets, parse_tank
from config.survey_table import SurveyRow, parse_survey, survey_text
from config.tables import read_tables
from config.waterline_table import density_text, parse_density, parse_waterline, waterline_text

SURVEY = "item,space,action,mass_t,x_m,y_m,z_m\nscaffolding,deck,off,1.25,20.5,-3,7.1\n"


def same(one: tuple[SurveyRow, ...], other: tuple[SurveyRow, ...]) -> bool:
    return [{**vars(r), "line": 0} for r in one] == [{**vars(r), "line": 0} for r in other]


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + SURVEY,
        SURVEY.replace("\n", "\r\n"),
        SURVEY.replace("\n", "\r"),
        SURVEY.replace(",", ";"),
        SURVEY.replace(",", ";").replace(".", ","),
        SURVEY.replace(",", "\t").replace(".", ","),
        "sep=;\n" + SURVEY.replace(",", ";"),
        "# remark\n\n" + SURVEY + "\n;;;\n".replace(";", ","),
        SURVEY.replace("z_m", "z_m,,,").replace("7.1", "7.1,,,"),
        '"item","space","action","mass_t","x_m","y_m","z_m"\n"scaffolding","deck","off","1.25","20.5","-3","7.1"\n',
        " Item , Space ,ACTION,Mass_t,x_m,y_m,z_m\nscaffolding,deck, Off ,1.25, 20.5 ,-3,7.1\n",
        SURVEY.replace("-3", "\u22123"),
    ],
    ids=[
        "bom",
        "crlf",
        "cr",
        "semicolon",
        "comma decimals",
        "tabs",
        "sep",
        "remarks",
        "trailing",
        "quoted",
        "case",
        "minus",
    ],
)
def test_a_spreadsheet_may_have_been_at_it(text: str) -> None:
    found = parse_survey(decode(text.encode(), "survey.csv"))
    assert same(found, parse_survey(SURVEY))


def test_utf16_as_some_sheets_export() -> None:
    assert same(parse_survey(decode(SURVEY.encode("utf-16"), "survey.csv")), parse_survey(SURVEY))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SURVEY.replace("mass_t", "mass_kg"), "did you mean mass_t"),
        (SURVEY.replace("off", "of"), r"line 2, action: found of; one of off, on, move"),
        (SURVEY.replace("1.25", "1,250"), "line 2"),
        (SURVEY.replace("1.25", "-4"), "line 2, mass_t: found -4"),
        (SURVEY.replace("1.25", "about one"), "line 2, mass_t: found about one"),
        (SURVEY.replace("1.25", "nan"), "line 2, mass_t"),
        (SURVEY.replace("1.25", ""), "line 2, mass_t; nothing here"),
        (SURVEY.replace("1.25", "1e999"), "line 2, mass_t"),
        (SURVEY.replace("scaffolding", '"scaffolding'), "quotes that close"),
        (SURVEY.replace("scaffolding", "=2+3"), "formula"),
        (SURVEY.replace("item,", "item,item,").replace("scaff", "a,scaff"), "each column once"),
        ("", "no heading"),
        (SURVEY.replace("off", "move"), "to_x_m, to_y_m, to_z_m"),
        ("item;action;mass_t;x_m;y_m;z_m\na;off;1,5;2.5;0;0\n", "decimal commas or decimal points"),
    ],
)
def test_faults_name_line_and_column(text: str, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        parse_survey(text)


def test_every_fault_is_told_at_once() -> None:
    text = SURVEY + "gear,deck,off,x,1,2,3\ngear,deck,nowhere,1,1,2,3\n"
    with pytest.raises(BadInput) as caught:
        parse_survey(text)
    assert [f.where for f in caught.value.faults] == ["line 3, mass_t", "line 4, action"]


def test_line_numbers_count_lines_inside_quotes() -> None:
    text = 'item,action,mass_t,x_m,y_m,z_m\n"two\nlines",off,1,1,1,1\nb,off,x,1,1,1\n'
    with pytest.raises(BadInput, match="line 4, mass_t"):
        parse_survey(text)


def test_not_utf8_names_the_line() -> None:
    with pytest.raises(BadInput, match=r"line 2.*UTF-8"):
        decode(SURVEY.replace("deck", "d\xe9ck").encode("latin-1"), "survey.csv")


def test_survey_goes_out_and_comes_back() -> None:
    text = (
        "item,space,action,mass_t,x_m,y_m,z_m,mass_u95_t,position_u95_m,to_x_m,to_y_m,to_z_m,ballast,surveyed_by,note\n"
        '"chain, 2"" link",deck,move,2,1.5,0,3,0.05,0.2,40,0,4,,me,"a; b"\n'
        "peak,fore,not surveyed,,,,,,,,,,,,\ntank 4,aft,off,0.1,1,-2,3,,,,,,yes,,\n"
    )
    rows = parse_survey(text)
    assert same(parse_survey(survey_text(rows)), rows)
    assert rows[2].ballast
    assert rows[2].mass_u95_t is None


def test_waterline_and_density_go_out_and_come_back() -> None:
    marks = parse_waterline(
        "mark,kind,x_m,y_m,reading_m,zero_z_m,plate_mm\nA,draught,1,-2,3.05,,\nB,freeboard,2,3,1.2,5.5,8\n"
    )
    assert parse_waterline(waterline_text(marks)) == marks
    samples = parse_density("sample,hydrometer_kg_m3,salinity_g_kg,water_temperature_c\n1,1021.5,,\n2,,34,11\n")
    assert parse_density(density_text(samples)) == samples


@pytest.mark.parametrize(
    ("reader", "text", "words"),
    [
        (parse_waterline, "mark,kind,x_m,y_m,reading_m\nA,freeboard,1,2,3\n", "line 2, zero_z_m"),
        (parse_density, "sample,hydrometer_kg_m3\n1,1.021\n", "950 to 1200 kg/m3"),
        (parse_density, "sample,salinity_g_kg\n1,34\n", "line 2, hydrometer_kg_m3"),
        (parse_hydrostatics, "draught_m,displacement_t\n1,100\n2,90\n", "line 3, displacement_t.*grows"),
        (parse_hydrostatics, "draught_m,displacement_t\n1,100\n", "two draughts"),
        (parse_hydrostatics, "draught_m,displacement_t,km_m\n1,100,5\n2,200,\n", "line 3, km_m"),
        (parse_hydrostatics, "draught_m,trim_m,displacement_t\n1,0,100\n2,0,200\n1,1,101\n3,1,201\n", "same draughts"),
        (parse_hydrostatics, "draught_m,displacement_t\n1,100\n1,100\n", "each draught once"),
        (parse_kn, "displacement_t,heel_deg,kn_m\n100,0,0.4\n100,10,1\n", "0 at heel 0"),
        (parse_kn, "displacement_t,heel_deg,kn_m\n100,5,0.4\n", "two heels"),
        (parse_offsets, "x_m,z_m,half_breadth_m\n0,0,1\n0,1,2\n", "three sections"),
        (parse_offsets, "x_m,z_m,half_breadth_m\n0,1,1\n0,0,2\n1,0,1\n1,1,1\n2,0,1\n2,1,1\n", "line 3, z_m.*upwards"),
        (parse_tank, "sounding_m,volume_m3,x_m,y_m,z_m\n0,0,1,1,1\n0,1,1,1,1\n", "soundings increase"),
        (parse_tank, "sounding_m,volume_m3,x_m,y_m,z_m\n0,5,1,1,1\n1,4,1,1,1\n", "volume grows"),
    ],
)
def test_contradictions_are_told(reader, text: str, words: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(BadInput, match=words):
        reader(text)


def test_optional_columns_are_left_out_where_nothing_fills_them() -> None:
    columns = (Column("a", "text"), Column("b", needed=False), Column("c", "yes_no", needed=False))
    assert write_table(columns, [{"a": "x", "c": True}]) == "a,c\nx,yes\n"
    assert parse_table("a,c\nx,yes\n", columns, "t.csv").rows[0].yes("c")


def demo() -> Path:
    return Path(quietheel.__file__).parent / "demo" / "merrowby"


def test_the_demo_folder_loads_with_digests() -> None:
    folder = TestFolder(demo())
    found = read_tables(folder, folder.plan())
    assert found.hydrostatics is not None
    assert found.offsets is not None
    assert found.survey
    assert found.waterline
    assert found.density
    assert {name for name, _ in found.inputs} >= {"hydrostatics.csv", "offsets.csv", "survey.csv", "waterline.csv"}
    assert all(len(sha) == 64 for _, sha in found.inputs)


def test_a_table_that_the_plan_asks_for_must_be_there(tmp_path: Path) -> None:
    copy = tmp_path / "merrowby"
    shutil.copytree(demo(), copy)
    (copy / "hydrostatics.csv").unlink()
    (copy / "survey.csv").write_text("item,action\nx,off\n", encoding="utf-8")
    folder = TestFolder(copy)
    with pytest.raises(BadInput) as caught:
        read_tables(folder, folder.plan())
    assert {f.file for f in caught.value.faults} == {"hydrostatics.csv", "survey.csv"}


def test_decimal_commas_between_commas_are_told_apart_from_a_missing_quote() -> None:
    with pytest.raises(BadInput) as caught:
        parse_table("mark,reading_m\naft,3,25\n", (Column("mark", "text"), Column("reading_m")), "w.csv").check()
    assert "with commas between the cells, decimals are written with a point" in str(caught.value)


def test_a_table_that_the_plan_asks_for_is_described_where_it_is_not_there(tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text('[hydrostatics]\nsource = "offsets"\n', encoding="utf-8")
    folder = TestFolder(tmp_path)
    with pytest.raises(BadInput) as caught:
        read_tables(folder, folder.plan())
    assert "its first line: x_m,z_m,half_breadth_m" in str(caught.value)
