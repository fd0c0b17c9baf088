"""Facts that people marked on the day, in the shape the reduction takes: who stood elsewhere, who overruled what, which
water was sampled."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from config.plan import Overrule, Plan
from config.tables import Tables
from config.units import COVERAGE_95, TONNE
from config.waterline_table import SampleRow
from dsp.types import DayHeel
from logger.events import Event, effective
from logger.marks import MarkedWindow
from logger.muster import Whereabouts, whereabouts
from reduction.inputs import DayInputs
from reduction.moments import Shift


def marked_inputs(
    plan: Plan, heel: DayHeel, tables: Tables, windows: Sequence[MarkedWindow], events: Sequence[Event]
) -> DayInputs:
    """Gather what the reduction is handed: ``windows`` those of the heels, ``tables`` as `with_marked` gives them."""
    return DayInputs(
        plan=plan,
        day=heel,
        tables=tables,
        movements={window.label: window.movement for window in windows},
        moments={window.label: window.moment_tm * TONNE for window in windows if window.moment_tm is not None},
        moments_u=moments_u(windows),
        shifts=shifts(plan, events, windows),
        overrules=overrules(windows),
    )


def shifts(plan: Plan, events: Sequence[Event], windows: Sequence[MarkedWindow]) -> tuple[Shift, ...]:
    """People who stood away from their muster stations, gathered over the windows it holds for."""
    ordered, voids = effective(events)
    changes = [event for event in ordered if event.kind == "people" and event.number not in voids]
    home = {place.name: place.position_m for place in plan.muster_stations}
    found: dict[tuple[str, str, object], tuple[Whereabouts, list[str]]] = {}
    for window in windows:
        for person in whereabouts(plan, changes, window.stop_ns or window.start_ns):
            known = person.place == "ashore" or person.at_m is not None
            if person.away and known and not (person.place == "ashore" and person.muster_station == "ashore"):
                found.setdefault((person.person, person.place, person.at_m), (person, []))[1].append(window.label)
    return tuple(
        Shift(
            what=person.person,
            group="people",
            mass=person.mass_kg,
            start=home.get(person.muster_station),
            stop=person.at_m,
            windows=tuple(labels),
        )
        for person, labels in found.values()
    )


def overrules(windows: Sequence[MarkedWindow]) -> tuple[Overrule, ...]:
    """Decisions on windows that were marked on the day."""
    return tuple(
        Overrule(window=window.label, verdict=window.overruled, reason=window.overrule_reason, by=window.overruled_by)
        for window in windows
        if window.overruled
    )


def moments_u(windows: Sequence[MarkedWindow]) -> dict[str, float]:
    """Window label -> standard uncertainty, kg m, of the moment that its mark gives, where that is known."""
    return {w.label: w.moment_u95_tm * TONNE / COVERAGE_95 for w in windows if w.moment_u95_tm is not None}


def other_day(plan: Plan, windows: Sequence[MarkedWindow]) -> tuple[str, ...]:
    """What is said where the windows were not taken on the plan's date; a test may go over midnight."""
    if plan.test.date is None or not windows:
        return ()
    zone = dt.timezone(dt.timedelta(hours=plan.test.utc_offset_h))
    days = sorted({dt.datetime.fromtimestamp(window.start_ns / 1e9, zone).date() for window in windows})
    if plan.test.date in days:
        return ()
    taken = " and ".join(str(day) for day in days[:2]) + (" and later" if len(days) > 2 else "")
    return (f"The plan is dated {plan.test.date}; the windows were taken on {taken}.",)


def odd_marks(windows: Sequence[MarkedWindow]) -> tuple[str, ...]:
    """What was odd about the marks of windows, as sentences."""
    return tuple(f"Window {window.label}: {remark}." for window in windows for remark in window.remarks)


NOTED_APART_M = 0.005
"""A draught or freeboard marked on the day that differs so much from waterline.csv is said aloud."""


def with_marked(tables: Tables, events: Sequence[Event]) -> tuple[Tables, tuple[str, ...]]:
    """Tables with the samples of water that were marked, and what is said of marked samples and readings.

    A sample that was marked counts where density.csv has none. A draught or freeboard that was marked has no place on
    the hull: it stays on record, and is held against the line of waterline.csv for the same mark.
    """
    ordered, voids = effective(events)
    marks = [event for event in ordered if event.number not in voids]
    samples = [event for event in marks if event.kind == "density"]
    readings = [event for event in marks if event.kind == "waterline"]
    said = []
    if samples and not tables.density:
        tables = replace(tables, density=tuple(_sample(event) for event in samples))
        said.append(f"Density of the water is that of {_numbers(samples)}; density.csv holds no sample.")
    elif samples:
        said.append(f"Density of {_numbers(samples)} is on record and not used: density.csv holds the samples.")
    rows = {(row.mark, row.kind): row.reading_m for row in tables.waterline or ()}
    if readings:
        said.append(f"What was read by {_numbers(readings)} is on record; the waterline is that of waterline.csv.")
    for event in readings:
        name, kind, value = str(event.data["mark"]), str(event.data["kind"]), float(event.data["value_m"])
        typed = rows.get((name, kind))
        if typed is not None and abs(typed - value) > NOTED_APART_M:
            said.append(
                f"{kind.capitalize()} {name} is {typed:g} m in waterline.csv and {value:g} m in mark {event.number}."
            )
    return tables, tuple(said)


def _sample(event: Event) -> SampleRow:
    data = event.data
    depth = data.get("depth_m")
    return SampleRow(
        line=event.number,
        sample=f"mark {event.number}",
        place=str(data.get("place") or ""),
        depth_m=None if depth is None else float(depth),
        hydrometer_kg_m3=float(data["value_kg_m3"]),
        sample_temperature_c=None,
        calibration_temperature_c=None,
        correction_kg_m3=0.0,
        water_temperature_c=None,
        salinity_g_kg=None,
        u95_kg_m3=None,
        read_by=event.by,
    )


def _numbers(events: Sequence[Event]) -> str:
    return f"mark{'s' if len(events) > 1 else ''} {', '.join(str(event.number) for event in events)}"
