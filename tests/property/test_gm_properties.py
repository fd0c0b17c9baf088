"""What must hold for any vessel, whatever the numbers."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from reduction.gm.curve import fit_curve, heel_at, straight, wall_sided
from reduction.gm.line import straight_line

GM = st.floats(0.1, 5.0)
BM = st.floats(0.0, 40.0)
TCG = st.floats(-0.01, 0.01)
TOP = st.floats(0.5, 4.0)
SEQUENCE = np.array([0, 1, 2, 1, 0, -1, -2, -1, 0.0]) / 2


@given(GM, BM, TCG, TOP)
def test_curve_gives_back_the_vessel_it_was_made_of(gm: float, bm: float, tcg: float, top: float) -> None:
    arm = SEQUENCE * gm * np.tan(np.deg2rad(top))
    form = wall_sided(bm)
    fit = fit_curve(heel_at(arm, gm, tcg, form), arm, np.eye(9) * 1e-10, form)
    assert abs(fit.gm / gm - 1) < 1e-8
    assert abs(fit.tcg - tcg) < 1e-9


@given(GM, BM, TCG, TOP)
def test_port_and_starboard_are_alike(gm: float, bm: float, tcg: float, top: float) -> None:
    arm = SEQUENCE * gm * np.tan(np.deg2rad(top)) + 0.01 * gm
    form = wall_sided(bm)
    assert np.allclose(heel_at(-arm, gm, -tcg, form), -heel_at(arm, gm, tcg, form), atol=1e-12)


@given(GM, st.floats(0.5, 40.0), TOP)
def test_straight_line_over_reads_a_wall_sided_vessel(gm: float, bm: float, top: float) -> None:
    arm = SEQUENCE * gm * np.tan(np.deg2rad(top))
    line = straight_line(arm, np.tan(heel_at(arm, gm, 0.0, wall_sided(bm))))
    over = 1.0 / line.slope / gm - 1
    assert 0 < over < 0.5 * bm / gm * np.tan(np.deg2rad(top)) ** 2 * 1.0001


@given(st.floats(0.99, 1.01), GM, BM, TOP)
@settings(max_examples=50)
def test_scale_of_the_sensor_passes_to_gm_one_to_one_by_the_line(
    scale: float, gm: float, bm: float, top: float
) -> None:
    arm = SEQUENCE * gm * np.tan(np.deg2rad(top))
    tangent = np.tan(heel_at(arm, gm, 0.0, straight()))
    assert abs(straight_line(arm, scale * tangent).slope / (scale * straight_line(arm, tangent).slope) - 1) < 1e-12


@given(st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-0.1, 0.1)), min_size=3, max_size=30), st.integers(0, 10**6))
def test_line_agrees_with_numpy(points: list[tuple[float, float]], seed: int) -> None:
    x, y = np.array(points).T
    x = x + np.random.default_rng(seed).uniform(0, 1, x.size) * 100  # so that the moments differ
    line = straight_line(x, y)
    slope = np.polyfit(x, y, 1)[0]
    scale = 1e-9 + abs(slope)
    assert abs(line.slope - slope) < 1e-6 * scale + 1e-12
