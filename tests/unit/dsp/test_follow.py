"""Stations that do not follow the vessel are left out, however quiet they are."""

from dataclasses import replace

import numpy as np
import pytest

from dsp.day import evaluate_day
from dsp.types import Array, Day, DayHeel, StationKnowledge, Trace, WindowHeel, WindowSpan

DEG = np.pi / 180.0
TIME = np.arange(0.0, 5400.0, 0.5)
STATE = np.array([0.0, 1.0, 2.0, 1.0, 0.0, -1.0, -2.0, -1.0, 0.0])
RANDOM = np.random.default_rng(3)
HEEL = DEG * (STATE[np.minimum((TIME // 600).astype(int), 8)] + 0.1 * np.sin(2 * np.pi * TIME / 8.0))
SOUND = [HEEL + RANDOM.normal(0, 2e-5, TIME.size) + zero for zero in (0.0, 0.002, -0.001)]
WINDOWS = tuple(WindowSpan(str(k), 600.0 * k + 300.0, 600.0 * k + 480.0) for k in range(9))


def day(*values: Array) -> Day:
    names = ("aft", "middle", "forward", "mast")
    heel = tuple(Trace(name, TIME, value) for name, value in zip(names, values, strict=False))
    return Day(0, heel, WINDOWS, tuple(StationKnowledge(t.station, scale_u=0.002) for t in heel))


def said(window: WindowHeel) -> set[str]:
    """Reasons of a window; its roll is an eternal sine here, which the check for a dying swing rightly finds odd."""
    return set(window.reasons) - {"transient"}


def steps(found: DayHeel) -> Array:
    heel = np.array([w.heel for w in found.windows])
    return np.asarray(heel - heel[0]) / DEG


def stands(changes: int, noise: float = 0.0) -> Array:
    value = np.full(TIME.size, 0.01)
    for place in np.random.default_rng(changes).integers(0, TIME.size, changes):
        value[place:] += 2e-5 * (-1) ** place
    return value + RANDOM.normal(0, noise, TIME.size) if noise else value


STILL = {
    "never changes": stands(0),
    "changes five times": stands(5),
    "changes five hundred times": stands(500),
    "flickers": 0.01 + 1e-5 * RANDOM.integers(0, 2, TIME.size),
    "noise only": stands(0, 1e-6),
}


@pytest.mark.parametrize("value", STILL.values(), ids=STILL.keys())
@pytest.mark.parametrize("others", [1, 2])
def test_a_station_that_stands_still_changes_no_heel_and_every_window_says_so(value: Array, others: int) -> None:
    found = evaluate_day(day(value, *SOUND[:others]))
    assert steps(found) == pytest.approx(STATE, abs=2e-3)
    for window in found.windows:
        assert "stuck" in window.reasons and window.verdict != "rejected"
        assert any("aft" in c.says and c.verdict == "caution" for c in window.checks if c.code == "stuck")
        assert [s.used for s in window.stations if s.station == "aft"] == [False]


def test_two_that_stand_still_do_not_outvote_the_one_that_moves() -> None:
    assert steps(evaluate_day(day(stands(0, 1e-6), stands(1, 1e-6), SOUND[0]))) == pytest.approx(STATE, abs=2e-3)


@pytest.mark.parametrize("factor", [-1.0, 1.1, 0.9])
def test_a_wrong_sign_or_scale_is_left_out_where_two_others_agree(factor: float) -> None:
    found = evaluate_day(day(factor * SOUND[0], *SOUND[1:]))
    assert steps(found) == pytest.approx(STATE, abs=5e-3)
    assert all(said(w) == {"disagreement"} and w.verdict == "caution" for w in found.windows)


def test_of_two_that_move_against_each_other_nobody_is_believed() -> None:
    found = evaluate_day(day(-SOUND[0], SOUND[1]))
    assert all(w.verdict == "rejected" and "disagreement" in w.reasons for w in found.windows)
    assert any("Find out which" in c.says for c in found.windows[0].checks)


def test_of_two_scales_that_contradict_their_records_either_may_be_right() -> None:
    found = evaluate_day(day(1.1 * SOUND[0], SOUND[1]))
    assert found.scale_u == pytest.approx(0.05, abs=0.01)
    assert all(w.verdict == "caution" for w in found.windows)
    assert any("either" in said or "any may be" in said for said in found.assumptions)


def test_a_station_that_was_knocked_is_used_only_where_it_agrees() -> None:
    knocked = SOUND[0].copy()
    knocked[TIME > 3500.0] += 0.3 * DEG
    found = evaluate_day(day(knocked, *SOUND[1:]))
    assert steps(found) == pytest.approx(STATE, abs=5e-3)
    used = [s.used for w in found.windows for s in w.stations if s.station == "aft"]
    assert used == [True] * 6 + [False] * 3
    assert ["disagreement" in w.reasons for w in found.windows] == [False] * 6 + [True] * 3


def test_a_station_frozen_for_two_windows_but_for_its_noise_is_left_out_of_them() -> None:
    frozen = SOUND[0].copy()
    part = (TIME > 650.0) & (TIME < 1750.0)
    frozen[part] = frozen[np.flatnonzero(part)[0]] + RANDOM.normal(0, 1e-6, part.sum())
    found = evaluate_day(day(frozen, *SOUND[1:]))
    assert steps(found) == pytest.approx(STATE, abs=5e-3)
    assert [s.used for w in found.windows[:4] for s in w.stations if s.station == "aft"] != [True] * 4


def test_a_coarse_station_that_follows_is_used() -> None:
    coarse = np.round(HEEL / (0.25 * DEG)) * 0.25 * DEG
    found = evaluate_day(day(coarse, *SOUND))
    assert all(s.used for w in found.windows for s in w.stations)


def test_a_station_that_joins_late_is_used() -> None:
    late = replace(day(*SOUND).heel[0], time=TIME[TIME > 4000.0], value=SOUND[0][TIME > 4000.0])
    found = evaluate_day(replace(day(*SOUND), heel=(late, *day(*SOUND).heel[1:])))
    assert [said(w) for w in found.windows] == [{"gap"}] * 7 + [set()] * 2
    assert [s.used for w in found.windows for s in w.stations if s.station == "aft"] == [False] * 6 + [True] * 3


def test_nothing_is_said_of_a_sound_day() -> None:
    found = evaluate_day(day(*SOUND))
    assert steps(found) == pytest.approx(STATE, abs=1e-3)
    assert all(not said(w) and all(s.used for s in w.stations) for w in found.windows)


@pytest.mark.parametrize(("times", "told"), [(-1.0, "sign is turned"), (DEG, "radians"), (0.4, "moves 0.4 times")])
def test_a_station_in_step_but_not_alike_is_told_by_its_slip(times: float, told: str) -> None:
    """A sign, a unit, a scale: whoever reads it knows what to look for. Of two nobody knows which is right."""
    three = evaluate_day(day(times * HEEL + RANDOM.normal(0, 2e-6, TIME.size), *SOUND[1:]))
    spoken = " ".join(c.says for c in three.windows[0].checks if c.verdict == "caution")
    assert "aft moves" in spoken and told in spoken
    assert steps(three) == pytest.approx(STATE, abs=2e-3)
    if abs(times) > 0.25:
        two = evaluate_day(day(times * HEEL + RANDOM.normal(0, 2e-6, TIME.size), SOUND[1]))
        spoken = " ".join(c.says for c in two.windows[0].checks if c.verdict == "rejected")
        assert "middle" in spoken and "in step with it" in spoken
