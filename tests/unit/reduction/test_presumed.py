"""Windows that were held, on a day on which all of them scatter: the clean ones are not blamed for it."""

from __future__ import annotations

import numpy as np
import pytest
from day_maker import Vessel, day, states

from reduction.gm.consistency.linear import linearise
from reduction.gm.consistency.presumed import PRIOR, RATIOS, Judged, beside_scatter, row_of
from reduction.gm.consistency.sets import weigh_all
from reduction.gm.consistency.values import Windows
from reduction.gm.curve import wall_sided
from reduction.gm.reduce import reduce_gm

U = float(np.deg2rad(0.002))
VESSEL = Vessel()
MOMENTS = VESSEL.moments()
HEEL = VESSEL.heel(MOMENTS)
FORM = wall_sided(VESSEL.bm)
START = (VESSEL.gm, 0.0)


def held(rng: np.random.Generator, count: int, scatter: float) -> np.ndarray:
    """Heel of nine windows (rad), ``count`` of them held by 4 to 8 %, all scattered by so many times their own."""
    heel = HEEL + U * np.hypot(1.0, scatter) * rng.normal(size=9)
    spoilt = np.array([5, 6, 7])[:count]
    heel[spoilt] -= rng.uniform(0.04, 0.08, count) * (HEEL[spoilt] - HEEL[0])
    return np.asarray(heel)


def windows(heel: np.ndarray) -> Windows:
    arm = MOMENTS / VESSEL.weight.value
    none = np.zeros(9)
    return Windows(
        np.arange(9.0), heel, arm, none, U**2 * np.eye(9), np.zeros((9, 9)), 20.0, none == 0.0, none, none, none + 1.0
    )


# Before sets were weighed beside scatter: 0.034 and 0.077 of the clean windows, as many of the held ones.
@pytest.mark.parametrize(("scatter", "clean_at_most", "held_at_least"), [(1.5, 0.02, 0.85), (2.0, 0.05, 0.78)])
def test_clean_windows_that_scatter_are_not_left_out_with_held_ones(
    scatter: float, clean_at_most: float, held_at_least: float
) -> None:
    rng = np.random.default_rng(5)
    clean, found = [], []
    for _ in range(100):
        count = int(rng.integers(2, 4))
        made = day(held(rng, count, scatter), U**2 * np.eye(9))
        result = reduce_gm(made, states(MOMENTS), VESSEL.weight, VESSEL.known_bm)
        for number, point in enumerate(result.points):
            (found if 5 <= number < 5 + count else clean).append(not point.used)
    assert np.mean(clean) < clean_at_most
    assert np.mean(found) > held_at_least


def levels_of(heel: np.ndarray) -> tuple[Judged, list]:
    made = windows(heel)
    linear = linearise(made, FORM, START)
    alone = list(weigh_all(made, linear, 4))
    return Judged(made, linear, FORM, START), beside_scatter(made, FORM, START, linear, alone)


def test_what_is_presumed_follows_what_the_rest_scatters() -> None:
    quiet = held(np.random.default_rng(1), 2, 0.0)
    judged, levels = levels_of(quiet)
    left_out = (5, 6)
    still = levels[2].presumed(row_of(levels[2], left_out))
    rough = quiet + 2.5 * U * np.array([1.0, -1.0, 1.0, -1.0, 1.0, 0.0, 0.0, -1.0, 0.0])
    _, levels = levels_of(rough)
    restless = levels[2].presumed(row_of(levels[2], left_out))
    beforehand = U**2 * (1.0 / float(PRIOR @ (1.0 / (1.0 + RATIOS**2))) - 1.0)
    assert 0.0 < still < beforehand
    assert 1.0 * U**2 < restless <= RATIOS[-1] ** 2 * U**2
    assert judged.beside(levels, left_out).windows.presumed == restless


def test_nothing_is_presumed_of_all_windows_together_and_priors_are_probabilities() -> None:
    judged, levels = levels_of(held(np.random.default_rng(2), 3, 1.0))
    assert levels[0].presumed(0) == 0.0
    assert judged.beside(levels, ()) is judged
    assert float(PRIOR.sum()) == pytest.approx(1.0)


def test_averages_lie_between_what_they_are_made_of() -> None:
    _, levels = levels_of(held(np.random.default_rng(3), 2, 1.0))
    level = levels[2]
    gm = np.array([one.gm for one in level.each])
    assert (level.gm >= gm.min(axis=0) - 1e-12).all() and (level.gm <= gm.max(axis=0) + 1e-12).all()
    whole = np.logaddexp.reduce(np.array([e.log_weight for e in level.each]) + level.beforehand[:, None], axis=0)
    np.testing.assert_allclose(level.log_weight, whole, rtol=1e-9)
    np.testing.assert_allclose(level.log_weight_if(0.05), whole, rtol=1e-9)
