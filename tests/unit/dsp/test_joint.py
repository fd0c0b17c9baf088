"""What the windows of a day share, and how well that is known."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from dsp import joint
from dsp.between import window_covariance
from dsp.bins import Grid
from dsp.estimate import Strength
from dsp.motion import Hats

HEEL = np.array([0.0, 1.0, 2.0, 1.0, 0.0, -1.0, -2.0, -1.0, 0.0]) * 0.02


def _dof(inside: float, between: float, log_u: float, own_dof: float) -> float:
    """Windows whose variance is ``inside`` by themselves, and ``between`` of a swing in step with the day's moments."""
    size = HEEL.size
    slow = np.outer(HEEL, HEEL) / HEEL.max() ** 2
    hats = np.array([np.eye(size), slow])
    windows: Any = [
        SimpleNamespace(
            fitted=SimpleNamespace(mean=h, variance_low=inside + between),
            strength=Strength(1.0, own_dof, 1.0, own_dof),
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


def _windows(hats: Hats, grid: Grid, places: list[int], weight: np.ndarray) -> list[Any]:
    """Windows of one weighting that open at the bins ``places``."""
    fitted = SimpleNamespace(weight=weight / weight.sum())
    made = []
    for place in places:
        index = place + np.arange(weight.size)
        own = np.einsum("pab,a,b->p", hats.covariance(_apart(index, index, grid)), fitted.weight, fitted.weight)
        made.append(SimpleNamespace(index=index, fitted=fitted, model=SimpleNamespace(hats=hats), hat_variances=own))
    return made


def _apart(one: np.ndarray, other: np.ndarray, grid: Grid) -> np.ndarray:
    return np.asarray((one[:, None] - other[None, :]) * grid.step)


def test_what_windows_share_is_as_summed_over_every_pair_of_bins() -> None:
    grid = Grid(0.0, 0.8, 2000)
    hats = Hats.between(0.005, 0.08, 0.6, slowest=0.001)
    windows = _windows(hats, grid, [0, 160, 420, 1500], 1.0 + 0.3 * np.random.default_rng(3).standard_normal(150))
    shared = window_covariance(windows, grid)
    assert np.all(shared[hats.low :] == np.array([np.diag(np.diag(one)) for one in shared[hats.low :]]))
    for i in range(4):
        for j in range(i):
            lag = _apart(windows[i].index, windows[j].index, grid)
            dense = np.einsum("pab,a,b->p", hats.covariance(lag), windows[i].fitted.weight, windows[j].fitted.weight)
            scale = np.sqrt(shared[: hats.low, i, i] * shared[: hats.low, j, j])
            assert shared[: hats.low, i, j] / scale == pytest.approx(dense[: hats.low] / scale, abs=0.03)


def test_motion_at_the_roll_does_not_tie_windows_together_however_strong() -> None:
    """A million times the density of slow heel, as on days with wash, under weights that let none of it through."""
    grid = Grid(0.0, 0.8, 2000)
    hats = Hats.between(0.005, 0.08, 0.6)
    windows = _windows(hats, grid, [0, 300, 600, 900, 1200], np.hanning(152)[1:-1] ** 2)
    density = np.where(np.arange(hats.node.size) < hats.low, 1.0, 1e6)
    covariance = np.tensordot(density, window_covariance(windows, grid), axes=1)
    u = np.sqrt(np.diag(covariance))
    assert np.abs(covariance / np.outer(u, u) - np.eye(5)).max() < 0.5
    assert np.linalg.eigvalsh(covariance).min() > 0.0
