"""What a steady wind does to the heel is learnt from windows and moments together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from day_maker import Vessel, day, states

from dsp.types import BudgetLine, DayHeel
from reduction.gm.problem import Problem
from reduction.gm.reduce import reduce_gm
from reduction.gm.steady_wind import SOURCE, referred
from reduction.types import Array, GmResult

U = float(np.deg2rad(0.004))
VESSEL = Vessel()
MOMENTS = VESSEL.moments()
HEEL = VESSEL.heel(MOMENTS)
TAKEN = 3e-5
"""rad per (m/s)^2, learnt inside windows; a steady wind may do half as much or twice."""
TAKEN_U = 0.5 * TAKEN


def windy(error: float, noise: Array, pressure: Array, scale: float = 1.0) -> DayHeel:
    """A day whose coefficient is wrong by ``error`` (rad per (m/s)^2), windows at ``pressure`` (n,) (m/s)^2."""
    made = day(
        HEEL + error * pressure + noise,
        U**2 * np.eye(pressure.size) + TAKEN_U**2 * np.outer(pressure, pressure),
        wind=True,
        zero_u=float(np.deg2rad(0.02)),
    )
    windows = tuple(
        replace(
            window,
            budget=(BudgetLine("low-frequency heel", U), BudgetLine(SOURCE, TAKEN_U * abs(float(p)))),
            wind_correction=TAKEN * float(p),
        )
        for window, p in zip(made.windows, pressure, strict=True)
    )
    return replace(made, windows=windows, wind_coefficient=TAKEN, wind_coefficient_u=TAKEN_U)


def reduced(made: DayHeel) -> GmResult:
    return reduce_gm(made, states(MOMENTS), VESSEL.weight, VESSEL.known_bm)


def problem(made: DayHeel) -> Problem:
    return Problem.of(made, states(MOMENTS), VESSEL.weight, {}, ())


def test_windows_are_referred_by_what_they_show_together() -> None:
    """Errors and intervals of windows shrink to what their own motion leaves; intervals go on telling the truth."""
    rng = np.random.default_rng(3)
    before, after, held, told, width = [], [], [], [], []
    for _ in range(50):
        pressure = 15.0 * rng.normal(size=9)
        pressure -= pressure.mean()
        error = TAKEN_U * float(rng.normal())
        noise = U * rng.normal(size=9)
        result = reduced(windy(error, noise, pressure))
        raw, heel = (error * pressure + noise, np.array([p.heel for p in result.points]) - HEEL)
        before.append(np.std(raw))
        after.append(np.std(heel))
        held += [abs(e) < p.u95() for e, p in zip(heel - heel.mean(), result.points, strict=True)]
        width += [p.u95() for p in result.points]
        assert result.wind is not None
        told.append(abs(result.wind.value - TAKEN - error) < 1.96 * result.wind.u)
    assert np.median(after) < 1.1 * U
    assert np.median(before) > 1.3 * U
    assert np.median(width) < 1.15 * 1.96 * U
    assert np.mean(held) > 0.93
    assert np.mean(told) > 0.9


def test_generalised_least_squares_finds_what_it_found() -> None:
    rng = np.random.default_rng(4)
    pressure = 12.0 * rng.normal(size=9)
    made = windy(1.3 * TAKEN_U, U * rng.normal(size=9), pressure)
    plain = problem(made)
    keep = np.ones(9, dtype=bool)
    keep[3] = False
    better, _, wind = referred(plain, made, VESSEL.form, keep)
    assert wind is not None
    first, _ = plain.fit(VESSEL.form, keep)
    second, _ = better.fit(VESSEL.form, keep)
    assert second.gm == pytest.approx(first.gm, rel=1e-5)
    square = np.ix_(keep, keep)
    u = [float(fit.gain[0] @ p.covariance[square] @ fit.gain[0]) for fit, p in ((first, plain), (second, better))]
    assert u[1] == pytest.approx(u[0], rel=1e-3)


def test_the_straight_line_and_every_budget_are_told() -> None:
    pressure = np.array([0.0, 20.0, 30.0, 15.0, -5.0, -20.0, -25.0, -15.0, 0.0])
    made = windy(TAKEN_U, np.zeros(9), pressure)
    result = reduced(made)
    for point, window in zip(result.points, made.windows, strict=True):
        taken = point.wind_correction - window.wind_correction
        assert point.heel == pytest.approx(window.heel - taken, abs=1e-12)
        assert point.u < 1.1 * window.u
    assert np.all(np.diag(result.covariance) > 0.0)
    assert result.gm.u == pytest.approx(np.sqrt(sum(line.u**2 for line in result.gm.budget)), rel=1e-9)


def test_wind_that_goes_with_the_moments_teaches_nothing() -> None:
    """Stronger the further she is heeled: heel by weights and heel by wind are one and the same to the windows."""
    pressure = 1000.0 * HEEL
    made = windy(TAKEN_U, np.zeros(9), pressure)
    _, day_after, wind = referred(problem(made), made, VESSEL.form, np.ones(9, dtype=bool))
    assert wind is not None
    assert wind.u > 0.9 * TAKEN_U
    assert day_after.wind_coefficient == pytest.approx(TAKEN, rel=0.1)


@pytest.mark.parametrize("pressure", [np.zeros(9), None], ids=["steady", "no mast"])
def test_nothing_changes_where_there_is_nothing_to_refer(pressure: Array | None) -> None:
    made = windy(0.0, np.zeros(9), np.zeros(9)) if pressure is not None else day(HEEL, U**2 * np.eye(9))
    plain = problem(made)
    same, same_day, wind = referred(plain, made, VESSEL.form, np.ones(9, dtype=bool))
    assert same is plain
    assert same_day is made
    assert wind is None


def test_a_window_without_a_heel_stays_without() -> None:
    pressure = np.linspace(-20.0, 20.0, 9)
    made = windy(TAKEN_U, np.zeros(9), pressure)
    lost = replace(made.windows[4], heel=float("nan"), u=float("nan"), wind_correction=0.0)
    covariance = made.covariance.copy()
    covariance[4, :] = covariance[:, 4] = np.nan
    made = replace(made, windows=(*made.windows[:4], lost, *made.windows[5:]), covariance=covariance)
    result = reduced(made)
    assert np.isnan(result.points[4].heel)
    assert not result.points[4].used
    assert np.isfinite(result.gm.value)
