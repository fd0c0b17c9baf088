"""Samples and readings that were marked: what counts, and what is said."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from config.errors import BadInput
from config.plan import Occasion, Plan
from config.tables import Tables
from config.waterline_table import parse_density, parse_waterline
from logger.events import EventLog
from logger.marks import MarkedWindow
from quietheel.jobs.facts import other_day, with_marked
from quietheel.jobs.marking import sensible

TYPED = parse_density("sample,hydrometer_kg_m3\n1,1021.0\n")
READ = parse_waterline("mark,kind,x_m,y_m,reading_m\nfwd port,draught,40,-3,3.21\n")


@pytest.fixture
def log(tmp_path: Path) -> EventLog:
    log = EventLog(tmp_path)
    log.append("density", "mate", {"value_kg_m3": 1024.5, "place": "quay", "depth_m": 2}, 10)
    log.append("density", "mate", {"value_kg_m3": 1030.0}, 20)
    log.append("void", "mate", {"event": 2, "reason": "misread"}, 30)
    return log


def test_a_marked_sample_counts_where_the_table_has_none(log: EventLog) -> None:
    tables, said = with_marked(Tables(), log.read())
    assert tables.density is not None
    assert [(row.hydrometer_kg_m3, row.place, row.depth_m, row.read_by) for row in tables.density] == [
        (1024.5, "quay", 2.0, "mate")
    ]
    assert said == ("Density of the water is that of mark 1; density.csv holds no sample.",)


def test_a_typed_sample_goes_before_a_marked_one(log: EventLog) -> None:
    tables, said = with_marked(Tables(density=TYPED), log.read())
    assert tables.density == TYPED
    assert said == ("Density of mark 1 is on record and not used: density.csv holds the samples.",)


def test_a_marked_reading_is_held_against_the_table(tmp_path: Path) -> None:
    log = EventLog(tmp_path)
    log.append("waterline", "mate", {"mark": "fwd port", "kind": "draught", "value_m": 3.213}, 10)
    tables, said = with_marked(Tables(waterline=READ), log.read())
    assert tables.waterline == READ
    assert said == ("What was read by mark 1 is on record; the waterline is that of waterline.csv.",)
    log.append("waterline", "mate", {"mark": "fwd port", "kind": "draught", "value_m": 3.31}, 20)
    assert with_marked(Tables(waterline=READ), log.read())[1][1:] == (
        "Draught fwd port is 3.21 m in waterline.csv and 3.31 m in mark 2.",
    )


def test_nothing_marked_changes_nothing() -> None:
    tables = Tables(density=TYPED)
    assert with_marked(tables, []) == (tables, ())


@pytest.mark.parametrize(
    ("kind", "data", "part"),
    [
        ("density", {"value_kg_m3": "1.0245"}, "950 to 1200"),
        ("density", {"value_kg_m3": "much"}, "950 to 1200"),
        ("waterline", {"mark": "a", "kind": "depth", "value_m": 3.0}, "draught, freeboard"),
        ("waterline", {"mark": "a", "kind": "draught", "value_m": "3210"}, "-5 to 60"),
    ],
)
def test_figures_that_cannot_be_are_refused(kind: str, data: dict[str, object], part: str) -> None:
    with pytest.raises(BadInput, match=part):
        sensible(kind, data, Plan(), [])


@pytest.mark.parametrize(
    ("planned", "said"),
    [
        (None, ()),
        (dt.date(2030, 5, 14), ()),
        (dt.date(2030, 5, 13), ()),  # 23:30 UTC is half past midnight of the 14th at UTC+1; the first window is before
        (dt.date(2030, 5, 12), ("The plan is dated 2030-05-12; the windows were taken on 2030-05-13 and 2030-05-14.",)),
    ],
)
def test_windows_of_another_day_than_the_plan_are_said(planned: dt.date | None, said: tuple[str, ...]) -> None:
    at = [dt.datetime(2030, 5, 13, hour, 30, tzinfo=dt.UTC).timestamp() for hour in (22, 23)]
    windows = [MarkedWindow(str(n), "0", round(t * 1e9), round(t * 1e9) + 10**9) for n, t in enumerate(at)]
    plan = Plan(test=Occasion(date=planned, utc_offset_h=1.0))
    assert other_day(plan, windows) == said
