"""Published single shifts, lists and roll periods, each with its source and status, by the functions a reduction runs.

Status: V read in the source, C computed again independently, M from memory (checked for self-consistency only).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from config.units import STANDARD_GRAVITY
from reduction.gm.curve import heel_at, straight
from reduction.gm.line import straight_line
from reduction.gm.period import gyration
from reduction.types import Maybe, Quantified
from reduction.water.tanks import rectangle_inertia


def gm_of_single_shift(weight: float, distance: float, displacement: float, deflection: float, length: float) -> float:
    """GM by the line through upright and one shift; weight and displacement in one unit, deflection and length too."""
    line = straight_line([0.0, weight * distance], [0.0, deflection / length])
    return 1.0 / (line.slope * displacement)


def gyradius(period: float, gm: float, breadth: float = 1.0) -> float:
    """Radius of gyration over breadth."""
    found = gyration(Maybe(Quantified(period, 0.0)), Quantified(gm, 0.0), breadth).value
    assert found is not None
    return found.value


def test_several_shifts_by_mean_increment() -> None:
    # Reed's-type examination question (V and C), kochimmdclass4.blogspot.com, 2024/02: 8000 t, 3 t over 12 m,
    # pendulum 5.5 m, readings 64, 116, back to 3, then 54 and 113 mm the other way; GM 0.427 m.
    increments = [64.0, 116.0 - 64.0, 54.0 + 3.0, 113.0 - 54.0]
    gm = gm_of_single_shift(3, 12, 8000, float(np.mean(increments)), 5500)
    assert np.mean(increments) == pytest.approx(58.0)
    assert gm == pytest.approx(0.427, abs=5e-4)
    assert gm == pytest.approx(0.42672, abs=5e-6)


def test_several_shifts_by_line_differ_from_the_mean_increment() -> None:
    # The same readings from the centre line as a line of tangent on moment (C): the method matters, not the number.
    moment = np.array([0.0, 36.0, 72.0, 0.0, -36.0, -72.0])
    reading = np.array([0.0, 64.0, 116.0, 3.0, -54.0, -113.0])
    gm = 1.0 / (straight_line(moment, reading / 5500).slope * 8000)
    assert gm == pytest.approx(0.42969, abs=5e-6)


def test_nicholls_exercise_18() -> None:
    # Nicholls's Seamanship and Nautical Knowledge (V and C): 100 tons over 30 ft, 8 degrees, 9000 tons: 2.37 ft.
    gm = gm_of_single_shift(100, 30, 9000, math.tan(math.radians(8)), 1.0)
    assert gm == pytest.approx(2.37, abs=5e-3)
    assert gm == pytest.approx(2.3718, abs=5e-5)


def test_nicholls_exercise_19() -> None:
    # Same page (V and C): 2600 tons, 3 tons over 40 ft, plumb line 29 ft 6 in, 2 in: 8.17 ft.
    gm = gm_of_single_shift(3, 40, 2600, 2 / 12, 29.5)
    assert gm == pytest.approx(8.17, abs=5e-3)
    assert gm == pytest.approx(8.1692, abs=5e-5)


def test_national_engineering_examination() -> None:
    # 3300 t, 6 t over 12 m, 0.12 m on 11 m, KM 7.25 (inputs V, answer C): GM 2.000, KG 5.25.
    gm = gm_of_single_shift(6, 12, 3300, 0.12, 11)
    assert gm == pytest.approx(2.000, abs=5e-4)
    assert 7.25 - gm == pytest.approx(5.25, abs=5e-3)


def test_model_in_a_tank() -> None:
    # Laboratory report (V and C), scribd 81348402: box 1.0 x 0.5 m, draught 0.0585 m, 3.0 kg over 0.2 m, mean heel
    # 4.75 degrees, volume 0.0293 m3 of fresh water: GM 0.2464, I 0.01042, BM 0.3556, KG 0.1385.
    volume = 0.0293
    gm = gm_of_single_shift(3.0, 0.2, 1000 * volume, math.tan(math.radians(4.75)), 1.0)
    inertia = rectangle_inertia(1.0, 0.5)
    assert gm == pytest.approx(0.2464, abs=5e-5)
    assert inertia == pytest.approx(0.01042, abs=5e-6)
    # From here on the report carries its own printed digits on.
    assert 0.01042 / volume == pytest.approx(0.3556, abs=5e-5)
    assert 0.0585 / 2 + 0.3556 - round(gm, 4) == pytest.approx(0.1385, abs=1e-4)


def test_list_of_a_shifted_weight() -> None:
    # Derrett exercise 14.4 as worked on tawhid07.blogspot (V and C):
    # 1500 t, KM 3.1, KG 2.7, 10 t over 10 m: 9 deg 27 min.
    heel = heel_at(10 * 10 / 1500, 3.1 - 2.7, 0.0, straight())[0]
    assert np.rad2deg(heel) == pytest.approx(9 + 27 / 60, abs=1 / 60)
    assert np.rad2deg(heel) == pytest.approx(9.462, abs=5e-4)


def test_roll_periods() -> None:
    # Examination items (V and C), curioustab.com: k 4 m, GM 0.6 m: 10.4 s; GM 0.725 m: 3 pi s. They take g 9.81.
    assert gyradius(10.4, 0.6) == pytest.approx(4.0, abs=0.02)
    assert gyradius(10.3593, 0.6) == pytest.approx(4.0 * math.sqrt(STANDARD_GRAVITY / 9.81), abs=2e-5)
    assert gyradius(3 * math.pi, 0.725) == pytest.approx(4.0, abs=4e-4)


@pytest.mark.parametrize(("factor", "gm"), [(0.88, 1.210), (0.83, 1.076), (0.93, 1.351)])
def test_rolling_test(factor: float, gm: float) -> None:
    # A.749(18) annex 3, TP 2072 (V), numbers computed (C): GM = (f B / T)^2 with B 10 m, T 8 s; f within 0.05 of 0.88.
    found = 2.0 * math.pi * gyradius(8.0, gm, 10.0) / math.sqrt(STANDARD_GRAVITY)
    assert found == pytest.approx(factor, abs=factor * 0.5 * 5e-4 / gm)


@pytest.mark.parametrize(
    ("factor", "ratio"),
    [(0.88, 0.439), (0.78, 0.389), (0.75, 0.374), (0.73, 0.364), (0.95, 0.474), (0.80, 0.399), (0.60, 0.299)],
)
def test_radius_ratio_of_rolling_factors(factor: float, ratio: float) -> None:
    # The same f (V) as k / B = f sqrt(g) / (2 pi), with g 9.81, which turns the last digit of the largest (C).
    assert gyradius(8.0, (factor * 10.0 / 8.0) ** 2, 10.0) == pytest.approx(ratio, abs=6e-4)


# Derrett and Barrass, Ship Stability for Masters and Mates, chapter 26: from memory (M), self-consistent (C).


def test_derrett_kg_from_one_shift() -> None:
    assert 7 - gm_of_single_shift(25, 15, 8000, 0.20, 4) == pytest.approx(6.0625, abs=5e-5)


def test_derrett_displacement_from_gm() -> None:
    displacement = 10 * 12 * 10 / (0.6 * 0.25)
    assert gm_of_single_shift(10, 12, displacement, 0.25, 10) == pytest.approx(0.6)
    assert displacement == pytest.approx(8000)


def test_derrett_deflection_of_a_pendulum() -> None:
    heel = heel_at(25 * 15 / 8000, 7.3 - 6.1, 0.0, straight())[0]
    assert 100 * 4 * math.tan(heel) == pytest.approx(15.6, abs=0.05)


def test_derrett_displacement_and_length_of_the_plumb_line() -> None:
    tangent = math.tan(math.radians(3.5))
    displacement = 10 * 12 / tangent
    assert displacement == pytest.approx(1962, abs=0.5)
    assert gm_of_single_shift(10, 12, displacement, tangent, 1.0) == pytest.approx(1.0)
    assert 0.25 / tangent == pytest.approx(4.09, abs=0.005)


def test_derrett_kg_of_a_small_vessel() -> None:
    assert 6.1 - gm_of_single_shift(15, 10, 3150, 0.25, 8) == pytest.approx(4.576, abs=5e-4)


def test_derrett_gm_from_one_shift() -> None:
    assert gm_of_single_shift(25, 10, 5000, 0.4, 4) == pytest.approx(0.5)


def test_derrett_deflection_of_a_long_pendulum() -> None:
    heel = heel_at(15 * 10 / 2304, 1.2, 0.0, straight())[0]
    assert 100 * 7.2 * math.tan(heel) == pytest.approx(39.06, abs=0.005)


def test_derrett_distance_of_the_shift() -> None:
    assert gm_of_single_shift(12, 10.67, 4000, 0.075, 7.5) == pytest.approx(3.2, abs=2e-3)
