"""Whatever the record looks like: an answer with a wide enough interval, or a typed reason. Never an exception."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from dsp.day import evaluate_day
from dsp.types import Day, DayHeel, StationKnowledge, Trace, Wind, WindowSpan

DEG = np.pi / 180.0
LEVELS = np.array([0.0, 1.0, 2.0, 1.0, 0.0, -1.0, -2.0, -1.0, 0.0]) * DEG


def record(
    period: float = 8.0,
    window: float = 120.0,
    rate: float = 5.0,
    stations: int = 2,
    roll: float = 0.05,
    noise: float = 0.005,
    low: float = 0.002,
    pause: float = 180.0,
    seed: int = 1,
) -> Day:
    """Steps of heel with a slowly modulated roll and a little low-frequency heel, all sizes in degrees."""
    rng = np.random.default_rng(seed)
    leg = window + pause
    time = np.arange(0.0, LEVELS.size * leg + 60.0, 1.0 / rate)
    state = np.clip((time // leg).astype(int), 0, LEVELS.size - 1)
    phase = 2 * np.pi * time / period + 0.3 * np.cumsum(rng.standard_normal(time.size)) / np.sqrt(rate * period * 10)
    knots = np.arange(0.0, time[-1] + 40.0, 20.0)
    slow = np.interp(time, knots, rng.standard_normal(knots.size)) * low
    motion = (roll * np.sin(phase) + slow) * DEG
    traces = []
    for s in range(stations):
        t = time + rng.uniform(0.0, 0.5 / rate)
        value = LEVELS[state] + motion + (0.1 * s - 0.2 + noise * rng.standard_normal(time.size)) * DEG
        traces.append(Trace(f"s{s}", t, value))
    windows = tuple(
        WindowSpan(f"{k}", k * leg + 0.7 * pause, k * leg + 0.7 * pause + window, group=f"{LEVELS[k]:.3f}")
        for k in range(LEVELS.size)
    )
    return Day(epoch_ns=0, heel=tuple(traces), windows=windows)


def check(found: DayHeel, day: Day, within: float = 0.03) -> None:
    assert len(found.windows) == len(day.windows)
    heel = np.array([w.heel for w in found.windows])
    u = np.array([w.u for w in found.windows])
    assert np.isfinite(heel).all() and (u > 0).all()
    error = heel - LEVELS
    error = error - np.median(error)
    assert np.max(np.abs(error)) < within * DEG
    assert np.mean(np.abs(error) < 4.5 * u + 1e-6) > 0.85
    assert np.isfinite(found.covariance).all()
    assert np.linalg.eigvalsh(found.covariance).min() > 0


@pytest.mark.parametrize(
    "how",
    [
        {"rate": 1.0},
        {"rate": 50.0, "window": 60.0, "pause": 60.0, "stations": 1},
        {"stations": 1},
        {"window": 20.0, "pause": 40.0, "period": 4.0},
        {"window": 1800.0, "pause": 120.0, "rate": 2.0},
        {"period": 3.0},
        {"period": 30.0, "window": 180.0},
        {"roll": 0.0},
        {"roll": 0.0, "low": 0.0},
        {"roll": 2.0},
        {"roll": 0.0, "low": 0.0, "noise": 0.0002},
    ],
    ids=str,
)
def test_rates_lengths_periods_and_rolls(how: dict[str, float]) -> None:
    day = record(**how)  # type: ignore[arg-type]
    check(evaluate_day(day), day)


def test_200_readings_a_second() -> None:
    day = record(rate=200.0, window=40.0, pause=30.0, stations=1, period=4.0)
    check(evaluate_day(day), day)


def test_only_the_windows_were_kept() -> None:
    day = record()
    traces = []
    for trace in day.heel:
        inside = np.zeros(trace.time.size, dtype=bool)
        for span in day.windows:
            inside |= (trace.time >= span.start) & (trace.time < span.stop)
        traces.append(Trace(trace.station, trace.time[inside], trace.value[inside]))
    check(evaluate_day(replace(day, heel=tuple(traces))), day)


def test_whole_second_stamps() -> None:
    day = record(rate=10.0)
    check(evaluate_day(replace(day, heel=tuple(replace(t, time=np.floor(t.time)) for t in day.heel))), day)


def test_coarse_resolution_in_a_dry_dock() -> None:
    day = record(roll=0.0, low=0.0, noise=0.0, stations=1)
    coarse = tuple(replace(t, value=np.round(t.value / (0.01 * DEG)) * 0.01 * DEG) for t in day.heel)
    found = evaluate_day(replace(day, heel=coarse))
    check(found, day)
    assert all(w.u > 0.001 * DEG for w in found.windows)


def test_not_a_number_duplicates_and_gaps() -> None:
    day = record()
    first = day.heel[0]
    value = first.value.copy()
    value[::37] = np.nan
    time = first.time.copy()
    time[100::50] = time[99::50][: time[100::50].size]
    keep = (first.time % 300.0) > 40.0
    day = replace(day, heel=(Trace("s0", time[keep], value[keep]), day.heel[1]))
    check(evaluate_day(day), day)


def test_a_station_that_comes_late_moves_nothing() -> None:
    day = record()
    late = day.heel[1]
    keep = late.time > 1000.0
    check(evaluate_day(replace(day, heel=(day.heel[0], Trace("s1", late.time[keep], late.value[keep])))), day)


def test_a_window_without_any_readings_says_why() -> None:
    day = record()
    gone = day.windows[4]
    traces = []
    for trace in day.heel:
        keep = (trace.time < gone.start - 5.0) | (trace.time > gone.stop + 5.0)
        traces.append(Trace(trace.station, trace.time[keep], trace.value[keep]))
    found = evaluate_day(replace(day, heel=tuple(traces)))
    assert np.isnan(found.windows[4].heel)
    assert found.windows[4].verdict == "rejected" and found.windows[4].reasons == ("no_record",)
    assert "readings" in found.windows[4].stations[0].reason
    assert np.isfinite([w.heel for k, w in enumerate(found.windows) if k != 4]).all()


def test_a_window_marked_on_another_day_widens_no_other() -> None:
    day = record()
    far = WindowSpan("far", day.windows[-1].stop + 86400.0, day.windows[-1].stop + 86520.0)
    alone, beside = evaluate_day(day), evaluate_day(replace(day, windows=(*day.windows, far)))
    assert [w.u for w in beside.windows[:-1]] == pytest.approx([w.u for w in alone.windows], rel=1e-6)
    assert beside.windows[-1].reasons == ("no_record",)


def test_next_to_nothing_many_times_over_is_no_gust() -> None:
    """A dock: nothing but the noise of the sensors. Windows have a hundred times a slow heel of nothing."""
    cautious = 0
    for seed in range(6):
        found = evaluate_day(record(roll=0.0, low=0.0, rate=2.0, seed=seed))
        cautious += sum("wind" in w.reasons for w in found.windows)
    assert cautious <= 1


@pytest.mark.parametrize("what", ["nothing", "no windows", "outside", "backwards", "stuck"])
def test_nothing_to_work_on(what: str) -> None:
    day = record()
    if what == "nothing":
        day = replace(day, heel=())
    elif what == "no windows":
        day = replace(day, windows=())
    elif what == "outside":
        day = replace(day, windows=(WindowSpan("far", 1e6, 1e6 + 100.0),))
    elif what == "backwards":
        day = replace(day, windows=(WindowSpan("b", 200.0, 100.0),))
    else:
        day = replace(day, heel=(Trace("s0", day.heel[0].time, np.zeros(day.heel[0].time.size)),))
    found = evaluate_day(day)
    assert len(found.windows) == len(day.windows)
    assert all(np.isnan(w.heel) and w.verdict == "rejected" for w in found.windows)
    if what != "no windows":
        assert found.assumptions


@pytest.mark.parametrize("what", ["none", "constant", "gap", "not a number", "few", "directed", "veering"])
def test_any_wind(what: str) -> None:
    day = record()
    rng = np.random.default_rng(3)
    time = np.arange(0.0, day.windows[-1].stop + 60.0, 1.0)
    speed = np.full(time.size, 4.0) + rng.normal(0, 0.7, time.size)
    wind: Wind | None = Wind(time, speed)
    if what == "none":
        wind = None
    elif what == "constant":
        wind = Wind(time, np.full(time.size, 4.0))
    elif what == "gap":
        wind = Wind(time[time < 800.0], speed[time < 800.0])
    elif what == "not a number":
        wind = Wind(time, np.where(rng.random(time.size) < 0.3, np.nan, speed))
    elif what == "few":
        wind = Wind(time[:5], speed[:5])
    elif what == "directed":
        wind = Wind(time, speed, np.full(time.size, 1.2))
    elif what == "veering":
        wind = Wind(time, speed, np.linspace(0.2, 2.8, time.size))
    check(evaluate_day(replace(day, wind=wind)), day)


def test_missing_knowledge_widens_and_says_so() -> None:
    day = record()
    found = evaluate_day(day)
    assert any("scale" in said and "0.5 %" in said for said in found.assumptions)
    known = tuple(StationKnowledge(t.station, scale_u=0.0005, drift_u=1e-9, yaw_u=0.005) for t in day.heel)
    better = evaluate_day(replace(day, knowledge=known))
    assert better.scale_u < found.scale_u


def test_readings_by_hand_alone() -> None:
    spans = tuple(
        replace(span, hand_readings=(("aft", heel + 0.001, 2e-5), ("forward", heel - 0.002, 3e-5)))
        for span, heel in zip(record().windows, LEVELS, strict=True)
    )
    found = evaluate_day(Day(epoch_ns=0, heel=(), windows=spans))
    heel = np.array([w.heel for w in found.windows])
    assert np.allclose(heel - heel[0], LEVELS - LEVELS[0], atol=1e-9)
    assert found.windows[0].stations[0].used
    assert np.linalg.eigvalsh(found.covariance).min() > 0
    assert any("by hand" in said for said in found.assumptions)


def test_a_reading_by_hand_fills_a_window_the_sensors_missed() -> None:
    day = record()
    gone = day.windows[4]
    traces = []
    for trace in day.heel:
        keep = (trace.time < gone.start - 5.0) | (trace.time > gone.stop + 5.0)
        traces.append(Trace(trace.station, trace.time[keep], trace.value[keep]))
    spans = tuple(
        replace(span, hand_readings=(("pendulum", heel + 0.01, 5e-5),))
        for span, heel in zip(day.windows, LEVELS, strict=True)
    )
    found = evaluate_day(replace(day, heel=tuple(traces), windows=spans))
    check(found, day)
    assert found.windows[4].stations[0].used and not found.windows[3].stations[-1].used


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_rounding_counts_where_she_lies_still(seed: int) -> None:
    """Readings rounded to 0.05 degrees: with motion they average out, without they are off by up to half of that."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 1800.0, 0.25)
    step = 0.05 * DEG
    levels = rng.uniform(-1.0, 1.0, 3) * DEG
    level = np.interp(time, [0.0, 580.0, 620.0, 1180.0, 1220.0, 1800.0], levels[[0, 0, 1, 1, 2, 2]])
    windows = tuple(WindowSpan(str(k), 600.0 * k + 300.0, 600.0 * k + 480.0) for k in range(3))

    def budget(motion: float) -> list[float]:
        heel = level + motion * rng.standard_normal(time.size) + 0.15 * step * rng.standard_normal(time.size)
        found = evaluate_day(Day(0, (Trace("a", time, np.round(heel / step) * step),), windows))
        return [sum(line.u for line in w.budget if line.source == "rounding") for w in found.windows]

    assert max(budget(1.0 * step)) < 0.001 * step
    still = budget(0.0)
    assert max(still) == pytest.approx(step / np.sqrt(12.0), rel=0.01)


