"""Whole days: seeds, truth, spoils."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from config.errors import BadInput
from config.units import DEGREE
from sim.day import SimulatedDay, simulate
from sim.devices import Pendulum
from sim.export import write_tables
from sim.kinds import KINDS, make_kind
from sim.scenario import Bottom, Scenario, load_scenario
from sim.spoils import CraneNotStowed, Squall, Tug, Unconfirmed, WrongWeight


@pytest.fixture(scope="module")
def quiet() -> Scenario:
    scenario = make_kind("quiet", 4)
    short = scenario.schedule.model_copy(update={"window_s": 80.0, "lift_s": 30.0, "settle_s": 60.0})
    return scenario.model_copy(update={"schedule": short})


@pytest.fixture(scope="module")
def quiet_day(quiet: Scenario) -> SimulatedDay:
    return simulate(quiet)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_makes_a_day(kind: str) -> None:
    day = simulate(make_kind(kind, 8))
    assert [w.label for w in day.truth.windows] == list("012345678")
    assert 200 <= day.truth.displacement_t <= 8000
    assert 4 <= day.truth.roll_period_s <= 25
    assert all(60 <= (w.stop_ns - w.start_ns) / 1e9 <= 180 for w in day.truth.windows)
    for signal in day.signals:
        assert np.all(np.diff(signal.time_ns) > 0)
        assert np.all(np.isfinite(signal.value))
        assert signal.time_ns.size == signal.value.size
    clean = [w for w in day.truth.windows if not w.spoilt]
    assert len(clean) >= (3 if kind == "early" else 5)


def test_a_seed_gives_the_same_bits(quiet: Scenario, quiet_day: SimulatedDay) -> None:
    again = simulate(quiet)
    for one, other in zip(quiet_day.signals, again.signals, strict=True):
        assert one.time_ns.tobytes() == other.time_ns.tobytes()
        assert one.value.tobytes() == other.value.tobytes()
    assert quiet_day.marks == again.marks
    assert quiet_day.truth == again.truth


def test_another_seed_gives_another_day_of_the_same_vessel(quiet: Scenario, quiet_day: SimulatedDay) -> None:
    other = simulate(quiet, seed=99)
    assert other.truth.gm_m == quiet_day.truth.gm_m
    assert not np.array_equal(other.signals[0].value, quiet_day.signals[0].value)
    assert other.truth.seed == 99


def test_one_part_draws_apart_from_the_others(quiet: Scenario) -> None:
    bare = simulate(quiet.model_copy(update={"devices": ()}))
    assert bare.motion.heel.tobytes() == simulate(quiet).motion.heel.tobytes()


def test_static_heels_are_those_of_the_wall_sided_formula(quiet: Scenario, quiet_day: SimulatedDay) -> None:
    vessel = quiet.vessel
    for window in quiet_day.truth.windows:
        t = math.tan(window.static_heel_deg * DEGREE)
        moment = vessel.displacement_t * t * (vessel.gm_m + 0.5 * vessel.bm_m * t * t)
        assert moment == pytest.approx(window.moment_tm + vessel.base_moment_tm, rel=1e-6, abs=1e-6)


def test_a_still_day_rests_where_the_truth_says(quiet: Scenario) -> None:
    wind = quiet.wind.model_copy(update={"speed_m_s": 0.0})
    berth = quiet.berth.model_copy(update={"chop_slope_deg": 0.0, "lines": (), "fenders": ()})
    vessel = quiet.vessel.model_copy(update={"damping": 0.3})
    people = tuple(p.model_copy(update={"roams_m": 0.0}) for p in quiet.people)
    day = simulate(quiet.model_copy(update={"wind": wind, "berth": berth, "vessel": vessel, "people": people}))
    for window in day.truth.windows:
        assert window.mean_heel_deg == pytest.approx(window.static_heel_deg, abs=2e-5)


def test_truth_holds_the_cross_curve() -> None:
    day = simulate(make_kind("flared", 2))
    given = dict(day.scenario.vessel.kn)
    for heel, kn in day.truth.kn:
        if heel in given:
            assert kn == pytest.approx(given[heel], abs=2e-6)
    angle = 1.0 * DEGREE
    assert dict(day.truth.kn)[1.0] == pytest.approx(day.truth.km_m * math.sin(angle), rel=2e-3)


def test_slack_tank_costs_the_published_gm() -> None:
    scenario = make_kind("slack_tank", 2)
    day = simulate(scenario)
    tank = scenario.liquids[0]
    loss = tank.density_kg_m3 * tank.length_m * tank.breadth_m**3 / 12.0 / (day.truth.displacement_t * 1e3)
    assert day.truth.free_surface_tm == pytest.approx(loss * day.truth.displacement_t)
    assert day.truth.km_m - day.truth.kg_m - loss == pytest.approx(day.truth.gm_m)


def test_wrong_weight_moves_the_true_moment_and_is_put_right(quiet: Scenario) -> None:
    spoil = WrongWeight(window="1", called="2", moved="1")
    day = simulate(quiet.model_copy(update={"spoils": (spoil,)}))
    clean = simulate(quiet)
    weights = {w.name: w for w in quiet.weights}
    swung = -weights["1"].mass_t * (weights["1"].starboard_m[1] - weights["1"].port_m[1])
    missed = -weights["2"].mass_t * (weights["2"].starboard_m[1] - weights["2"].port_m[1])
    found = day.truth.window("1").moment_tm - clean.truth.window("1").moment_tm
    assert found == pytest.approx(swung + missed, rel=1e-6)
    assert day.truth.window("2").moment_tm == pytest.approx(clean.truth.window("2").moment_tm)
    assert day.truth.window("1").spoilt == ("wrong_weight",)


def test_crane_off_its_rest_heels_by_its_moment(quiet: Scenario, quiet_day: SimulatedDay) -> None:
    moment = 0.02 * quiet.vessel.displacement_t * quiet.vessel.gm_m
    day = simulate(quiet.model_copy(update={"spoils": (CraneNotStowed(window="4", moment_tm=moment),)}))
    shift = day.truth.window("4").mean_heel_deg - quiet_day.truth.window("4").mean_heel_deg
    assert shift == pytest.approx(math.degrees(0.02), rel=0.05)
    assert day.truth.window("4").static_heel_deg == quiet_day.truth.window("4").static_heel_deg


def test_squall_and_tug_heel_her_to_the_right_side(quiet: Scenario, quiet_day: SimulatedDay) -> None:
    wind = quiet.wind.model_copy(update={"direction_deg": 90.0, "meander_deg": 0.0})
    base = quiet.model_copy(update={"wind": wind})
    calm, blown = simulate(base), simulate(base.model_copy(update={"spoils": (Squall(window="4", gain_m_s=6.0),)}))
    assert blown.truth.window("4").mean_heel_deg < calm.truth.window("4").mean_heel_deg  # from starboard, to port
    pull = Tug(window="4", after_s=-20.0, force_kn=20.0, height_m=12.0, for_s=300.0)
    pulled = simulate(quiet.model_copy(update={"spoils": (pull,)}))
    assert pulled.truth.window("4").mean_heel_deg > quiet_day.truth.window("4").mean_heel_deg


def test_touching_bottom_holds_one_side(quiet: Scenario) -> None:
    side = quiet.vessel.breadth_m / 2.0
    spot = Bottom(at_m=(0.0, side), clearance_m=0.01)
    day = simulate(quiet.model_copy(update={"berth": quiet.berth.model_copy(update={"bottom": (spot,)})}))
    held, free = day.truth.window("2"), day.truth.window("6")
    assert held.static_heel_deg - held.mean_heel_deg > 0.2
    assert abs(free.static_heel_deg - free.mean_heel_deg) < 0.05


def test_a_taut_line_makes_her_stiffer_to_one_side() -> None:
    day = simulate(make_kind("taut", 1))
    for window in day.truth.windows:
        error = abs(window.mean_heel_deg - window.static_heel_deg)
        assert (error > 0.1) == (window.spoilt == ("taut",)), window


def test_a_walk_shifts_the_mean_by_its_moment() -> None:
    scenario = make_kind("people", 2)
    day = simulate(scenario)
    without = simulate(scenario.model_copy(update={"spoils": ()}))
    for window, still in zip(day.truth.windows, without.truth.windows, strict=True):
        moved = abs(window.mean_heel_deg - still.mean_heel_deg)
        assert (moved > 0.003) == ("people" in window.spoilt)


def test_a_withheld_confirmation_is_not_marked(quiet: Scenario) -> None:
    day = simulate(quiet.model_copy(update={"spoils": (Unconfirmed(window="3", what="muster"),)}))
    said = {m.data["window"]: m.data["what"] for m in day.marks if m.kind == "confirm"}
    assert "muster" not in said["3"]
    assert "muster" in said["2"]


def test_marks_come_in_the_order_of_the_day(quiet_day: SimulatedDay) -> None:
    times = [m.time_ns for m in quiet_day.marks]
    assert times == sorted(times)
    order = [m.kind for m in quiet_day.marks if m.kind in ("movement", "window_open", "window_close")]
    assert order == ["window_open", "window_close"] + ["movement", "window_open", "window_close"] * 8


def test_pendulum_is_read_near_the_truth(quiet: Scenario) -> None:
    device = Pendulum(name="p", at_m=(10.0, 0.0, 5.0), length_m=4.0, reading_mm=0.3)
    day = simulate(quiet.model_copy(update={"devices": (device,)}))
    for mark in (m for m in day.marks if m.kind == "reading"):
        seen = np.array(mark.data["deflections_mm"])
        weights = np.r_[1.0, 2.0 * np.ones(seen.size - 2), 1.0]
        heel = math.degrees(math.atan(float(weights @ seen / weights.sum()) / 4000.0))
        assert heel == pytest.approx(day.truth.window(str(mark.data["window"])).mean_heel_deg, abs=0.06)


def test_tables_on_disk(quiet_day: SimulatedDay, tmp_path: Path) -> None:
    write_tables(quiet_day, tmp_path)
    lines = (tmp_path / "readings.csv").read_text(encoding="utf-8").splitlines()
    assert len(lines) == 1 + sum(s.value.size for s in quiet_day.signals)
    assert len((tmp_path / "windows.csv").read_text(encoding="utf-8").splitlines()) == 10
    truth = json.loads((tmp_path / "truth.json").read_text(encoding="utf-8"))
    assert truth["gm_m"] == quiet_day.truth.gm_m
    assert truth["lightship"] is None


def test_readings_come_in_order_of_arrival(quiet_day: SimulatedDay) -> None:
    last, numbers = 0, {}
    for reading in quiet_day.readings():
        assert reading.host_ns >= last
        last = reading.host_ns
        channel = (reading.station, reading.quantity)
        assert reading.sequence == numbers.get(channel, -1) + 1
        numbers[channel] = reading.sequence


def test_a_scenario_file_names_what_is_wrong(tmp_path: Path) -> None:
    file = tmp_path / "bad.toml"
    file.write_text(
        '[[people]]\nname = "mate"\nat_m = [0, 0, 0]\n[[spoils]]\ntype = "walk"\nperson = "cook"\nto_m = [1, 1, 1]\n'
    )
    with pytest.raises(BadInput, match="no person named cook; known: mate"):
        load_scenario(file)
    file.write_text("[vessel]\nlenght_m = 5\n", encoding="utf-8", newline="\n")
    with pytest.raises(BadInput, match=r"line 2.*did you mean length_m"):
        load_scenario(file)
    file.write_text('[vessel]\nrestoring = "kn"\n', encoding="utf-8", newline="\n")
    with pytest.raises(BadInput, match=r"vessel\.kn"):
        simulate(load_scenario(file))


def test_the_hard_day_spoils_every_window() -> None:
    day = simulate(load_scenario(Path("hard-day")))
    spoilt = {w.label: w.spoilt for w in day.truth.windows}
    assert all(spoilt.values())
    assert {code for codes in spoilt.values() for code in codes} >= {
        "burst", "stuck", "wind", "taut", "wrong_weight", "transient", "people", "offset", "spikes", "unconfirmed",
    }  # fmt: skip
    assert np.max(np.abs(day.motion.heel)) < 8.0 * DEGREE
