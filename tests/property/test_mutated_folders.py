"""Spoilt plans and tables: an answer or an error that names file and place; never a traceback, never a silent default.

Default: some dozens of examples. The whole campaign:
``QUIETHEEL_MUTATIONS=10000 pytest -m "" tests/property/test_mutated_folders.py``
"""

from __future__ import annotations

import functools
import json
import math
import os
import random
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from config.csvtext import decode
from config.errors import BadInput
from config.hull_tables import parse_hydrostatics, parse_kn, parse_offsets, parse_tank
from config.load import validated
from config.plan import Plan
from config.shifts_table import parse_shifts
from config.survey_table import parse_survey
from config.tables import Tables
from config.waterline_table import parse_density, parse_waterline
from reduction.answer_json import answer_json
from reduction.day import reduce_day
from reduction.inputs import DayInputs
from reduction.water.hull import make_hull
from reduction.water.hydrostatics import FromOffsets
from tests import examples_answer as merrowby

EXAMPLES = int(os.environ.get("QUIETHEEL_MUTATIONS", "60"))
EVIL = (
    *("", " ", "nan", "inf", "-inf", "1e308", "-1e308", "1e-300", "0", "-0.0", "-1", "1", "1,5", "1.5", "1.000,5"),
    *("999999999", "=1+1", '"', ";", "\t", "ÿ", "\u2028", "x" * 200, "off", "move", "draught", "freeboard", "yes"),
    *("1e5", "47.9", "3.0", "-3.0", "0.001"),
)
VALUES: tuple[Any, ...] = (
    *(0, -1, 1e-12, 1e-3, 0.5, 1, 3.0, 47.0, 1e4, 1e9, 1e300, -1e300, math.nan, math.inf, True),
    *("", "x", "port", [], {}),
)


@functools.cache
def texts() -> dict[str, str]:
    """The whole folder as text."""
    return {
        "survey.csv": merrowby.SURVEY,
        "density.csv": merrowby.SAMPLES,
        "waterline.csv": merrowby.readings_text(FromOffsets(make_hull(merrowby.offsets(), merrowby.LENGTH))),
        "hydrostatics.csv": merrowby.hydrostatics_text(),
        "kn.csv": "displacement_t,heel_deg,kn_m\n"
        + "".join(f"{d},{h},{4.85 * math.sin(math.radians(h)):.5f}\n" for d in (900, 1100, 1300) for h in (0, 2, 4, 8)),
        "shifts.csv": "what,group,windows,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m\n"
        "boom,crane,3 4,1.5,10,0,8,10,0.1,8\nmate,people,5,0.075,30,1,9,,,\n",
        "tanks/day.csv": "sounding_m,volume_m3,x_m,y_m,z_m,free_surface_m4\n"
        "0,0,15,0,1.5,0\n1,12,15,0,2,16\n2,24,15,0,2.5,16\n",
    }


@functools.cache
def heels():  # type: ignore[no-untyped-def]
    """Give one day of heels for all examples."""
    return merrowby.day(merrowby.plan(), spoilt=False)


def spoil_text(text: str, rng: random.Random) -> bytes:
    """Change some cells, lines or characters of a table."""
    lines = text.split("\n")
    for _ in range(rng.choice([1, 1, 1, 2, 4])):
        kind = rng.randrange(8)
        row = rng.randrange(len(lines))
        cells = lines[row].split(",")
        if kind <= 2:
            cells[rng.randrange(len(cells))] = rng.choice(EVIL)
            lines[row] = ",".join(cells)
        elif kind == 3:
            del lines[row]
            lines = lines or [""]
        elif kind == 4:
            lines.insert(rng.randrange(len(lines)), lines[row])
        elif kind == 5:
            column = rng.randrange(len(cells))
            lines = [",".join(c for i, c in enumerate(x.split(",")) if i != column) for x in lines]
        elif kind == 6:
            at = rng.randrange(max(len(lines[row]), 1))
            lines[row] = lines[row][:at] + rng.choice(EVIL) + lines[row][at + rng.randrange(2) :]
        else:
            a, b = rng.randrange(len(lines)), rng.randrange(len(lines))
            lines[a], lines[b] = lines[b], lines[a]
    raw = "\n".join(lines).encode("utf-8", "replace")
    if rng.random() < 0.1 and raw:
        at = rng.randrange(len(raw))
        raw = raw[:at] + bytes([rng.randrange(256)]) + raw[at + 1 :]
    return raw


def spoil_plan(data: dict[str, Any], rng: random.Random) -> None:
    """Change, drop or add keys anywhere in a plan."""
    for _ in range(rng.choice([1, 1, 2, 3])):
        node: Any = data
        while True:
            keys = list(node) if isinstance(node, dict) else list(range(len(node)))
            if not keys:
                break
            key = rng.choice(keys)
            deeper = isinstance(node[key], (dict, list)) and len(node[key]) > 0
            if deeper and rng.random() < 0.9:
                node = node[key]
                continue
            kind = rng.randrange(4)
            if kind == 0 and isinstance(node, dict):
                del node[key]
            elif kind == 1 and isinstance(node[key], (int, float)) and not isinstance(node[key], bool):
                node[key] *= rng.choice([-1, 0, 0.01, 0.9, 1.1, 100, 1e6])
            else:
                node[key] = rng.choice(VALUES)
            break


