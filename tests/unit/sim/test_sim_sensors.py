"""What devices do to the truth, one fault at a time."""

import numpy as np
import pytest

from logger.records import Quantity
from sim.day import SimulatedDay, simulate
from sim.devices import Tilt
from sim.kinds import make_kind
from sim.scenario import Scenario
from sim.sensors import Signal, at_times, temperature
from sim.spoils import SensorFault

IDEAL = {
    "name": "aft", "at_m": (10.0, 0.0, 3.0), "noise_deg": 0.0, "resolution_deg": 0.0, "lag_s": 0.0, "jitter_ms": 0.0,
    "latency_ms": 0.0, "stamps": True,
}  # fmt: skip


@pytest.fixture(scope="module")
def base() -> Scenario:
    scenario = make_kind("quiet", 6)
    short = scenario.schedule.model_copy(update={"window_s": 60.0, "lift_s": 25.0, "settle_s": 30.0, "after_s": 10.0})
    return scenario.model_copy(update={"schedule": short})


def day_with(base: Scenario, *spoils: SensorFault, **changes: object) -> SimulatedDay:
    device = Tilt.model_validate({**IDEAL, **changes})
    return simulate(base.model_copy(update={"devices": (device,), "spoils": spoils}))


def heel(day: SimulatedDay) -> Signal:
    return next(s for s in day.signals if s.quantity is Quantity.HEEL)


def true_at(day: SimulatedDay, signal: Signal) -> np.ndarray:
    step = float(day.motion.time[1])
    return np.degrees(at_times(step, day.motion.heel, (signal.time_ns - day.epoch_ns) * 1e-9))


@pytest.fixture(scope="module")
def ideal(base: Scenario) -> SimulatedDay:
    return day_with(base)


def test_an_ideal_sensor_at_the_roll_axis_tells_the_truth(base: Scenario) -> None:
    from sim.condition import float_vessel
    from sim.vessel import linear_vessel

    wind = base.wind.model_copy(update={"speed_m_s": 0.0})
    berth = base.berth.model_copy(update={"chop_slope_deg": 0.0})
    still = base.model_copy(update={"wind": wind, "berth": berth})
    floating = float_vessel(still)
    axis = floating.draught + linear_vessel(still, floating).roll_centre
    errors = []
    for height in (axis, axis + 6.0):
        day = day_with(still, at_m=(10.0, 0.0, height))
        errors.append(heel(day).value - true_at(day, heel(day)))
    assert np.std(errors[0]) < 0.1 * np.std(errors[1])
    assert abs(float(np.mean(errors[1]))) < 1e-4  # what it feels aloft averages out


def test_scale_zero_and_drift(base: Scenario, ideal: SimulatedDay) -> None:
    changed = heel(day_with(base, scale=1.01, zero_deg=0.5, drift_deg_per_h=0.1))
    clean = heel(ideal)
    hours = (clean.time_ns - ideal.epoch_ns) / 3.6e12
    assert np.allclose(changed.value, 1.01 * clean.value + 0.5 + 0.1 * hours, atol=1e-6)


def test_yaw_mixes_trim_in(base: Scenario, ideal: SimulatedDay) -> None:
    turned = heel(day_with(base, yaw_deg=10.0))
    trim = float(np.degrees(np.mean(ideal.world.trim)))
    wanted = np.cos(np.radians(10)) * np.mean(heel(ideal).value) + np.sin(np.radians(10)) * trim
    assert float(np.mean(turned.value)) == pytest.approx(float(wanted), abs=1e-3)


def test_quantisation_and_range(base: Scenario) -> None:
    value = heel(day_with(base, resolution_deg=0.05, range_deg=1.0)).value
    assert np.allclose(np.round(value / 0.05) * 0.05, value)
    assert float(np.max(np.abs(value))) == 1.0


