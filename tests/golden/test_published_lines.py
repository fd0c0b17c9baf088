"""Published data of straight lines: every number that the source prints, within its printed digits.

Status: V read in the source, C computed again independently, M from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from reduction.gm.line import straight_line

# Hansen, Naval Engineers Journal 97(4), May 1985, pp. 97-115, as kept in the companion file of Biran (2003),
# example 7.1 (inputs V, results C). Long ton feet and tangents.
HANSEN_MOMENT = np.array([3853.7, 2570.1, 1286.8, 3.8, -3785.8, -2523.3, -1263.7, -0.6])
HANSEN_TANGENT = np.array(
    [
        [0.01869, 0.01854, 0.01788],
        [0.01259, 0.01255, 0.01214],
        [0.00648, 0.00641, 0.00615],
        [0.00042, 0.00047, 0.00000],
        [-0.01791, -0.01802, -0.01850],
        [-0.01194, -0.01203, -0.01235],
        [-0.00574, -0.00599, -0.00646],
        [0.00000, 0.00000, -0.00063],
    ]
)
HANSEN_ALL = (np.repeat(HANSEN_MOMENT, 3), HANSEN_TANGENT.ravel())

# NIST Statistical Reference Datasets, Norris (V and C).
NORRIS_X = np.fromstring(
    "0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 447.5 11.6 556.0 228.1 "
    "995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1 448.9 0.5",
    sep=" ",
)
NORRIS_Y = np.fromstring(
    "0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9 10.8 557.7 228.3 "
    "998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2",
    sep=" ",
)


def test_hansen_moment_on_tangent() -> None:
    moment, tangent = HANSEN_ALL
    fit = straight_line(tangent, moment)
    assert fit.slope == pytest.approx(208361.1329, abs=5e-5)
    assert fit.intercept == pytest.approx(-6.2497, abs=5e-5)


def test_hansen_tangent_on_moment() -> None:
    moment, tangent = HANSEN_ALL
    fit = straight_line(moment, tangent)
    assert fit.slope == pytest.approx(4.796281201737e-6, rel=1e-12)
    assert fit.intercept == pytest.approx(3.004888e-5, abs=5e-12)
    assert 1 / fit.slope == pytest.approx(208494.8647, abs=5e-5)
    assert fit.scatter == pytest.approx(3.023568e-4, abs=5e-11)
    assert 100 * fit.slope_u / fit.slope == pytest.approx(0.5401, abs=5e-5)
    assert np.corrcoef(moment, tangent)[0, 1] == pytest.approx(0.99967924, abs=5e-9)


@pytest.mark.parametrize(("pendulum", "stiffness"), [(0, 208415.538), (1, 208224.055), (2, 208845.974)])
def test_hansen_single_pendulums(pendulum: int, stiffness: float) -> None:
    fit = straight_line(HANSEN_MOMENT, HANSEN_TANGENT[:, pendulum])
    assert 1 / fit.slope == pytest.approx(stiffness, abs=5e-4)


def test_norris_certified_values() -> None:
    fit = straight_line(NORRIS_X, NORRIS_Y)
    assert fit.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert fit.intercept == pytest.approx(-0.262323073774029, rel=1e-12)
    intercept_u = np.sqrt(fit.covariance[1, 1])
    assert fit.slope_u == pytest.approx(0.429796848199937e-3, rel=1e-12)
    assert intercept_u == pytest.approx(0.232818234301152, rel=1e-12)
    assert fit.scatter == pytest.approx(0.884796396144373, rel=1e-12)
    assert fit.residuals @ fit.residuals == pytest.approx(26.6173985294224, rel=1e-12)
    total = float(np.sum((NORRIS_Y - NORRIS_Y.mean()) ** 2))
    assert 1 - float(fit.residuals @ fit.residuals) / total == pytest.approx(0.999993745883712, rel=1e-13)
    regression = total - float(fit.residuals @ fit.residuals)
    assert regression / fit.scatter**2 == pytest.approx(5436385.54079785, rel=1e-9)


def test_gum_calibration_of_a_thermometer() -> None:
    # GUM (JCGM 100:2008) example H.3; inputs from memory (M), results computed (C) to the digits the GUM prints.
    x = np.array([1.521, 2.012, 2.512, 3.003, 3.507, 3.999, 4.513, 5.002, 5.503, 6.010, 6.511])
    y = np.array([-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160])
    fit = straight_line(x, y)
    intercept_u = np.sqrt(fit.covariance[1, 1])
    assert fit.intercept == pytest.approx(-0.1712, abs=5e-5)
    assert intercept_u == pytest.approx(0.0029, abs=5e-5)
    assert fit.slope == pytest.approx(0.00218, abs=5e-6)
    assert fit.slope_u == pytest.approx(0.00067, abs=5e-6)
    assert fit.covariance[0, 1] / (fit.slope_u * intercept_u) == pytest.approx(-0.930, abs=5e-4)
    assert fit.scatter == pytest.approx(0.0035, abs=5e-5)
    at = 30 - 20
    u = np.sqrt(np.array([at, 1.0]) @ fit.covariance @ np.array([at, 1.0]))
    assert fit.intercept + fit.slope * at == pytest.approx(-0.1494, abs=5e-5)
    assert u == pytest.approx(0.0041, abs=5e-5)
