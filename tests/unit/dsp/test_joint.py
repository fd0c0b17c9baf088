"""What the windows of a day share, and how well that is known."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dsp import joint

HEEL = np.array([0.0, 1.0, 2.0, 1.0, 0.0, -1.0, -2.0, -1.0, 0.0]) * 0.02


def _dof(inside: float, between: float, log_u: float, own_dof: float) -> float:
    """Windows whose variance is ``inside`` by themselves, and ``between`` of a swing in step with the day's moments."""
    size = HEEL.size
    slow = np.outer(HEEL, HEEL) / HEEL.max() ** 2
    hats = np.array([np.eye(size), slow])
    windows: Any = [
        SimpleNamespace(
            fitted=SimpleNamespace(mean=h, variance_low=inside + between),
            low_scale=1.0,
            low_scale_dof=own_dof,
            dof=50.0,
        )
        for h in HEEL
    ]
    fit: Any = SimpleNamespace(free=np.array([inside, between]), covariance=np.diag([0.01, log_u]) ** 2)
    covariance = inside * np.eye(size) + between * slow
    return joint.slope_dof(windows, hats, covariance, fit)


def test_a_slope_is_known_as_well_as_the_motion_that_makes_its_variance() -> None:
    quick = _dof(inside=1e-6, between=1e-12, log_u=1.0, own_dof=1e6)
    slow = _dof(inside=1e-6, between=1e-5, log_u=1.0, own_dof=1e6)
    assert quick > 1000.0
    assert slow == pytest.approx(2.0, rel=0.3), "all variance from one density whose logarithm is known to 1: 2 / 1^2"


def test_independent_scales_of_windows_average_out_in_a_slope() -> None:
    each = 6.0
    found = _dof(inside=1e-6, between=1e-15, log_u=0.0, own_dof=each)
    share = HEEL**2 / np.sum(HEEL**2)
    assert found == pytest.approx(1.0 / (0.5 * 0.01**4 + np.sum(share**2) / each), rel=0.01)
