"""Many days of every kind: what the truth says is what the motion does, and clean windows are clean."""

import math

import numpy as np
import pytest

from config.units import DEGREE
from sim.day import SimulatedDay, simulate
from sim.kinds import KINDS, make_kind


def gm_of(day: SimulatedDay, *, static: bool) -> float:
    """GM from the true mean heels of clean windows: wall-sided curve through moments, one offset."""
    scenario, rows, wanted = day.scenario, [], []
    ratio = 0.5 * day.truth.bm_m
    for window in day.truth.windows:
        if window.spoilt:
            continue
        t = math.tan((window.static_heel_deg if static else window.mean_heel_deg) * DEGREE)
        rows.append([t * scenario.vessel.displacement_t, -1.0])
        wanted.append(window.moment_tm - scenario.vessel.displacement_t * ratio * t**3)
    return float(np.linalg.lstsq(np.array(rows), np.array(wanted), rcond=None)[0][0])


def check(kind: str, seeds: range, rms_percent: float) -> None:
    errors = []
    for seed in seeds:
        day = simulate(make_kind(kind, seed))
        if kind != "flared":
            assert gm_of(day, static=True) == pytest.approx(day.truth.gm_m, rel=2e-3 if kind == "slack_tank" else 1e-4)
        errors.append(100.0 * (gm_of(day, static=False) / day.truth.gm_m - 1.0))
    rms = float(np.sqrt(np.mean(np.square(errors))))
    assert rms < rms_percent, f"{kind}: {rms:.2f} %"
    assert abs(float(np.mean(errors))) < 3.0 * rms / math.sqrt(len(errors)) + 0.02


LIMITS = {"quiet": 0.3, "early": 0.8, "people": 0.5, "slack_tank": 0.5, "faults": 0.5, "wash": 0.5, "taut": 0.5}
"""Per cent: true mean heels without any wind correction on nearly calm days; what spoils a window is left out."""


@pytest.mark.parametrize("kind", ["quiet", "slack_tank"])
def test_true_mean_heels_give_the_true_gm_on_a_few_days(kind: str) -> None:
    check(kind, range(4), 2.0 * LIMITS[kind])


@pytest.mark.statistics
@pytest.mark.parametrize("kind", sorted(LIMITS))
def test_true_mean_heels_give_the_true_gm_on_many_days(kind: str) -> None:
    check(kind, range(40), LIMITS[kind])


@pytest.mark.statistics
@pytest.mark.parametrize("kind", KINDS)
def test_vessels_cover_the_range(kind: str) -> None:
    scenarios = [make_kind(kind, seed) for seed in range(200)]
    sizes = [s.vessel.displacement_t for s in scenarios]
    assert min(sizes) < 260
    assert max(sizes) > 6500
    assert min(s.vessel.period_s for s in scenarios) < 5.5
    assert all(4.0 <= s.vessel.period_s <= 25.0 for s in scenarios)
