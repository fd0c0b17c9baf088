"""Her list changes for good in the middle of a day: told, taken off, and GM none the worse."""

from __future__ import annotations

import numpy as np
import pytest
from day_maker import Vessel, day, states

from reduction.gm.reduce import reduce_gm
from reduction.types import Array, GmResult

U = float(np.deg2rad(0.002))
VESSEL = Vessel()
SIZE = float(np.deg2rad(0.03))


def reduced(heel: Array) -> GmResult:
    moments = VESSEL.moments()
    return reduce_gm(day(heel, U**2 * np.eye(heel.size)), states(moments), VESSEL.weight, VESSEL.known_bm)


def heels(place: int, size: float = SIZE, seed: int = 1) -> Array:
    rng = np.random.default_rng(seed)
    heel = VESSEL.heel(VESSEL.moments()) + U * rng.standard_normal(9)
    return np.asarray(heel + size * (np.arange(9) >= place))


def between(result: GmResult) -> tuple[int, int]:
    """Windows, 600 s apart, between which her list changed at once."""
    change = result.list_change
    assert change is not None and change.sudden
    last = int((change.since - 60.0) // 600.0)
    return last, last + 1


@pytest.mark.parametrize("size", [SIZE, -SIZE, 10.0 * SIZE])
@pytest.mark.parametrize("place", range(2, 8))
def test_a_list_that_changes_costs_no_window(place: int, size: float) -> None:
    result = reduced(heels(place, size))
    change = result.list_change
    assert change is not None and between(result) == (place - 1, place)
    assert abs(change.size - size) < 4.0 * change.u < 0.5 * SIZE
    assert all(point.used for point in result.points)
    assert abs(result.gm.value - VESSEL.gm) < 3.0 * result.gm.u < 0.012
    assert any(text.startswith("Her list changed by") and "stayed so" in text for text in result.assumptions)


def test_heels_are_given_in_the_list_before_and_the_change_beside_them() -> None:
    heel = heels(5)
    result = reduced(heel)
    taken = np.array([point.list_change for point in result.points])
    assert np.all(taken[:5] == 0.0) and taken[5:] == pytest.approx(SIZE, abs=4 * U)
    assert np.array([point.heel for point in result.points]) + taken == pytest.approx(heel)
    assert abs(result.list_upright.value - np.arctan(0.002)) < 4 * U
    assert next(check for check in result.day_checks if check.code == "zero").verdict == "caution"
    assert all(check.verdict == "fine" for check in result.day_checks if check.code != "zero")


def test_the_interval_knows_that_the_change_was_found_by_the_same_windows() -> None:
    plain, changed = reduced(heels(4, 0.0)), reduced(heels(4))
    assert plain.list_change is None
    assert changed.gm.u > 1.02 * plain.gm.u
    line = {one.source: one.u for one in changed.line.budget}
    assert line["change of list"] > 0.0


@pytest.mark.parametrize("size", [SIZE, -SIZE, 10.0 * SIZE])
def test_a_list_that_creeps_costs_no_window(size: float) -> None:
    result = reduced(heels(0, 0.0) + size * np.arange(9) / 8.0)
    change = result.list_change
    assert change is not None and not change.sudden
    assert abs(change.size - size) < 4.0 * change.u < 0.6 * SIZE
    assert all(point.used for point in result.points)
    assert abs(result.gm.value - VESSEL.gm) < 3.0 * result.gm.u < 0.012
    assert any(text.startswith("Her list crept by") for text in result.assumptions)
    assert result.points[4].list_change == pytest.approx(0.5 * change.size)


def test_a_window_that_was_shifted_besides_goes() -> None:
    heel = heels(5)
    heel[2] += 2.0 * SIZE
    result = reduced(heel)
    assert between(result) == (4, 5)
    assert [point.label for point in result.points if not point.used] == ["2"]
    assert abs(result.gm.value - VESSEL.gm) < 3.0 * result.gm.u


@pytest.mark.parametrize("place", [1, 8])
def test_one_window_beside_the_others_is_a_shift_of_that_window(place: int) -> None:
    result = reduced(heels(place))
    assert result.list_change is None
    assert [point.label for point in result.points if not point.used] == ["0" if place == 1 else "8"]


def test_windows_held_on_one_side_are_no_change_of_list() -> None:
    heel = heels(0, 0.0)
    heel[5:8] *= 0.95
    result = reduced(heel)
    assert result.list_change is None
    assert [point.label for point in result.points if not point.used] == ["5", "6", "7"]


def test_quiet_days_have_one_no_oftener_than_their_windows_may_disagree() -> None:
    every = [reduced(heels(4, 0.0, seed)) for seed in range(200)]
    assert sum(one.list_change is not None for one in every) <= 0.03 * len(every)
    assert np.mean([abs(one.gm.value - VESSEL.gm) < one.gm.u95() for one in every]) > 0.9


def test_windows_that_all_scatter_have_no_change_of_list() -> None:
    rng = np.random.default_rng(3)
    found = 0
    for _ in range(60):
        heel = VESSEL.heel(VESSEL.moments()) + 10.0 * U * rng.standard_normal(9)
        found += reduced(np.asarray(heel)).list_change is not None
    assert found <= 4
