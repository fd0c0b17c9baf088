"""Answers that would make no sense are no answers, or say so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from day_maker import Vessel, day, states

from reduction.gm import budget
from reduction.gm.reduce import reduce_gm
from reduction.types import Maybe, Quantified

U = float(np.deg2rad(0.002))
VESSEL = Vessel()
MOMENTS = VESSEL.moments()
HEEL = VESSEL.heel(MOMENTS)


def test_a_gm_whose_interval_is_wider_than_itself_is_none() -> None:
    rng = np.random.default_rng(1)
    u = float(np.ptp(HEEL))
    wild = HEEL + 0.05 * u * rng.normal(size=9)
    result = reduce_gm(day(wild, u**2 * np.eye(9)), states(MOMENTS), VESSEL.weight, VESSEL.known_bm)
    assert np.isnan(result.gm.value) and "wider than that" in result.gm.note


def test_moments_in_kg_m_are_asked_about() -> None:
    known = day(HEEL, U**2 * np.eye(9))
    plain = reduce_gm(known, states(MOMENTS), VESSEL.weight, VESSEL.known_bm)
    assert not any("units of the moments" in note for note in plain.assumptions)
    wrong = reduce_gm(known, states(1000.0 * MOMENTS), VESSEL.weight, VESSEL.known_bm)
    assert any("units of the moments" in note for note in wrong.assumptions)


def test_with_every_window_kept_the_curve_stays_by_the_line() -> None:
    heel = HEEL.copy()
    heel[[2, 3]] = heel[[3, 2]]
    result = reduce_gm(
        day(heel, U**2 * np.eye(9), zero_u=float("nan")), states(MOMENTS), VESSEL.weight, VESSEL.known_bm
    )
    assert result.curve_all.value is not None
    assert result.curve_all.value.value == pytest.approx(result.line_all.value, rel=0.1)


def test_stations_mounted_off_upright_are_not_taken_for_half_a_degree() -> None:
    known = day(HEEL + np.deg2rad(5.0), U**2 * np.eye(9), zero_u=float("nan"))
    assert budget.zero_of(known) == pytest.approx(0.5 * abs(np.median(HEEL) + np.deg2rad(5.0)))
    assert budget.zero_of(replace(known, zero_u=0.001)) == 0.001
    result = reduce_gm(known, states(MOMENTS), VESSEL.weight, Maybe(Quantified(VESSEL.bm, 0.0, unit="m")))
    assert abs(result.gm.value - VESSEL.gm) < result.gm.u95()
    assert any("mounted so" in note for note in result.assumptions)