def test_lag_delays(base: Scenario, ideal: SimulatedDay) -> None:
    lagged, clean = heel(day_with(base, lag_s=1.0)).value, heel(ideal).value
    shifts = range(0, 25)
    best = min(shifts, key=lambda k: float(np.mean((lagged[30:2000] - clean[30 - k : 2000 - k]) ** 2)))
    assert 6 <= best <= 11  # about a second at 10 Hz, less for the faster swings


def test_temperature_moves_the_zero(base: Scenario, ideal: SimulatedDay) -> None:
    moved = heel(day_with(base, temperature_deg_per_c=0.01)).value - heel(ideal).value
    warmer = temperature(base, (heel(ideal).time_ns - ideal.epoch_ns) * 1e-9) - base.temperature_c
    assert moved == pytest.approx(0.01 * warmer, abs=1e-6)
    assert moved[-1] > 0.002


def test_dropouts_and_duplicates(base: Scenario, ideal: SimulatedDay) -> None:
    count = heel(ideal).value.size
    assert heel(day_with(base, dropout=0.1)).value.size == pytest.approx(0.9 * count, rel=0.03)
    doubled = heel(day_with(base, duplicate=0.05))
    assert doubled.value.size == pytest.approx(1.05 * count, rel=0.01)
    assert doubled.device_time_ns is not None
    same = np.flatnonzero(np.diff(doubled.device_time_ns) == 0)
    assert same.size == doubled.value.size - count
    assert np.array_equal(doubled.value[same], doubled.value[same + 1])


def test_clock_errors_show_in_the_stamps_only(base: Scenario, ideal: SimulatedDay) -> None:
    off = heel(day_with(base, clock_offset_s=-3.0, clock_drift_ppm=100.0))
    assert np.array_equal(off.time_ns, heel(ideal).time_ns)
    assert off.device_time_ns is not None
    behind = (off.device_time_ns - off.time_ns) * 1e-9
    span = (off.time_ns[-1] - off.time_ns[0]) * 1e-9
    assert behind[0] == pytest.approx(-3.0, abs=1e-3)
    assert behind[-1] - behind[0] == pytest.approx(1e-4 * span, rel=1e-3)


def test_latency_comes_after_sampling(base: Scenario) -> None:
    late = heel(day_with(base, latency_ms=80.0))
    assert late.device_time_ns is not None
    delay = (late.time_ns - late.device_time_ns) * 1e-9
    assert float(delay.min()) >= 0.0479
    assert float(np.mean(delay)) == pytest.approx(0.08, rel=0.1)


def test_rate_is_not_quite_nominal(base: Scenario) -> None:
    fast = heel(day_with(base, rate_error_ppm=2000.0))
    assert 1e9 / float(np.mean(np.diff(fast.time_ns))) == pytest.approx(10.02, rel=1e-4)


@pytest.mark.parametrize("fault", ["stuck", "dropout", "spikes", "noise", "step", "saturated"])
def test_faults_stay_in_their_time(base: Scenario, ideal: SimulatedDay, fault: str) -> None:
    spoil = SensorFault(
        window="2", after_s=10.0, station="aft", fault=fault, for_s=20.0, size={"saturated": 0.5}.get(fault, 3.0)
    )
    day = day_with(base, spoil, noise_deg=0.001)
    begin = day.truth.window("2").start_ns + 10 * 10**9
    signal, clean = heel(day), heel(day_with(base, noise_deg=0.001))
    inside = (signal.time_ns >= begin) & (signal.time_ns < begin + 20 * 10**9)
    if fault == "dropout":
        assert not inside.any()
        assert signal.value.size == clean.value.size - 200
        return
    changed = signal.value != clean.value
    assert not changed[~inside].any()
    assert changed[inside].mean() > (0.01 if fault == "spikes" else 0.9)
    if fault == "stuck":
        assert np.ptp(signal.value[inside]) == 0.0
    if fault == "saturated":
        assert np.max(np.abs(signal.value[inside])) < 0.51


def test_heel_and_trim_travel_in_one_message(base: Scenario) -> None:
    day = day_with(base, trim=True, dropout=0.05, latency_ms=30.0)
    one, other = day.signals
    assert np.array_equal(one.time_ns, other.time_ns)
