"""A window in which somebody may have moved and that lies apart: neither is sure, both together are."""

from __future__ import annotations

import numpy as np
import pytest
from day_maker import Vessel, day, states

from dsp.types import Check
from reduction.gm.consistency.choose import BOTH
from reduction.gm.day_checks import hints, moved
from reduction.gm.reduce import reduce_gm
from reduction.types import Array, GmResult

U = float(np.deg2rad(0.002))
VESSEL = Vessel()
MOMENTS = VESSEL.moments()
HEEL = VESSEL.heel(MOMENTS)


def people(chance: float) -> tuple[Check, ...]:
    picture = {"chance": np.array([chance])}
    return (Check("people", 3.0, 4.0, "standard uncertainties", 0.008, "fine", "A step, perhaps.", picture),)


def reduced(heel: Array, chances: Array) -> GmResult:
    made = day(heel, U**2 * np.eye(9), checks=[people(float(p)) for p in chances])
    return reduce_gm(made, states(MOMENTS), VESSEL.weight, VESSEL.known_bm)


def test_a_step_that_is_not_sure_and_a_shift_that_is_not_sure_are_together() -> None:
    heel = HEEL.copy()
    heel[4] += 3.2 * U
    alone = reduced(heel, np.full(9, 0.5))
    assert all(point.used for point in alone.points)
    chances = np.full(9, 0.5)
    chances[4] = 0.012
    both = reduced(heel, chances)
    assert [point.used for point in both.points] == [i != 4 for i in range(9)]
    assert both.points[4].reasons == ("people",)
    check = both.points[4].checks[-1]
    assert check.verdict == "rejected" and check.value > check.threshold
    chances[[4, 7]] = chances[[7, 4]]
    elsewhere = reduced(heel, chances)
    assert all(point.used for point in elsewhere.points)


def test_clean_windows_are_lost_as_often_as_the_budget_says() -> None:
    rng = np.random.default_rng(4)
    lost = []
    for _ in range(400):
        result = reduced(HEEL + U * rng.normal(size=9), rng.uniform(size=9))
        lost += [not point.used for point in result.points]
    # 0.0034 for the comparison, 0.001 for both together.
    assert np.mean(lost) < 0.006


def test_odds_grow_as_the_probability_falls() -> None:
    windows = day(HEEL, U**2 * np.eye(9), checks=[people(p) for p in np.geomspace(1e-4, 1.0, 9)]).windows
    assert moved(windows) == pytest.approx(np.geomspace(1e-4, 1.0, 9))
    other = hints(windows)[1]
    assert np.all(np.diff(other) <= 0.0) and other[-1] == 0.0 and other[0] > 5.0
    assert 0.8e-4 < BOTH < 1.2e-4


def test_where_all_windows_scatter_none_lies_apart() -> None:
    """Six times their own uncertainty everywhere: scatter, though each looks a little as if people moved in it."""
    off = 6.0 * U * np.array([1.0, -1.1, 0.9, 1.2, -0.8, -1.0, 1.1, 0.7, -1.2])
    result = reduced(HEEL + off, np.full(9, 0.03))
    assert all(point.used for point in result.points)
