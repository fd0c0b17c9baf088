"""Answers that would make no sense are no answers, or say so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from day_maker import Vessel, day, states
from test_limits import TYPED, VALUES, whole

from config.survey_table import parse_survey
from quietheel.commands.reduce import exit_code
from reduction.answer_json import answer_json
from reduction.day import reduce_day
from reduction.gm import budget
from reduction.gm.reduce import reduce_gm
from reduction.gm.words import flare_words
from reduction.report.words import missing_in_words
from reduction.types import Maybe, Quantified
from tests.examples_answer import SURVEY

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
    assert budget.zero_of(known, MOMENTS) == pytest.approx(0.5 * abs(np.median(HEEL) + np.deg2rad(5.0)), rel=1e-3)
    assert budget.zero_of(replace(known, zero_u=0.001), MOMENTS) == 0.001
    result = reduce_gm(known, states(MOMENTS), VESSEL.weight, Maybe(Quantified(VESSEL.bm, 0.0, unit="m")))
    assert abs(result.gm.value - VESSEL.gm) < result.gm.u95()
    assert any("mounted so" in note for note in result.assumptions)


def test_a_gm_that_no_vessel_has_needs_a_person_whatever_the_limits() -> None:
    """Moments in kg m called t m: GM is a reservation in sentence and JSON, and KG lies below the keel."""
    sound = whole(limits={})
    assert reduce_day(sound).doubts == () and exit_code(reduce_day(sound)) == 0
    stiff = reduce_day(replace(sound, moments={k: 1000.0 * v for k, v in reduce_day(sound).moment.items()}))
    assert stiff.gm.value is not None and stiff.as_inclined.value is not None
    assert stiff.outlook == "no limit given" and exit_code(stiff) == 1
    assert len(stiff.doubts) == 2 and all(doubt in stiff.reservations for doubt in stiff.doubts)
    for words in ("look at the units of moments, heel and displacement", "below the keel"):
        assert words in stiff.headline and words in stiff.next_step
    assert answer_json(stiff)["doubts"] == list(stiff.doubts)
    limited = reduce_day(replace(whole(), moments={k: 1000.0 * v for k, v in reduce_day(sound).moment.items()}))
    assert limited.outlook == "clear with reservations"


def test_a_kg_above_any_deck_needs_a_person() -> None:
    high = reduce_day(whole(limits={}, vessel=TYPED | {"depth_m": 1.0}, hydrostatics=VALUES))
    assert "above any deck of a vessel 1 m deep" in high.headline and exit_code(high) == 1


def test_a_lightship_of_nothing_is_not_computed() -> None:
    """An item in kg called t outweighs the vessel: no lightship and no verdict comes of it."""
    rows = parse_survey(SURVEY.replace("off,1.20,14.0", "off,1200,14.0"))
    inputs = whole()
    answer = reduce_day(replace(inputs, tables=replace(inputs.tables, survey=rows)))
    assert answer.lightship.value is None and answer.conditions == () and answer.deviations == ()
    assert "scaffolding (1200 t); masses are in tonnes" in answer.missing["lightship"]
    assert answer.outlook == "not judged" and "over" not in answer.headline.replace("more comes off", "")
    assert answer.monte_carlo.value is not None and not {"mass", "vcg", "lcg", "tcg"} & set(answer.monte_carlo.value)


def test_what_is_null_has_its_reason_under_missing() -> None:
    inputs = whole(vessel=TYPED, hydrostatics=VALUES)
    none = answer_json(reduce_day(replace(inputs, day=None)))
    gone = none["missing"]
    assert isinstance(gone, dict)
    for key in ("gm_all", "difference", "kg_m", "as_inclined", "hydrostatics"):
        assert none[key] is None and gone[key], key
    told = dict(missing_in_words(gone))
    assert sum(reason == gone["gm"] for reason in told.values()) == 1


def test_heel_that_the_weights_make_is_no_list() -> None:
    """All moments to one side: what the windows read on the whole says nothing of upright."""
    moments = np.abs(MOMENTS)
    known = day(VESSEL.heel(moments), U**2 * np.eye(9), zero_u=float("nan"))
    assert budget.zero_of(known, moments) == budget.ZERO_ASSUMED_U
    lost = replace(known.windows[2], heel=float("nan"))
    assert budget.zero_of(replace(known, windows=(lost,) * 9), moments) == budget.ZERO_ASSUMED_U


@pytest.mark.parametrize("bm", [2.0, 8.0])
def test_heels_along_a_straight_line_are_told_and_blame_nobody(bm: float) -> None:
    """Made up or measured with a wrong BM: tangents in proportion to the moments, and a hull that says otherwise."""
    straight = np.arctan(MOMENTS / (VESSEL.displacement * VESSEL.gm))
    for seed in range(4):
        heel = straight + U * np.random.default_rng(seed).normal(size=9)
        known = Maybe(Quantified(bm, 0.0, unit="m"))
        result = reduce_gm(day(heel, U**2 * np.eye(9)), states(MOMENTS), VESSEL.weight, known)
        assert all(point.used for point in result.points)
        assert abs(result.gm.value - VESSEL.gm) < 1.5 * result.gm.u95()
        assert result.bend is None or any("straighter than the hull" in said for said in result.assumptions)


def test_flare_beyond_telling_is_no_figure() -> None:
    assert "mm" in flare_words(0.01, 1.0) and "mm" not in flare_words(2.7e13, 0.9)
