"""The wind's coefficient at the frequencies of a window's mean."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dsp import low
from dsp.model import learnt_from
from dsp.types import Day, Trace, Wind, WindowSpan
from dsp.wind import ARM_U, log_prior, steady_u


def _tried(worth: float, coefficient: float, u: float) -> Any:
    fit = SimpleNamespace(coefficient=np.array([coefficient]), coefficient_covariance=np.array([[u**2]]))
    return worth, SimpleNamespace(fit=fit)


def test_smoothings_that_fit_alike_leave_the_coefficient_unsettled() -> None:
    tried = [_tried(0.0, 1.0, 0.1), _tried(0.0, 2.0, 0.3)]
    found = low._unsettled_u(tried, tried[0][1])
    whole = np.hypot(0.1, found)
    assert whole == pytest.approx(np.sqrt(0.5 * 0.1**2 + 0.5 * (0.3**2 + 1.0)))


def test_a_smoothing_that_fits_far_better_settles_it() -> None:
    tried = [_tried(0.0, 1.0, 0.1), _tried(-20.0, 2.0, 0.3)]
    assert low._unsettled_u(tried, tried[0][1]) < 1e-3


def test_the_prior_of_the_smoothing_goes_with_distance_over_speed() -> None:
    times = np.array([2.0, 4.0, 8.0, 16.0, 32.0, 64.0])
    best = [times[int(np.argmax([log_prior(t, np.full(5, speed)) for t in times]))] for speed in (8.0, 4.0, 1.0)]
    assert best == [4.0, 8.0, 32.0]


def test_the_arm_of_a_steady_wind_is_never_known_better_than_half() -> None:
    assert steady_u(2.0, 0.0) == pytest.approx(2.0 * ARM_U)
    assert steady_u(0.0, 0.3) == pytest.approx(0.3)


@pytest.mark.parametrize("length", [0.5, 3.0, 60.0])
@pytest.mark.parametrize("still", [True, False])
def test_a_day_too_young_to_teach_anything_of_the_wind_is_no_error(length: float, still: bool) -> None:
    rng = np.random.default_rng(3)
    time = np.arange(0.0, 300.0, 0.1)
    motion = np.sin(time) if still else 0.1 * time
    heel = Trace("aft", time, 0.001 * motion + 1e-5 * rng.standard_normal(time.size))
    wind = Wind(time[::10], 3.0 + rng.standard_normal(time[::10].size), None)
    found = learnt_from(Day(epoch_ns=0, heel=(heel,), windows=(WindowSpan("0", 100.0, 100.0 + length),), wind=wind))
    assert isinstance(found, str) or np.isfinite(found.model.low.unsettled_u)


def test_where_no_coefficient_was_learnt_nothing_is_unsettled() -> None:
    nothing: Any = SimpleNamespace(
        fit=SimpleNamespace(coefficient=np.zeros(0), coefficient_covariance=np.zeros((0, 0)))
    )
    assert low._unsettled_u([(0.0, nothing)], nothing) == 0.0
