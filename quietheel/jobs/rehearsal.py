"""A quiet synthetic day of one's own plan: what the plan estimates is taken for true, so that it can be practised."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

from config.errors import bad
from config.folder import TestFolder
from config.plan import Plan
from config.tables import Tables
from config.units import SEA_WATER_DENSITY, TONNE
from reduction.floating import source_of_hull
from reduction.inputs import DayInputs
from reduction.planning.forecast import windage
from sim.devices import Anemometer, Device, Pendulum, Tilt
from sim.scenario import Person, Scenario, Schedule, TestWeight, VesselTruth, Wind

KNOWN_BEFORE = ("plan.toml", "hydrostatics.csv", "offsets.csv", "kn.csv", "tanks")
"""What goes along into the practice folder; survey, waterline and density are the day's."""
BLOCK = 0.65
"""Displacement over length x breadth x draught, to guess the draught of (usual for workboats: 0.55 to 0.75)."""
STARTS = dt.time(8, 0)


def is_plan(data: dict[str, object]) -> bool:
    """Whether the keys of a TOML file are those of a plan rather than of a scenario."""
    return bool({"stations", "hydrostatics", "test"} & data.keys())


def scenario_of(plan: Plan, file: str = "plan.toml", tables: Tables | None = None) -> Scenario:
    """Make the scenario that a plan expects; its metacentre is that of the hydrostatics it names.

    Raises
    ------
    BadInput naming what a day cannot be made without.
    """
    vessel = plan.vessel
    if vessel.displacement_t is None or vessel.estimated_gm_m is None:
        raise bad(file, "vessel.displacement_t, vessel.estimated_gm_m", None, "both: they are what comes true")
    devices = _devices(plan)
    if not any(isinstance(device, Tilt) for device in devices):
        raise bad(file, "stations", None, "an inclinometer: without a sensor there is nothing to record")
    if not plan.weights:
        raise bad(file, "weights", None, "the weights that are to be moved")
    length, breadth = vessel.length_m or 48.0, vessel.breadth_m or 11.0
    draught, bm, km = _metacentre(plan, tables or Tables(), length, breadth)
    area, lever = windage(plan)
    places = {place.name: place.position_m for place in plan.muster_stations}
    day = plan.test.date or Schedule().start.date()
    zone = dt.timezone(dt.timedelta(hours=plan.test.utc_offset_h))
    return Scenario(
        name=plan.test.name or vessel.name,
        vessel=VesselTruth(
            length_m=length,
            breadth_m=breadth,
            draught_m=draught,
            displacement_t=vessel.displacement_t,
            gm_m=vessel.estimated_gm_m,
            bm_m=bm,
            km_m=km,
            period_s=vessel.estimated_period_s or VesselTruth().period_s,
        ),
        wind=Wind(
            speed_m_s=plan.weather.wind_m_s,
            direction_deg=plan.weather.direction_from_bow_deg,
            area_m2=area,
            area_height_m=lever - 0.5 * draught,
        ),
        weights=tuple(
            TestWeight(name=w.name, mass_t=w.mass_t, start=w.start, port_m=w.port_m, starboard_m=w.starboard_m)
            for w in plan.weights
        ),
        sequence=plan.sequence,
        movements=plan.movements,
        people=tuple(
            Person(name=p.name, mass_kg=p.mass_kg, muster_station=p.muster_station, at_m=places[p.muster_station])
            for p in plan.people
            if p.muster_station in places
        ),
        schedule=Schedule(
            start=dt.datetime.combine(day, STARTS, zone).astimezone(dt.UTC), window_s=plan.settings.window_s
        ),
        devices=devices,
    )


def _metacentre(plan: Plan, tables: Tables, length: float, breadth: float) -> tuple[float, float, float]:
    """Draught, BM and KM at the displacement expected, m: from table or offsets, as typed, or of a usual form."""
    mass = (plan.vessel.displacement_t or 0.0) * TONNE
    source, _ = source_of_hull(DayInputs(plan=plan, tables=tables))
    if source is not None:
        afloat = source.floating_at(mass, SEA_WATER_DENSITY)
        found = source.at(afloat)
        return afloat.mean, found.bm, found.km
    draught = mass / SEA_WATER_DENSITY / (BLOCK * length * breadth)
    bm = plan.hydrostatics.bm_m or breadth**2 / 12.0 / draught
    return draught, bm, plan.hydrostatics.km_m or bm + 0.53 * draught


def _devices(plan: Plan) -> tuple[Device, ...]:
    found: list[Device] = []
    for station in plan.stations:
        quantities = {channel.quantity for channel in station.channels}
        at = station.position_m or ((plan.vessel.length_m or 48.0) / 2.0, 0.0, plan.vessel.depth_m or 5.0)
        if station.kind == "inclinometer" and "heel" in quantities:
            rate = station.rate_hz or 10.0
            found.append(Tilt(name=station.name, at_m=at, rate_hz=rate, trim="trim" in quantities))
        elif station.kind == "anemometer":
            found.append(Anemometer(name=station.name))
        elif station.kind == "pendulum" and station.length_m is not None:
            found.append(Pendulum(name=station.name, at_m=at, length_m=station.length_m))
    return tuple(found)


def take_along(source: Path, place: TestFolder) -> None:
    """Copy what was known before the day; what lies in the practice folder already stays."""
    place.path.mkdir(parents=True, exist_ok=True)
    for name in KNOWN_BEFORE:
        there = source / name
        if there.is_dir():
            shutil.copytree(there, place.path / name, dirs_exist_ok=True)
        elif there.is_file() and not (place.path / name).exists():
            shutil.copy2(there, place.path / name)
