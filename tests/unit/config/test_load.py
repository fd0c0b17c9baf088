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
