"""Windows that lie closer to the plot than their covariance says draw it in, by as much as it was unsure."""

from __future__ import annotations

import numpy as np
import pytest
from day_maker import Vessel, day, states

from reduction.gm import reduce
from reduction.gm.reduce import reduce_gm
from reduction.types import Array, GmResult

U = float(np.deg2rad(0.004))
VESSEL = Vessel()
MOMENTS = VESSEL.moments()
HEEL = VESSEL.heel(MOMENTS)
DOF = 8.0


def reduced(error: Array, dof: float = DOF) -> GmResult:
    made = day(HEEL + error, U**2 * np.eye(9), dof=dof, zero_u=float(np.deg2rad(0.05)))
    return reduce_gm(made, states(MOMENTS), VESSEL.weight, VESSEL.known_bm)


def test_intervals_hold_where_the_scale_is_as_unsure_as_it_says(monkeypatch: pytest.MonkeyPatch) -> None:
    """Scales drawn by their law (inverse chi-square, 8 degrees of freedom): covered as before, by less."""
    rng = np.random.default_rng(31)
    errors = [U * np.sqrt(DOF / rng.chisquare(DOF)) * rng.normal(size=9) for _ in range(50)]
    now = [reduced(error) for error in errors]
    monkeypatch.setattr(reduce, "narrowed", lambda problem, day, found: (problem, day))
    before = [reduced(error) for error in errors]
    covered = [np.mean([abs(r.gm.value - VESSEL.gm) < r.gm.u95() for r in results]) for results in (now, before)]
    width = [np.mean([r.gm.u95() for r in results]) for results in (now, before)]
    assert covered[0] > 0.92
    assert width[0] < 0.96 * width[1]
    windows = [
        abs(e) < p.u95()
        for r, error in zip(now, errors, strict=True)
        for e, p in zip(error - error.mean(), r.points, strict=True)
    ]
    assert np.mean(windows) > 0.93


def test_a_covariance_twice_too_wide_is_drawn_in() -> None:
    rng = np.random.default_rng(32)
    results = [reduced(0.4 * U * rng.normal(size=9)) for _ in range(10)]
    wide = [reduced(0.4 * U * rng.normal(size=9), dof=1e6) for _ in range(10)]
    assert np.median([r.gm.u for r in results]) < 0.85 * np.median([r.gm.u for r in wide])
    assert all(p.u < 1.05 * U for r in results for p in r.points)
    for r in results:
        assert r.gm.u == pytest.approx(np.sqrt(sum(line.u**2 for line in r.gm.budget)), rel=1e-9)


def test_windows_that_were_chosen_for_lying_close_say_nothing() -> None:
    error = 0.1 * U * np.random.default_rng(33).normal(size=9)
    error[6] += 25.0 * U
    result = reduced(error)
    assert [i for i, p in enumerate(result.points) if not p.used] == [6]
    assert all(p.u >= U for p in result.points)