def read(spoilt: dict[str, bytes]) -> Tables:
    """Read a folder's tables from bytes, as `config.tables.read_tables` does from files."""
    text = {name: decode(raw, name) for name, raw in spoilt.items()}
    return Tables(
        hydrostatics=parse_hydrostatics(text["hydrostatics.csv"]) if "hydrostatics.csv" in text else None,
        kn=parse_kn(text["kn.csv"]) if "kn.csv" in text else None,
        offsets=parse_offsets(text["offsets.csv"]) if "offsets.csv" in text else None,
        tanks={"day.csv": parse_tank(text["tanks/day.csv"], "day.csv")},
        survey=parse_survey(text["survey.csv"]) if "survey.csv" in text else None,
        waterline=parse_waterline(text["waterline.csv"]) if "waterline.csv" in text else None,
        shifts=parse_shifts(text["shifts.csv"]) if "shifts.csv" in text else None,
        density=parse_density(text["density.csv"]) if "density.csv" in text else None,
    )


def base_plan() -> dict[str, Any]:
    """Merrowby's plan as data, few draws."""
    plan = merrowby.plan(settings={"monte_carlo_draws": 1000})
    data: dict[str, Any] = json.loads(plan.model_dump_json(exclude_unset=True))
    data["tanks"][0] |= {"table": "day.csv"}
    return data


def answer_or_fault(plan: Plan, tables: Tables) -> None:
    """Reduce and print; anything but an answer or a `BadInput` escapes and fails the test."""
    answer = reduce_day(DayInputs(plan, heels(), tables))
    printed = answer_json(answer)
    json.dumps(printed, allow_nan=False)
    gm = printed["gm"]
    assert isinstance(gm, dict)
    if gm["value_m"] is None:
        assert answer.missing["gm"]
    if printed["kg_m"] is None:
        assert answer.missing["kg_m"]
    if printed["displacement_t"] is None:
        assert answer.missing["displacement_t"]
    light = printed["lightship"]
    assert isinstance(light, dict)
    for key, value in light.items():
        if value is None:
            name = key.split("_")[0]
            assert answer.missing.get("lightship") or answer.missing.get(name), key


def attempt(work) -> None:  # type: ignore[no-untyped-def]
    """Let an answer or a well-named fault pass."""
    try:
        work()
    except BadInput as error:
        assert error.faults
        for fault in error.faults:
            assert fault.file and fault.where and fault.wanted, fault


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck), derandomize=EXAMPLES < 1000)
@given(st.integers(0, 2**63))
def test_spoilt_tables(seed: int) -> None:
    rng = random.Random(seed)
    spoilt = {name: text.encode() for name, text in texts().items()}
    for name in rng.sample(sorted(spoilt), rng.choice([1, 1, 2])):
        spoilt[name] = spoil_text(texts()[name], rng)
    for name in ("kn.csv", "waterline.csv", "survey.csv", "density.csv", "shifts.csv"):
        if rng.random() < 0.15:
            del spoilt[name]
    attempt(lambda: answer_or_fault(validated(base_plan(), Plan, "plan.toml"), read(spoilt)))


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck), derandomize=EXAMPLES < 1000)
@given(st.integers(0, 2**63))
def test_spoilt_plans(seed: int) -> None:
    rng = random.Random(seed)
    data = base_plan()
    if rng.random() < 0.3:
        data["hydrostatics"] = {"source": "values", "bm_m": 3.2, "km_m": 4.85}
    spoil_plan(data, rng)
    spoilt = {name: text.encode() for name, text in texts().items()}
    for name in ("kn.csv", "waterline.csv", "survey.csv", "density.csv", "hydrostatics.csv", "shifts.csv"):
        if rng.random() < 0.15:
            del spoilt[name]
    attempt(lambda: answer_or_fault(validated(data, Plan, "plan.toml"), read(spoilt)))


@settings(max_examples=EXAMPLES, deadline=None)
@given(
    st.binary(max_size=400),
    st.sampled_from(sorted(["survey", "waterline", "density", "hydrostatics", "kn", "offsets"])),
)
def test_any_bytes_make_a_table_or_a_fault(raw: bytes, which: str) -> None:
    readers = {
        "survey": parse_survey,
        "waterline": parse_waterline,
        "density": parse_density,
        "hydrostatics": parse_hydrostatics,
        "kn": parse_kn,
        "offsets": parse_offsets,
    }
    attempt(lambda: readers[which](decode(raw, which)))