def test_a_record_without_motion_has_no_bursts() -> None:
    """Readings that stand still but for a step of rounding now and then: pushes of no size are alike to no digit."""
    time = np.arange(0.0, 1800.0, 0.25)
    level = np.round(
        np.interp(time, [0.0, 580.0, 620.0, 1180.0, 1220.0, 1800.0], [0.1, 0.1, 0.9, 0.9, -0.8, -0.8]) / 0.05
    )
    windows = tuple(WindowSpan(str(k), 600.0 * k + 300.0, 600.0 * k + 480.0) for k in range(3))
    found = evaluate_day(Day(0, (Trace("a", time, 0.05 * DEG * level),), windows))
    assert all("burst" not in w.reasons for w in found.windows)


@pytest.mark.parametrize("scatter", [0.03, 0.15, 0.25])
def test_a_station_coarser_than_the_motion_is_not_stuck(scatter: float) -> None:
    """A barge in a dock: readings stand still or go to and fro by a step, and follow every movement of the weights."""
    rng = np.random.default_rng(21)
    states = 1.5 * DEG * np.array([0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0, -0.5, 0.0])
    time = np.arange(0.0, 600.0 * states.size, 0.5)
    turn = np.concatenate([[600.0 * k - 20.0, 600.0 * k + 20.0] for k in range(1, states.size)])
    level = np.interp(time, turn, np.repeat(states, 2)[1:-1])
    windows = tuple(WindowSpan(str(k), 600.0 * k + 300.0, 600.0 * k + 420.0) for k in range(states.size))
    step = 0.05 * DEG
    traces = tuple(
        Trace(
            name,
            time,
            np.round((level + place * step + scatter * step * rng.standard_normal(time.size)) / step) * step,
        )
        for name, place in (("a", 0.0), ("b", 0.37))
    )
    found = evaluate_day(Day(0, traces, windows))
    heel = np.array([w.heel for w in found.windows])
    u95 = np.array([2.0 * w.u for w in found.windows])
    off = heel - states
    assert np.all(np.abs(off - off.mean()) < u95)
    assert sum(w.verdict == "rejected" for w in found.windows) <= 1


