"""A station that drifts by more than its record allows takes no other with it; of two that part either is doubted."""

from __future__ import annotations

from dataclasses import replace

import gaussian_day
import numpy as np
import pytest

from config.units import DEGREE
from dsp.bins import Grid, binned
from dsp.combine import Alignment, align, combined
from dsp.day import evaluate_day
from dsp.types import Array, StationKnowledge, WindowSpan

HOUR = DEGREE / 3600.0
RECORD = 0.001 * HOUR
GRID = Grid(0.0, 1.0, 4000)
LEVELS = np.repeat(np.array([0.0, 0.02, 0.04, 0.02, 0.0, -0.02, -0.04, -0.02]), 500)
WINDOWS = tuple(WindowSpan(str(k), 500.0 * k + 100.0, 500.0 * k + 400.0) for k in range(8))
NOISE = 1e-5


def aligned(drift: tuple[float, ...], record: float = RECORD) -> tuple[Alignment, Array]:
    """Align stations that drift so (rad/s); their alignment, and errors (rad) of the combined heel but for a zero."""
    rng = np.random.default_rng(4)
    ones = tuple(
        binned(GRID, GRID.time, LEVELS + d * GRID.time + NOISE * rng.standard_normal(4000), np.ones(4000, dtype=bool))
        for d in drift
    )
    knowledge = tuple(StationKnowledge(n, scale_u=0.0005, drift_u=record) for n in "abcd"[: len(drift)])
    noise = np.full(len(drift), NOISE)
    found = align(GRID, ones, noise, knowledge, WINDOWS)
    off = combined(GRID, ones, noise, found)[0] - LEVELS
    return found, np.asarray((off - off.mean()).reshape(8, 500)[:, 100:400].mean(axis=1))


@pytest.mark.parametrize("rate", [0.02, 0.2, 1.0, -5.0])
def test_one_station_that_drifts_is_found_and_its_drift_taken_off(rate: float) -> None:
    found, off = aligned((0.0, rate * HOUR, 0.0))
    assert found.drift[1] == pytest.approx(rate * HOUR, rel=0.02)
    assert np.max(np.abs(off)) < 3e-6
    assert found.drift_u < 1.1 * RECORD / np.sqrt(2.0)
    assert "drifts b by" in found.conflict and "taken off" in found.conflict
    assert found.wander_u < 2e-6


def test_of_two_that_drift_apart_either_may_be_right() -> None:
    found, off = aligned((0.0, 0.2 * HOUR))
    assert "any may be right" in found.conflict
    assert found.drift_u >= 0.1 * HOUR * 0.98
    # What is wrong with the heel at the ends of the day is within what is said of it.
    assert np.max(np.abs(off)) < 1.1 * found.drift_u * 1750.0


def test_two_of_four_are_no_majority() -> None:
    found, _ = aligned((0.0, 0.0, 0.2 * HOUR, 0.2 * HOUR))
    assert "any may be right" in found.conflict
    assert found.drift_u > 0.09 * HOUR


def test_stations_that_keep_to_their_records_are_taken_at_their_word() -> None:
    found, off = aligned((0.0, 1.5 * RECORD, -RECORD))
    assert found.conflict == ""
    assert found.drift_u == pytest.approx(RECORD / np.sqrt(3.0), rel=0.15)
    assert np.max(np.abs(off)) < 3e-6


def test_a_record_of_no_drift_at_all_is_a_record() -> None:
    found, off = aligned((0.0, 0.2 * HOUR, 0.0), 0.0)
    assert np.isfinite(found.drift).all() and np.isfinite(found.drift_u)
    assert found.drift[1] == pytest.approx(0.2 * HOUR, rel=0.02)
    assert np.max(np.abs(off)) < 3e-6
    still, _ = aligned((0.0, 0.0, 0.0), 0.0)
    assert still.conflict == ""


def test_without_records_they_are_judged_by_how_they_part() -> None:
    found, _ = aligned((0.0, 0.01 * HOUR, -0.01 * HOUR), float("nan"))
    assert found.conflict == ""
    assert 0.005 * HOUR < found.drift_u < 0.02 * HOUR


def test_a_day_with_a_drifting_station_is_as_good_as_with_the_others_alone() -> None:
    day, truth = gaussian_day.make("quiet", 130001)
    opened = day.windows[0].start
    first = day.heel[0]
    loose = replace(first, value=first.value + 0.2 * HOUR * (first.time - opened))
    drifting = evaluate_day(replace(day, heel=(loose, *day.heel[1:])))
    others = evaluate_day(replace(day, heel=day.heel[1:], knowledge=day.knowledge[1:]))
    error, alone = (np.array([w.heel for w in found.windows]) - truth.heel for found in (drifting, others))
    assert np.std(error) < 1.1 * np.std(alone)
    assert np.median([w.u for w in drifting.windows]) < 1.1 * np.median([w.u for w in others.windows])
    assert all(any("drifts" in c.says for c in w.checks if c.verdict == "caution") for w in drifting.windows)
    assert not any("disagreement" in w.reasons and w.verdict == "rejected" for w in drifting.windows)
