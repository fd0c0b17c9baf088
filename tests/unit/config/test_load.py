import pytest

from config.errors import BadInput
from config.load import key_lines, load_plan, parse_settings
from config.plan import Plan

GOOD = """
[vessel]
displacement_t = 2000.0
[hydrostatics]
bm_m = 3.0
[[stations]]
name = "aft"
source = {type = "serial", port = "COM4"}
dialect = "nmea"
[[stations]]
name = "mid"
  [stations.source]
  type = "mqtt"
  topic = "pier/mid"
  [stations.calibration]
  scale_u95_percent = 0.1
"""


def faults_of(text: str) -> list[str]:
    with pytest.raises(BadInput) as caught:
        parse_settings(text, Plan)
    return [str(fault) for fault in caught.value.faults]


def test_a_small_plan_loads() -> None:
    plan = parse_settings(GOOD, Plan)
    assert plan.vessel.displacement_t == 2000.0
    assert [s.source.type for s in plan.stations] == ["serial", "mqtt"]


def test_every_fault_is_named_with_its_line() -> None:
    text = GOOD.replace("bm_m = 3.0", "bm_m = -3.0").replace("topic =", "topik =")
    said = faults_of(text)
    assert any(s.startswith("plan.toml, line 5, hydrostatics.bm_m: found -3.0;") for s in said)
    assert any("line 14" in s and "did you mean topic?" in s for s in said)
    assert any("stations[1].source.topic" in s and "needed" in s for s in said)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("[vessel\n", "line 1"),
        ("[vessel]\nname = 3", "vessel.name"),
        (
            "[[weights]]\nname='A'\nmass_t='x'\nport_m=[0,0,0]\nstarboard_m=[0,0,0]",
            "weights[0].mass_t: found 'x'",
        ),
        (
            "[[weights]]\nname='A'\nmass_t=inf\nport_m=[0,0,0]\nstarboard_m=[0,0,0]",
            "line 3, weights[0].mass_t",
        ),
        ("[[movements]]\nlabel='1'\nto_port=['Z']", "moves Z, which is no weight"),
        ("[[stations]]\nname='p'\nkind='pendulum'", "needs length_m"),
        ("x = " + "[" * 5000, "nested too deep"),
    ],
)
def test_what_is_said(text: str, part: str) -> None:
    assert part in "\n".join(faults_of(text))


def test_a_file_that_is_not_there_or_not_text(tmp_path) -> None:
    with pytest.raises(BadInput, match="should exist"):
        load_plan(tmp_path / "plan.toml")
    for raw, part in (
        (b"\xff\xfe\x00", "found UTF-16; text in UTF-8"),
        ("[vessel]\nname = 'Mürrow'\n".encode("cp1252"), 'line 2: found byte 0xfc after "name = \'M"; text in UTF-8'),
        (b"\xef\xbb\xbf[vessel]\n\n\xff", "line 3: found byte 0xff; text in UTF-8"),
    ):
        (tmp_path / "plan.toml").write_bytes(raw)
        with pytest.raises(BadInput) as caught:
            load_plan(tmp_path / "plan.toml")
        assert part in str(caught.value)


def test_lines_of_nested_arrays() -> None:
    lines = key_lines("[[a]]\n[[a.b]]\nx=1\n[[a.b]]\n[a.b.c]\ny=2\n[[a]]\n[[a.b]]\nx=1")
    assert lines[("a", 0, "b", 0, "x")] == 3
    assert lines[("a", 0, "b", 1, "c", "y")] == 6
    assert lines[("a", 1, "b", 0, "x")] == 9


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[vessel]\nlength_m = 2,95\n", "line 2, column 13; not valid TOML: expected newline or end of document after "
         "a statement; decimals are written with a point: 2.95"),
        ("[test]\ndate = 26-11-2026\n", "a date is written year first: 2030-05-14"),
        ('[test]\ndate = "26.11.2026"\n', "test.date: found '26.11.2026'; a date, year first and without quotes"),
        ('[vessel]\nlength_m = "2,95"\n', "found '2,95'; a number with a decimal point, without quotes or unit"),
        ('[settings]\nseed = "x"\n', "found 'x'; a whole number without quotes"),
        ('[[stations]]\nname = "a"\n[stations.line_format]\ndecimal_comma = "maybe"\n', "found 'maybe'; true or false"),
        ('[[stations]]\nname = "a"\n[stations.source]\ntype = "udp"\n',
         "line 4, stations[0].source.type: found 'udp'; one of manual, modbus, mqtt, playback, serial, tcp"),
        ('[[stations]]\nname = "a"\n[stations.source]\nport = "COM4"\n', "stations[0].source.type; one of manual,"),
        ('[[stations]]\nname = "a"\nsource = { type = "serial", prt = "x" }\n',
         "line 3, stations[0].source.prt; no such key here; did you mean port?"),
    ],
)  # fmt: skip
def test_a_slip_is_told_in_words_that_mend_it(text: str, words: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_settings(text, Plan)
    assert words in str(caught.value)


def test_a_table_chosen_by_its_type_names_its_own_keys_once() -> None:
    with pytest.raises(BadInput) as caught:
        parse_settings('[[stations]]\nname = "a"\nsource = { type = "tcp", host = "h", port = 1, zzzz = 2 }\n', Plan)
    assert "stations[0].source.zzzz; no such key here; known here: host, port, type" in str(caught.value)