def test_a_station_that_hangs_is_stuck_however_coarse_the_others() -> None:
    rng = np.random.default_rng(22)
    time = np.arange(0.0, 1800.0, 0.5)
    moving = 0.1 * DEG * np.sin(0.8 * time + np.cumsum(rng.normal(0, 0.03, time.size)))
    level = np.interp(time, [0.0, 580.0, 620.0, 1180.0, 1220.0, 1800.0], [0.0, 0.0, 0.02, 0.02, -0.02, -0.02])
    value = np.round((level + moving) / (0.01 * DEG)) * 0.01 * DEG
    hangs = value.copy()
    hangs[(time > 800.0) & (time < 1000.0)] = hangs[1600]
    windows = tuple(WindowSpan(str(k), 600.0 * k + 250.0, 600.0 * k + 400.0) for k in range(3))
    found = evaluate_day(Day(0, (Trace("a", time, value), Trace("b", time, hangs)), windows))
    assert found.marks[1].stuck.sum() > 300 and not found.marks[0].stuck.any()


def test_a_window_without_a_usable_reading_says_why() -> None:
    rng = np.random.default_rng(23)
    time = np.arange(0.0, 1800.0, 0.5)
    level = np.interp(time, [0.0, 580.0, 620.0, 1180.0, 1220.0, 1800.0], [0.0, 0.0, 0.02, 0.02, -0.02, -0.02])
    value = level + 0.1 * DEG * np.sin(0.8 * time + np.cumsum(rng.normal(0, 0.03, time.size)))
    value[(time > 840.0) & (time < 1010.0)] = value[1690]
    keep = (time < 1440.0) | (time > 1620.0)
    windows = tuple(WindowSpan(str(k), 600.0 * k + 250.0, 600.0 * k + 400.0) for k in range(3))
    found = evaluate_day(Day(0, (Trace("a", time[keep], value[keep]),), windows))
    assert [w.reasons for w in found.windows[1:]] == [("stuck",), ("no_record",)]
    assert all("could be evaluated" in w.checks[0].says for w in found.windows[1:])
