"""GM from a day: true values recovered, windows that do not agree left out and named, intervals that hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from day_maker import SEQUENCE, Vessel, day, states

from config.plan import Overrule
from reduction.gm.budget import moment_covariance, sound
from reduction.gm.curve import fit_curve, from_kn, heel_at, wall_sided
from reduction.gm.reduce import reduce_gm
from reduction.types import Array, GmResult, Maybe, Quantified, State

U = float(np.deg2rad(0.002))
VESSEL = Vessel()


def reduced(heel: Array, vessel: Vessel = VESSEL, **kwargs: object) -> GmResult:
    moments = vessel.moments()
    return reduce_gm(day(heel, U**2 * np.eye(heel.size)), states(moments), vessel.weight, vessel.known_bm, **kwargs)  # type: ignore[arg-type]


def left_out(result: GmResult) -> list[str]:
    return [p.label for p in result.points if not p.used]


def test_perfect_windows_give_the_true_gm_and_the_line_over_reads() -> None:
    result = reduced(VESSEL.heel(VESSEL.moments()))
    assert result.gm.value == pytest.approx(1.0, abs=1e-9)
    assert result.carried == "curve"
    # Wall-sided: each point over-reads by BM tan^2 / 2 GM, 0.76 % at the largest heel; the line averages the points.
    assert 1.004 < result.line.value < 1.0076
    assert all(p.used for p in result.points)
    assert abs(result.list_upright.value - np.arctan(0.002)) < 1e-5
    assert "customary interval" in result.line.note
    assert "0.1 mm" not in result.difference and "more" in result.difference


def test_cross_curves_give_what_the_wall_sided_formula_gives() -> None:
    km = 6.0

    def kn(heel: Array) -> Array:
        return np.asarray(np.sin(heel) * (km + 0.5 * VESSEL.bm * np.tan(heel) ** 2))

    heel = VESSEL.heel(VESSEL.moments())
    result = reduce_gm(day(heel, U**2 * np.eye(9)), states(VESSEL.moments()), VESSEL.weight, None, kn)
    assert result.gm.value == pytest.approx(1.0, abs=1e-6)
    assert from_kn(kn).km == pytest.approx(km, abs=1e-6)


def test_flared_hull_by_cross_curves() -> None:
    def kn(heel: Array) -> Array:
        return np.asarray(np.sin(heel) * (6.0 + 9.0 * np.tan(heel) ** 2 + 40.0 * np.tan(heel) ** 4))

    arm = VESSEL.moments() / VESSEL.displacement
    form = from_kn(kn)
    heel = heel_at(arm, 0.8, 0.001, form)
    righting = kn(heel) - (form.km - 0.8) * np.sin(heel)
    assert righting == pytest.approx((arm + 0.001) * np.cos(heel), abs=1e-12)
    fit = fit_curve(heel, arm, U**2 * np.eye(9), form)
    assert fit.gm == pytest.approx(0.8, abs=1e-8)
    assert fit.tcg == pytest.approx(0.001, abs=1e-9)


def test_weights_moved_at_other_heights_are_corrected_to_the_first_state() -> None:
    moments = VESSEL.moments()
    rise = np.array([0, 0.01, 0.02, 0.01, 0, 0.01, 0.02, 0.01, 0])
    heel = VESSEL.heel(moments, rise)
    result = reduce_gm(
        day(heel, U**2 * np.eye(9)),
        states(moments, rise * VESSEL.displacement),
        VESSEL.weight,
        VESSEL.known_bm,
    )
    assert result.gm.value == pytest.approx(1.0, abs=1e-9)
    ignored = reduce_gm(day(heel, U**2 * np.eye(9)), states(moments), VESSEL.weight, VESSEL.known_bm)
    assert abs(ignored.gm.value - 1.0) > 0.005


@pytest.mark.parametrize("bad", [[5], [1, 7], [2, 4, 6]])
def test_shifted_windows_are_left_out_and_the_truth_recovered(bad: list[int]) -> None:
    heel = VESSEL.heel(VESSEL.moments())
    heel[bad] += np.deg2rad(0.03) * np.array([1, -1, 1])[: len(bad)]
    result = reduced(heel)
    assert left_out(result) == [str(i) for i in bad]
    assert result.gm.value == pytest.approx(1.0, abs=1e-6)
    assert result.curve_all.value is not None
    assert all(p.verdict == "rejected" and p.reasons for p in result.points if not p.used)
    assert any("stray moment" in c.says or "zero" in c.says for c in result.points[bad[0]].checks)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("shape", ["proportional", "beyond slack"])
def test_line_taut_on_one_whole_side_is_settled_by_physics(side: int, shape: str) -> None:
    """Either half-plot with the zeros is straight; a restraint only takes heel away, so the side with more is free."""
    heel = VESSEL.heel(VESSEL.moments())
    held = np.flatnonzero(SEQUENCE * side > 0)
    if shape == "proportional":
        heel[held] *= 0.96
    else:
        slack = np.deg2rad(0.8)
        heel[held] = side * (slack + 0.93 * (np.abs(heel[held]) - slack))
    result = reduced(heel)
    assert left_out(result) == [str(i) for i in held]
    assert result.gm.value == pytest.approx(1.0, rel=0.003)
    assert all("taut" in result.points[i].reasons for i in held)
    stiffer = next(c for c in result.day_checks if c.code == "taut" and "stiffer" in c.says)
    assert stiffer.verdict == "caution"
    assert ("starboard" if side > 0 else "port") in stiffer.says


@pytest.mark.parametrize("side", [-1, 1])
def test_a_line_pulls_to_its_own_side_whichever_way_she_heels(side: int) -> None:
    """A tightened breast line shifts two windows on one side and two on the other, all towards itself."""
    vessel = replace(VESSEL, bm=2.0)
    heel = vessel.heel(vessel.moments())
    for i, degrees in ((1, 0.05), (2, 0.12), (6, 0.07), (7, 0.03)):
        heel[i] += side * np.deg2rad(degrees)
    result = reduced(heel, vessel)
    assert left_out(result) == ["1", "2", "6", "7"]
    assert result.gm.value == pytest.approx(1.0, abs=2e-3)
    toward = [i for i in (1, 2, 6, 7) if SEQUENCE[i] * side < 0]
    assert all("taut" in result.points[i].reasons for i in toward)


def test_restless_windows_are_doubted_before_quiet_ones() -> None:
    """One half of the plot is held and restless, the other quiet: the quiet windows agree by themselves."""
    heel = VESSEL.heel(VESSEL.moments())
    u = np.full(9, U)
    for i, degrees in ((1, -0.43), (5, -0.39), (6, -0.33), (7, -0.35)):
        heel[i] += np.deg2rad(degrees)
        u[i] *= 9.0
    result = reduce_gm(day(heel, np.diag(u**2)), states(VESSEL.moments()), VESSEL.weight, VESSEL.known_bm)
    assert left_out(result) == ["1", "5", "6", "7"]
    assert result.gm.value == pytest.approx(1.0, abs=2e-3)


def test_first_zero_that_misses_the_line_speaks_of_wind() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    heel[1:] += np.deg2rad(0.05)
    result = reduced(heel)
    assert left_out(result) == ["0"]
    assert result.points[0].reasons == ("wind",)
    assert result.gm.value == pytest.approx(1.0, abs=1e-4)


def test_stray_moment_too_large_for_people_is_an_outlier() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    heel[3] += np.deg2rad(0.4)
    result = reduced(heel)
    assert result.points[3].reasons == ("outlier",)


def test_windows_rejected_by_their_own_checks_stay_out_and_both_results_are_told() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    heel[2] += np.deg2rad(0.02)
    verdicts = ["fine"] * 9
    verdicts[2] = "rejected"
    result = reduce_gm(
        day(heel, U**2 * np.eye(9), verdicts=verdicts),  # type: ignore[arg-type]
        states(VESSEL.moments()),
        VESSEL.weight,
        VESSEL.known_bm,
    )
    assert left_out(result) == ["2"]
    assert result.gm.value == pytest.approx(1.0, abs=1e-6)
    assert result.curve_all.value is not None and abs(result.curve_all.value.value - 1.0) > 1e-3
    assert abs(result.line_all.value - result.line.value) > 1e-3


def test_a_person_overrules_both_ways_on_record() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    heel[5] += np.deg2rad(0.05)
    keep = Overrule(window="5", verdict="fine", reason="seen to be quiet", by="coordinator")
    kept = reduced(heel, overrules=[keep])
    assert kept.points[5].used and "seen to be quiet" in kept.points[5].overruled
    assert kept.points[5].verdict == "fine"
    drop = Overrule(window="7", verdict="rejected", reason="crane off its rest", by="coordinator")
    dropped = reduced(VESSEL.heel(VESSEL.moments()), overrules=[drop])
    assert left_out(dropped) == ["7"] and "crane" in dropped.points[7].overruled


def test_scatter_that_nobody_can_be_blamed_for_widens_the_interval() -> None:
    rng = np.random.default_rng(1)
    heel = VESSEL.heel(VESSEL.moments()) + 20 * U * rng.normal(size=9)
    result = reduced(heel)
    clean = reduced(VESSEL.heel(VESSEL.moments()))
    assert result.gm.u > 3 * clean.gm.u


def test_budget_adds_up_and_names_its_sources() -> None:
    moments = VESSEL.moments()
    heel = VESSEL.heel(moments)
    found = [replace(s, moment_u=20.0, sensitivities={"mass of weight 1": s.moment / 4000.0}) for s in states(moments)]
    result = reduce_gm(
        day(heel, U**2 * (np.eye(9) + 0.2), scale_u=0.001, zero_u=np.deg2rad(0.05)),
        found,
        Quantified(VESSEL.displacement, 0.003 * VESSEL.displacement),
        Maybe(Quantified(VESSEL.bm, 0.2)),
        inputs={"mass of weight 1": 2.0},
    )
    lines = {line.source: line.u for line in result.gm.budget}
    assert result.gm.u == pytest.approx(np.sqrt(sum(u**2 for u in lines.values())))
    # At upright GM = M / (Delta tan): relative uncertainties of scale, displacement and a common mass pass one to one,
    # a little more where the curve's share is taken off.
    assert lines["scale of the stations"] == pytest.approx(0.001, rel=0.05)
    assert lines["displacement"] == pytest.approx(0.003, rel=0.05)
    assert lines["mass of weight 1"] == pytest.approx(2.0 / 4000.0, rel=0.05)
    assert {"low-frequency heel", "sensor noise", "BM", "positions of the weights"} <= set(lines)


def test_budget_against_finite_differences() -> None:
    moments, covariance = VESSEL.moments(), U**2 * np.eye(9)
    heel = VESSEL.heel(moments)

    def gm(scale: float = 1.0, delta: float = 1.0, bm: float = 0.0, zero: float = 0.0) -> float:
        # The zero that all heels share is among what is not known: it is fitted too.
        whole = covariance + 1e-3**2
        return fit_curve(heel * scale + zero, moments / (VESSEL.displacement * delta), whole, wall_sided(8 + bm)).gm

    result = reduce_gm(
        day(heel, covariance, scale_u=1e-4, zero_u=1e-3),
        states(moments),
        Quantified(VESSEL.displacement, 1e-4 * VESSEL.displacement),
        Maybe(Quantified(8.0, 0.01)),
    )
    lines = {line.source: line.u for line in result.gm.budget}
    assert lines["scale of the stations"] == pytest.approx(abs(gm(scale=1 + 1e-4) - gm()), rel=1e-2)
    assert lines["displacement"] == pytest.approx(abs(gm(delta=1 + 1e-4) - gm()), rel=1e-2)
    assert lines["BM"] == pytest.approx(abs(gm(bm=0.01) - gm()), rel=1e-2)
    assert lines["true upright"] == pytest.approx(abs(gm(zero=1e-3) - gm()), rel=0.2)


def test_without_hydrostatics_the_line_is_carried_with_a_wider_interval() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    result = reduce_gm(day(heel, U**2 * np.eye(9)), states(VESSEL.moments()), VESSEL.weight)
    assert result.carried == "line" and result.curve.value is None
    assert abs(result.gm.value - 1.0) <= result.gm.u95()
    assert any("curvature" in line.source for line in result.gm.budget)
    assert any("not known" in text for text in result.assumptions)


def test_two_windows_are_enough_and_one_is_not() -> None:
    moments = VESSEL.moments()[[0, 2]]
    heel = VESSEL.heel(moments)
    two = reduce_gm(day(heel, U**2 * np.eye(2)), states(moments), VESSEL.weight, VESSEL.known_bm)
    assert two.gm.value == pytest.approx(1.0, abs=1e-9)
    one = reduce_gm(day(heel[:1], U**2 * np.eye(1)), states(moments[:1]), VESSEL.weight, VESSEL.known_bm)
    assert np.isnan(one.gm.value) and "two different moments" in one.gm.note


def test_missing_heel_is_no_obstacle() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    covariance = U**2 * np.eye(9)
    heel[3] = np.nan
    covariance[3, :] = covariance[:, 3] = np.nan
    result = (
        reduced(heel)
        if False
        else reduce_gm(day(heel, covariance), states(VESSEL.moments()), VESSEL.weight, VESSEL.known_bm)
    )
    assert result.gm.value == pytest.approx(1.0, abs=1e-9)
    assert left_out(result) == ["3"]


def test_all_windows_rejected_still_gives_an_answer_and_says_so() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    result = reduce_gm(
        day(heel, U**2 * np.eye(9), verdicts=["rejected"] * 9), states(VESSEL.moments()), VESSEL.weight, VESSEL.known_bm
    )
    assert result.gm.value == pytest.approx(1.0, abs=1e-6)
    assert any("Repeat movements" in text for text in result.assumptions)


def test_states_and_windows_must_match() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    with pytest.raises(ValueError, match="8 states for 9 windows"):
        reduce_gm(day(heel, U**2 * np.eye(9)), states(VESSEL.moments()[:8]), VESSEL.weight)


def test_twenty_windows_with_seven_disturbed_are_searched_in_time() -> None:
    import time

    rng = np.random.default_rng(3)
    moments = VESSEL.moments(np.tile([0, 1, 2, 1, 0, -1, -2, -1, 0, 1.5], 2).astype(float))
    heel = VESSEL.heel(moments) + U * rng.normal(size=20)
    bad = [1, 4, 6, 9, 12, 15, 18]
    heel[bad] += np.deg2rad(0.03) * rng.choice([-1, 1], 7)
    began = time.process_time()
    result = reduce_gm(day(heel, U**2 * np.eye(20)), states(moments), VESSEL.weight, VESSEL.known_bm)
    assert time.process_time() - began < 3.0
    assert left_out(result) == [str(i) for i in bad]
    assert result.gm.value == pytest.approx(1.0, abs=4e-3)


def test_zero_return_is_asked() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    heel[8] += np.deg2rad(0.02)
    result = reduced(heel)
    zero = next(c for c in result.day_checks if c.code == "zero")
    # By what windows are known to, scatter about the plot included.
    known = np.hypot(result.points[0].u, result.points[8].u)
    assert zero.verdict == "caution" and zero.value == pytest.approx(np.deg2rad(0.02) / known, rel=1e-6)
    assert U < result.points[0].u < 1.1 * U


def test_shortest_roll_period_is_named() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    periods = [8.0, 8.01, 7.99, 8.0, 8.01, 7.6, 8.0, 7.99, 8.0]
    result = reduce_gm(
        day(heel, U**2 * np.eye(9), periods=periods), states(VESSEL.moments()), VESSEL.weight, VESSEL.known_bm
    )
    check = next(c for c in result.day_checks if "roll period" in c.says)
    assert check.verdict == "caution" and "window 5" in check.says


def test_plot_that_bends_more_than_the_hull_speaks_of_free_liquid() -> None:
    bent = replace(VESSEL, bm=60.0)
    heel = bent.heel(VESSEL.moments())
    result = reduce_gm(day(heel, (0.3 * U) ** 2 * np.eye(9)), states(VESSEL.moments()), VESSEL.weight, VESSEL.known_bm)
    bend = next(c for c in result.day_checks if c.code == "slosh")
    assert bend.value > bend.threshold
    assert left_out(result) == []
    assert result.gm.value == pytest.approx(1.0, abs=2e-4)
    assert any("bends" in text for text in result.assumptions)
    assert "bend of the plot" in [line.source for line in result.gm.budget]


def test_unsound_covariance_is_drawn_in() -> None:
    bad = np.array([[1.0, 1.5, np.nan], [1.5, 1.0, np.nan], [np.nan, np.nan, np.nan]])
    good = sound(bad)
    assert np.linalg.eigvalsh(good[:2, :2]).min() > 0
    assert good[0, 0] == 1.0 and np.isnan(good[2, 2])


def test_windows_of_one_state_share_the_error_of_its_moment() -> None:
    here = State("a", 1000.0, 10.0)
    there = State("b", -1000.0, 10.0, sensitivities={"mass": -10.0})
    total, columns = moment_covariance([here, here, there], {"mass": 3.0}, 100.0)
    assert total[0, 1] == pytest.approx(0.01)
    assert total[0, 2] == 0.0
    assert columns["mass"].tolist() == [0.0, 0.0, -0.3]
    assert total[2, 2] == pytest.approx(0.01 + 0.09)


def test_interval_covers_and_clean_windows_stay() -> None:
    """Over 120 clean days: 93-97 % wanted, two standard deviations of 120 draws either way."""
    rng = np.random.default_rng(11)
    covariance = U**2 * (np.eye(9) + 0.3 * np.exp(-np.abs(np.subtract.outer(np.arange(9), np.arange(9)))))
    root = np.linalg.cholesky(covariance)
    moments, truth = VESSEL.moments(), VESSEL.heel(VESSEL.moments())
    covered, lost, error = 0, 0, []
    for _ in range(120):
        scale = 1 + 0.0005 * rng.normal()
        result = reduce_gm(
            day((truth + root @ rng.normal(size=9)) * scale, covariance, scale_u=0.0005),
            states(moments),
            VESSEL.weight,
            VESSEL.known_bm,
        )
        covered += abs(result.gm.value - 1.0) <= result.gm.u95()
        lost += len(left_out(result))
        error.append(result.gm.value - 1.0)
    assert 0.90 <= covered / 120 <= 1.0
    assert lost / 1080 <= 0.01
    assert np.sqrt(np.mean(np.square(error))) < 0.0015


def test_taut_line_in_up_to_four_windows_and_people_in_three_stay_within_the_bar() -> None:
    rng = np.random.default_rng(12)
    truth = VESSEL.heel(VESSEL.moments())
    error = []
    for trial in range(60):
        heel = truth + U * rng.normal(size=9)
        if trial % 2:
            side = rng.choice([-1, 1])
            held = np.flatnonzero(SEQUENCE * side > 0)
            heel[held] *= 1 - rng.uniform(0.02, 0.06)
        else:
            bad = rng.choice(9, 3, replace=False)
            heel[bad] += rng.choice([-1, 1], 3) * np.deg2rad(rng.uniform(0.006, 0.03, 3))
        error.append(reduced(heel).gm.value - 1.0)
    assert np.sqrt(np.mean(np.square(error))) < 0.003


def test_window_rejected_by_its_own_checks_is_called_taut_where_it_was_held() -> None:
    heel = VESSEL.heel(VESSEL.moments())
    heel[2] *= 0.95
    heel[7] += np.deg2rad(0.01)
    verdicts = ["fine"] * 9
    verdicts[2] = verdicts[7] = "rejected"
    result = reduce_gm(
        day(heel, U**2 * np.eye(9), verdicts=verdicts),  # type: ignore[arg-type]
        states(VESSEL.moments()),
        VESSEL.weight,
        VESSEL.known_bm,
    )
    assert result.points[2].reasons == ("people", "taut")
    assert result.points[7].reasons == ("people",)


def test_no_gm_where_heel_does_not_follow_the_moments() -> None:
    dead = np.random.default_rng(1).normal(0, 1e-5, VESSEL.moments().size)
    found = reduced(dead)
    assert not np.isfinite(found.gm.value)
    assert "does not follow the moments" in found.gm.note


def test_no_gm_where_heel_goes_against_the_moments() -> None:
    found = reduced(-VESSEL.heel(VESSEL.moments()))
    assert not np.isfinite(found.gm.value)
    assert "goes against the moments" in found.gm.note
