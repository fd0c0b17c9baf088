"""Checks that look at the record beside a window, or at the day's other windows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from window_maker import DEGREE, Quiet, make

from dsp.alike import habit
from dsp.checks import REGISTRY, Look, judge, run, run_day
from dsp.checks.people import check as moved
from dsp.checks.swing import swing_of
from dsp.stiffening import expected_period
from dsp.types import Array, Check, RollMotion, WindowEvidence

SWELL = Quiet(length=24.0, period=8.0, roll=0.03 * DEGREE)
LONG = replace(SWELL, length=200.0)


def cut(whole: WindowEvidence, opened: float, length: float, rng: np.random.Generator, swell: Quiet) -> WindowEvidence:
    """A window of ``length`` s out of a longer record, which it keeps beside it."""
    window = make(rng, replace(swell, length=length))
    here = (whole.time >= opened) & (whole.time < opened + length)
    time = whole.time[here]
    span = replace(window.span, start=opened, stop=opened + length)
    changes = {"span": span, "time": time, "heel": whole.heel[here], "mean": float(whole.heel[here].mean())}
    away = whole.heel - changes["mean"]
    return replace(window, **changes, beside_time=whole.time, beside_heel=away)


def record(rng: np.random.Generator, middle: float | None, size: float = 0.3) -> WindowEvidence:
    """Three minutes of quiet roll, with a packet of waves about ``middle`` s."""
    time = (np.arange(250) + 0.5) * 0.8
    if middle is None:
        return make(rng, LONG)
    turn = 2 * np.pi * (time - middle) / LONG.period
    packet = np.exp(-0.5 * ((time - middle) / (1.5 * LONG.period)) ** 2) * np.sin(turn)
    return make(rng, LONG, disturbance=size * DEGREE * packet)


def bursts(windows: list[WindowEvidence]) -> list[bool]:
    return ["burst" in judge(checks)[1] for checks in run_day(windows)]


def test_a_burst_longer_than_its_window_is_seen_by_the_record_beside_it() -> None:
    rng = np.random.default_rng(101)
    found, clean = 0, 0
    for _ in range(10):
        spoilt = [cut(record(rng, 112.0), 100.0, 24.0, rng, SWELL) for _ in range(3)]
        rest = [cut(record(rng, None), 100.0, 24.0, rng, SWELL) for _ in range(6)]
        said = bursts([*spoilt, *rest])
        found, clean = found + sum(said[:3]), clean + sum(said[3:])
    assert found >= 27 and clean == 0


def test_a_burst_beside_the_window_is_not_its_fault() -> None:
    rng = np.random.default_rng(102)
    said = 0
    for _ in range(10):
        after = [cut(record(rng, 165.0), 60.0, 60.0, rng, SWELL) for _ in range(3)]
        rest = [cut(record(rng, None), 60.0, 60.0, rng, SWELL) for _ in range(6)]
        said += sum(bursts([*after, *rest]))
    assert said == 0


def test_two_periods_alone_are_not_judged() -> None:
    rng = np.random.default_rng(103)
    alone = make(rng, replace(SWELL, length=20.0))
    names = [check.__module__.rsplit(".", 1)[-1] for check in REGISTRY]
    burst: Check = run(alone)[names.index("burst")]
    assert np.isnan(burst.threshold) and "nothing to compare" in burst.says


@pytest.mark.parametrize(("more", "slower"), [(1.8, 1.0), (0.6, 1.0), (1.0, 0.99), (1.5, 0.995)])
def test_a_swing_that_dies_by_another_law_is_no_burst(more: float, slower: float) -> None:
    """Damping grows with the swing and the period with heel, by tens and by single per cents."""
    rng = np.random.default_rng(104)
    time = (np.arange(250) + 0.5) * 0.8
    turn = 2 * np.pi * time / LONG.period
    dying = 0.6 * DEGREE * np.exp(-more * LONG.damping * turn) * np.cos(slower * turn)
    said = 0
    for _ in range(5):
        early = [cut(make(rng, LONG, disturbance=dying), 40.0, 80.0, rng, SWELL) for _ in range(2)]
        rest = [cut(record(rng, None), 40.0, 80.0, rng, SWELL) for _ in range(7)]
        said += sum(bursts([*early, *rest]))
    assert said <= 1


def test_a_gap_ends_the_record_beside_a_window() -> None:
    rng = np.random.default_rng(105)
    window = cut(record(rng, None), 80.0, 40.0, rng, SWELL)
    whole = swing_of(Look(window))
    assert whole is not None
    keep = (window.beside_time < 50.0) | (window.beside_time > 58.0)
    parted = swing_of(Look(replace(window, beside_time=window.beside_time[keep], beside_heel=window.beside_heel[keep])))
    assert parted is not None and parted.time[0] > 56.0
    # Periods are counted from the opening; the last one may stick out by less than half.
    assert parted.within().time == pytest.approx(whole.within().time)
    assert whole.time[whole.first] == pytest.approx(84.0, abs=0.5) and whole.last - whole.first == 5


def test_what_is_usual_is_told_though_three_of_eight_are_disturbed() -> None:
    rng = np.random.default_rng(106)
    few, many = [], []
    for _ in range(50):
        usual = rng.chisquare(20, 8) / 20.0
        few.append(habit(usual, np.full(8, 20.0)))
        usual[:3] *= 40.0
        many.append(habit(usual, np.full(8, 20.0)))
    for told in (few, many):
        middle = [float(np.exp(one.weight @ np.log(one.usual))) for one in told]
        assert np.mean(middle) == pytest.approx(1.0, abs=0.15)
        assert np.mean([one.weight @ (one.dof >= 12.0) for one in told]) > 0.7


STATES = 2.5 * DEGREE * np.array([0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0, -0.5, 0.0])


def day_of_periods(period: Array, u: float = 0.03) -> list[WindowEvidence]:
    rng = np.random.default_rng(107)
    base = make(rng, Quiet(length=120.0))
    return [
        replace(base, mean=float(heel), window_roll=RollMotion(float(t), u, 0.03, 0.01, 0.1 * DEGREE))
        for heel, t in zip(STATES, period, strict=True)
    ]


def taut(windows: list[WindowEvidence]) -> list[bool]:
    names = [check.__module__.rsplit(".", 1)[-1] for check in REGISTRY]
    return [checks[names.index("taut_period")].verdict == "rejected" for checks in run_day(windows)]


def test_a_hull_that_stiffens_with_heel_is_not_held() -> None:
    flared = 8.0 / np.sqrt(1.0 + 0.2 * (STATES / STATES.max()) ** 2)
    assert sum(taut(day_of_periods(flared))) == 0
    for asked in (0, 2, 6):
        rest = np.arange(STATES.size) != asked
        told = expected_period(STATES[asked], STATES[rest], flared[rest], np.full(8, 0.03), (7.6, 0.03))
        assert told.period == pytest.approx(flared[asked], rel=0.02)


def test_windows_held_on_one_side_are_seen_though_they_stood_for_the_day() -> None:
    free = 8.0 / np.sqrt(1.0 + 0.03 * (STATES / STATES.max()) ** 2)
    for held in ([2], [1, 2], [1, 2, 3]):
        period = free.copy()
        period[held] /= np.sqrt(1.08)
        said = taut(day_of_periods(period))
        assert all(said[n] for n in held), held
        assert sum(said) == len(held)


QUIET = Quiet(length=88.0)
LEAD = 88.0


def led(rng: np.random.Generator, disturbance: Callable[[Array], Array] = np.zeros_like) -> WindowEvidence:
    """A window whose covariance is known exactly, with as much record before it; ``disturbance`` by s since opening."""
    long = replace(QUIET, length=LEAD + QUIET.length)
    time = (np.arange(round(long.length / 0.8)) + 0.5) * 0.8
    whole = make(rng, long, disturbance=disturbance(time - LEAD))
    window = cut(whole, LEAD, QUIET.length, rng, QUIET)
    return replace(window, led=lambda: replace(whole, span=window.span))


def walk(at: float) -> Callable[[Array], Array]:
    """A walk across the deck that begins ``at`` s, of 0.016 degrees."""
    return lambda seconds: 0.016 * DEGREE * np.clip((seconds - at) / 6.0, 0.0, 1.0)


def settling(within: float) -> Callable[[Array], Array]:
    """A level reached little by little from the beginning of the record, from 0.02 degrees off."""
    return lambda seconds: -0.02 * DEGREE * np.exp(-(seconds + LEAD) / within)


def people(windows: list[WindowEvidence]) -> list[Check]:
    return [moved(Look(window)) for window in windows]


def rejected(windows: list[WindowEvidence]) -> int:
    return sum(check.verdict == "rejected" for check in people(windows))


def test_the_record_before_a_window_shows_a_step_soon_after_it_opened() -> None:
    rng = np.random.default_rng(111)
    windows = [led(rng, walk(12.0)) for _ in range(60)]
    alone = rejected([replace(window, led=None) for window in windows])
    assert rejected(windows) >= 48 and alone <= 36


def test_with_the_record_before_it_a_clean_window_is_rejected_no_more_often() -> None:
    """Of 400 windows 2.4 are expected; 9 or more come once in a thousand such runs."""
    rng = np.random.default_rng(112)
    assert rejected([led(rng) for _ in range(400)]) <= 8


@pytest.mark.parametrize("before", [walk(-40.0), walk(-20.0), settling(20.0), settling(40.0)])
def test_what_is_over_when_the_window_opens_is_not_held_against_it(before: Callable[[Array], Array]) -> None:
    rng = np.random.default_rng(113)
    assert rejected([led(rng, before) for _ in range(80)]) <= 5


def test_a_step_before_the_window_is_told() -> None:
    rng = np.random.default_rng(114)
    said = people([led(rng, lambda seconds: 3.0 * walk(-30.0)(seconds)) for _ in range(10)])
    assert sum("s before the window opened" in check.says and check.verdict != "rejected" for check in said) >= 9


def test_a_step_found_by_the_record_before_is_shown_with_it() -> None:
    rng = np.random.default_rng(115)
    check = people([led(rng, lambda seconds: 3.0 * walk(12.0)(seconds))])[0]
    assert check.verdict == "rejected"
    time = check.evidence["time"]
    assert time[0] < 0.05 * LEAD and time.size == check.evidence["low"].size == check.evidence["step"].size
