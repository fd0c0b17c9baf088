"""Shifts written down: crane, people, liquid pumped by soundings; a test inclined by ballast alone."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from config.errors import BadInput
from config.hull_tables import parse_tank
from config.plan import Plan
from config.shifts_table import parse_shifts
from config.tables import Tables
from dsp.types import DayHeel
from reduction.day import reduce_day
from reduction.gm.curve import heel_at, wall_sided
from reduction.inputs import DayInputs
from reduction.shifts import noted_shifts
from tests import examples_answer as merrowby

HEADING = "what,group,windows,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m\n"
PUMPED = "what,group,windows,from_tank,from_before_m,from_after_m,to_tank,to_before_m,to_after_m\n"


def tank_table(y: float) -> str:
    """Box of 4 m2 at y: centre rises by half the sounding."""
    lines = ["sounding_m,volume_m3,x_m,y_m,z_m,free_surface_m4"]
    lines += [f"{s},{4 * s},20,{y},{0.5 + s / 2},1.3" for s in np.linspace(0, 3, 13)]
    return "\n".join(lines)


def tanks() -> tuple[list[dict[str, object]], Tables]:
    plan: list[dict[str, object]] = []
    for name in ("2P", "2S"):
        tank: dict[str, object] = {"name": name, "contents": "ballast water", "density_kg_m3": 1025.0}
        plan.append(tank | {"state": "slack", "sounding_m": 1.5, "table": f"{name}.csv"})
    tables = Tables(tanks={"2P.csv": parse_tank(tank_table(-4.0)), "2S.csv": parse_tank(tank_table(4.0))})
    return plan, tables


def test_crane_and_a_person_gone_ashore() -> None:
    text = HEADING + "crane boom,crane,3 4,1.5,10,0,8,10,2,8\nmate,people,5,0.075,30,1,9,,,\n"
    shifts, notes = noted_shifts(Plan(), Tables(shifts=parse_shifts(text)))
    boom, mate = shifts
    assert (boom.mass, boom.windows, boom.stop) == (1500.0, ("3", "4"), (10, 2, 8))
    assert mate.stop is None
    assert len(notes) == 2


def test_liquid_pumped_by_soundings() -> None:
    plan, tables = tanks()
    text = PUMPED + "ballast to starboard,tanks,1,2P,1.5,0.5,2S,1.5,2.5\n"
    found = dataclasses.replace(tables, shifts=parse_shifts(text))
    (shift,), _ = noted_shifts(Plan.model_validate({"tanks": plan}), found)
    assert shift.mass == pytest.approx(4.0 * 1025.0)
    # What left lay between 0.5 and 1.5 m of sounding, what came lies between 1.5 and 2.5 m.
    assert shift.start == pytest.approx((20, -4, 0.5 + 1.0), abs=1e-9)
    assert shift.stop == pytest.approx((20, 4, 0.5 + 2.0), abs=1e-9)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("a,tanks,1,2P,1.5,0.5,2S,1.5,1.8\n", "sound again"),
        ("a,tanks,1,2P,0.5,1.5,2S,1.5,2.5\n", "less in from_tank"),
        ("a,tanks,1,9X,1.5,0.5,2S,1.5,2.5\n", "a tank of the plan"),
        ("a,tanks,1,2P,1.5,0.5,2S,1.5,3.5\n", "0 to 3 m"),
        ("a,tanks,1,2P,1.5,,2S,1.5,2.5\n", "both soundings"),
        ("a,tanks,1,,,,,,\n", "a mass, or soundings"),
    ],
)
def test_faults_of_pumping(line: str, words: str) -> None:
    plan, tables = tanks()
    with pytest.raises(BadInput, match=words):
        noted_shifts(
            Plan.model_validate({"tanks": plan}), dataclasses.replace(tables, shifts=parse_shifts(PUMPED + line))
        )


def test_half_a_place_is_told() -> None:
    with pytest.raises(BadInput, match="all three of them"):
        parse_shifts(HEADING + "boom,crane,1,1.5,10,,8,10,2,8\n")


def test_inclined_by_ballast_alone() -> None:
    """No weights: the moments come from the soundings; GM comes back."""
    plan, tables = tanks()
    rows = [
        ("1", "2P,1.5,1.0,2S,1.5,2.0"),
        ("2", "2P,1.5,0.5,2S,1.5,2.5"),
        ("4", "2S,1.5,1.0,2P,1.5,2.0"),
        ("5", "2S,1.5,0.5,2P,1.5,2.5"),
    ]
    text = PUMPED + "".join(f"pumped {n},tanks,{n},{rest}\n" for n, rest in rows)
    whole = Plan.model_validate(
        {
            "vessel": {"displacement_t": 1150.0, "displacement_u95_t": 3.0},
            "hydrostatics": {"bm_m": 3.2, "km_m": 4.85},
            "movements": [{"label": str(n)} for n in range(6)],
            "tanks": plan,
        }
    )
    moments = np.array([0.0, 0.5, 1.0, 0.0, -0.5, -1.0]) * 4.0 * 1025.0 * 8.0
    gm = 0.35
    # KG of the state moves by what rose from one tank to the other: about the slice's height.
    rise = np.abs(moments) / 8.0 * (np.array([0.0, 0.5, 1.0, 0.0, 0.5, 1.0]))
    heel = heel_at(moments / 1150e3, gm, 0.0, wall_sided(3.2), rise / 1150e3)
    base = merrowby.day(merrowby.plan(), spoilt=False)
    windows = tuple(
        dataclasses.replace(w, heel=float(h), span=dataclasses.replace(w.span, label=str(n), group=str(n)))
        for n, (w, h) in enumerate(zip(base.windows, heel, strict=False))
    )
    day: DayHeel = dataclasses.replace(base, windows=windows, covariance=base.covariance[:6, :6])
    answer = reduce_day(DayInputs(whole, day, dataclasses.replace(tables, shifts=parse_shifts(text))))
    assert answer.gm.value is not None
    assert answer.gm.value.gm.value == pytest.approx(gm, rel=2e-3)
    assert answer.gm.value.points[1].moment == pytest.approx(moments[1])
    assert any(b.source == "people, crane and tanks that shifted" for b in answer.gm.value.gm.budget)
