"""The demo's papers and its truth agree with one another."""

import math
from pathlib import Path

import numpy as np
import pytest

from config.folder import TestFolder
from config.sequence import movements, positions
from config.tables import read_tables
from config.units import DEGREE
from sim import merrowby
from sim.condition import add_up, everything_aboard, float_vessel
from sim.day import SimulatedDay, simulate
from sim.scenario import Scenario, load_scenario
from sim.wire import frames

ROOT = Path(__file__).parents[3]
FOLDER = ROOT / "quietheel" / "demo" / "merrowby"


@pytest.fixture(scope="module")
def scenario() -> Scenario:
    return load_scenario(Path("merrowby"))


@pytest.fixture(scope="module")
def day(scenario: Scenario) -> SimulatedDay:
    return simulate(scenario)


def test_the_papers_are_those_the_truth_writes(scenario: Scenario) -> None:
    for name, text in merrowby.papers(scenario).items():
        assert (FOLDER / name).read_text(encoding="utf-8") == text, f"{name}: run python -m sim.merrowby {FOLDER}"


def test_the_simulators_offsets_are_the_folders() -> None:
    own = (ROOT / "sim" / "scenarios" / "merrowby_offsets.csv").read_text(encoding="utf-8")
    assert own == (FOLDER / "offsets.csv").read_text(encoding="utf-8")


def test_plan_and_tables_can_be_read() -> None:
    folder = TestFolder(FOLDER)
    tables = read_tables(folder, folder.plan())
    assert tables.hydrostatics is not None
    assert tables.offsets is not None
    assert tables.survey is not None
    assert tables.waterline is not None
    assert tables.density is not None
    assert tables.tanks


def test_the_day_takes_an_hour_and_a_half_and_spoils_two_windows(day: SimulatedDay) -> None:
    assert 1.4 < (day.end_ns - day.epoch_ns) / 3.6e12 < 3.0
    assert {w.label: w.spoilt for w in day.truth.windows if w.spoilt} == {"2": ("taut",), "6": ("people",)}


def test_masses_and_centres_add_up_to_the_lightship(day: SimulatedDay, scenario: Scenario) -> None:
    truth, loading = day.truth, scenario.loading
    assert loading is not None
    mass, x, _, z = add_up(everything_aboard(scenario))
    assert truth.displacement_t == pytest.approx(mass)
    assert truth.kg_m == pytest.approx(z)
    assert truth.lcg_m == pytest.approx(x)
    assert truth.gm_m == pytest.approx(truth.km_m - z - truth.free_surface_tm / mass)
    assert truth.lightship == {"mass_t": 941.5, "vcg_m": 4.315, "lcg_m": 20.76, "tcg_m": 0.006}


def test_she_floats_where_archimedes_says(scenario: Scenario) -> None:
    from sim import hull

    floating = float_vessel(scenario)
    body = hull.immersed(merrowby.form(), hull.Waterline(floating.draught, math.tan(floating.base_trim)))
    assert body.volume * scenario.vessel.water_kg_m3 == pytest.approx(floating.displacement, rel=1e-6)
    assert floating.lcg == pytest.approx(body.x + math.tan(floating.base_trim) * (floating.kg - body.z), abs=1e-6)


def test_what_people_believe_is_near_the_truth(day: SimulatedDay, scenario: Scenario) -> None:
    plan = TestFolder(FOLDER).plan()
    for true, believed in zip(scenario.weights, plan.weights, strict=True):
        assert believed.mass_u95_kg is not None
        assert believed.position_u95_m is not None
        assert abs(believed.mass_t - true.mass_t) * 1e3 <= believed.mass_u95_kg
        assert abs(believed.port_m[1] - true.port_m[1]) <= believed.position_u95_m
    for device, station in zip(scenario.devices, plan.stations, strict=True):
        assert device.name == station.name
        if device.type == "tilt":
            assert station.calibration.scale_u95_percent is not None
            assert abs(device.scale - 1.0) * 100.0 <= station.calibration.scale_u95_percent
            assert station.position_m == device.at_m
    y = {m.name: m.position_m for m in plan.muster_stations}
    for person, planned in zip(scenario.people, plan.people, strict=True):
        assert person.name == planned.name
        assert y[planned.muster_station] == person.at_m
    states = positions(plan)
    for movement in movements(plan):
        moment = sum(
            w.mass_t * (w.port_m if states[movement.label][w.name] == "port" else w.starboard_m)[1]
            for w in plan.weights
        )
        people = sum(p.mass_kg * y[p.muster_station][1] for p in plan.people) / 1e3
        assert moment + people == pytest.approx(day.truth.window(movement.label).moment_tm, abs=0.08)


def test_heels_and_list_are_those_wanted(day: SimulatedDay) -> None:
    heels = [w.static_heel_deg for w in day.truth.windows]
    assert 1.0 < max(heels) < 4.0
    assert -4.0 < min(heels) < -1.0
    assert abs(heels[0]) < 0.5
    assert abs(day.truth.trim_m) < 0.48  # 1 % of length


def test_the_righting_arm_is_near_wall_sided(scenario: Scenario) -> None:
    floating = float_vessel(scenario)
    for degrees in (1.0, 3.0):
        angle = degrees * DEGREE
        wall = math.sin(angle) * (floating.restoring.gm + 0.5 * floating.bm * math.tan(angle) ** 2)
        assert floating.restoring.arm(angle) == pytest.approx(wall, rel=2e-3)


def test_every_electronic_station_of_the_plan_speaks(day: SimulatedDay) -> None:
    for station in TestFolder(FOLDER).plan().stations:
        if station.source.type == "manual":
            continue
        queue = frames(station, day.signals)
        assert len(queue) > 2500
        assert all(frame.data for frame in queue)
        times = np.array([frame.time_ns for frame in queue])
        assert np.all(np.diff(times) >= 0)
