"""Worked examples and check points from the literature that belong to the way from GM to lightship.

Status of each: read = inputs and answer read in the source; inputs read = answer computed here and not visible in the
source; from memory = check before printing it in a report. Tolerance: half the last printed digit unless said.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from config.hull_tables import parse_hydrostatics
from config.plan import Plan
from config.survey_table import parse_survey
from reduction.gm.line import gm_of_single_shift
from reduction.gm.period import natural_period, radius_of_f, rolling_test_gm
from reduction.lightship.corrections import to_lightship
from reduction.lightship.survey import gather
from reduction.verdict.criteria import solas_mass_percent
from reduction.water.afloat import Afloat
from reduction.water.hydrostatics import FromTable, first_trim_correction, list_correction, second_trim_correction
from reduction.water.tanks import free_surface, rectangle_inertia
from reduction.water.waterline import mark_correction, quarter_mean


def test_w8_model_in_a_tank() -> None:
    """scribd.com/document/81348402, read: 3.0 kg moved 0.2 m, 4.75 deg; GM 0.2464, BM 0.3556, KG 0.1385 m."""
    inertia = rectangle_inertia(1.0, 0.5)
    assert inertia == pytest.approx(0.01042, abs=5e-6)
    bm = inertia / 0.0293
    assert bm == pytest.approx(0.3556, abs=1e-4)  # the source rounds inertia first
    gm = 3.0 * 0.2 / (0.0293 * 1000.0 * math.tan(math.radians(4.75)))
    assert gm == pytest.approx(0.2464, abs=5e-5)
    assert pytest.approx(0.1385, abs=1e-4) == 0.0585 / 2 + 0.3556 - 0.2464


def test_w10_list() -> None:
    """Derrett ex. 14.4 (tawhid07.blogspot), read: 1500 t, KM 3.1, KG 2.7, 10 t x 10 m -> 9 deg 27 min."""
    angle = math.degrees(math.atan(10 * 10 / (1500 * (3.1 - 2.7))))
    assert angle == pytest.approx(9 + 27 / 60, abs=1 / 60)


def test_w11_free_surface() -> None:
    """Derrett p. 195 example 1, inputs read, 0.225 from memory: half a double-bottom tank of salt water pumped out."""
    pumped = 15 * 10 * 1 * 1.025
    after = 8153.75 - pumped
    assert after == pytest.approx(8000.0, abs=0.01)
    rise = pumped * (7.5 - 1.5) / after
    assert rise == pytest.approx(0.11531, abs=5e-6)
    virtual = free_surface(rectangle_inertia(15, 10), 1.025, after / 1.025, 1.025)
    assert virtual == pytest.approx(0.16016, abs=5e-6)
    assert 8.0 - (7.5 + rise) - virtual == pytest.approx(0.225, abs=6e-4)


def test_free_surface_of_cells() -> None:
    """Derrett pp. 193-195, read: n equal cells side by side divide the free surface by n squared."""
    assert rectangle_inertia(15, 10, 3) == pytest.approx(rectangle_inertia(15, 10) / 9)


def test_w13_roll_period() -> None:
    """curioustab.com, read: k 4 m, GM 0.6 m -> 10.4 s; GM 0.725 m -> 3 pi s. The source takes g 9.81."""
    assert natural_period(4.0, 0.6) == pytest.approx(10.4, abs=0.05)
    assert natural_period(4.0, 0.725) == pytest.approx(3 * math.pi, abs=2e-3)


def test_w15_mark_corrections() -> None:
    """geludug.com (2013), read: trim 1.75 m, 128.0 m between marks, aft 7.10 m, forward 1.21 m off perpendiculars."""
    assert mark_correction(1.75, 7.10, 128.0) == pytest.approx(0.0971, abs=5e-5)
    assert mark_correction(1.75, 1.21, 128.0) == pytest.approx(0.0165, abs=5e-5)


def test_w16_draught_means() -> None:
    """sevensurveyor specimen, inputs read: F 10.79/10.81, M 10.90/11.03, A 11.16/11.19 -> raw mean 10.97063."""
    forward, amidships, aft = (10.79 + 10.81) / 2, (10.90 + 11.03) / 2, (11.16 + 11.19) / 2
    assert (forward, amidships, aft) == pytest.approx((10.800, 10.965, 11.175), abs=1e-9)
    assert quarter_mean(forward, aft, amidships) == pytest.approx(10.97063, abs=5.1e-6)  # 10.970625 exactly


def test_quarter_mean_by_its_other_form() -> None:
    """AM + 3/4 (M - AM) is the same mean (draught-survey practice, read)."""
    ends = (10.8 + 11.175) / 2
    assert quarter_mean(10.8, 11.175, 10.965) == pytest.approx(ends + 0.75 * (10.965 - ends))


# Biran, Ship Hydrostatics and Stability, small cargo ship (inputs read; totals recomputed): t, VCG, LCG.
W17 = {
    "lightship": (1247.66, 5.93, 32.04),
    "crew": (3.60, 9.60, 11.00),
    "provisions": (5.00, 7.30, 3.50),
    "fuel": (177.21, 1.56, 30.88),
    "lube oil": (4.50, 4.65, 8.45),
    "fresh water": (103.09, 4.61, 27.19),
    "cargo in holds": (993.94, 4.35, 42.62),
    "fruit": (90.00, 6.08, 38.66),
}


def test_w17_forward() -> None:
    table = np.array(list(W17.values()))
    mass, vertical, longitudinal = table[:, 0].sum(), table[:, 0] @ table[:, 1], table[:, 0] @ table[:, 2]
    assert mass == pytest.approx(2625.00, abs=1e-9)
    assert vertical == pytest.approx(13113.1403, abs=5e-5)
    assert longitudinal == pytest.approx(94186.5361, abs=5e-5)
    assert (vertical / mass, longitudinal / mass) == pytest.approx((4.995482, 35.880585), abs=5e-7)


def test_w17_back_to_lightship() -> None:
    """From 2625 t at KG 4.995482, LCG 35.880585, with everything else off by the survey: 1247.66 / 5.93 / 32.04."""
    lines = ["item,action,mass_t,x_m,y_m,z_m"]
    lines += [f"{n},off,{m},{x},0,{z}" for n, (m, z, x) in W17.items() if n != "lightship"]
    items = gather(Plan(), parse_survey("\n".join(lines)), ()).items
    mass, (lcg, tcg, vcg) = to_lightship(2625.0e3, (35.880585, 0.0, 4.995482), items)
    assert float(mass) / 1e3 == pytest.approx(1247.66, abs=1e-9)
    assert (float(vcg), float(lcg)) == pytest.approx((5.93, 32.04), abs=2e-6)
    assert float(tcg) == 0.0


def test_w18_density_of_a_harbour() -> None:
    """atlasofengineering.com, inputs read: 522.5 t by the table at 1.025 in water of 1.020 -> 519.951 t."""
    table = parse_hydrostatics("draught_m,displacement_t,km_m\n2.0,422.5,5.3\n2.5,522.5,5.2\n3.0,622.5,5.1\n")
    source = FromTable(table, 40.0, 1025.0)
    floating = source.at(Afloat(2.5, density=1020.0))
    assert floating.displacement / 1e3 == pytest.approx(519.951, abs=5e-4)
    assert floating.km == pytest.approx(5.2, abs=1e-9)


# Derrett and Barrass ch. 26, from memory, self-consistent: tolerance from the printed digits.
def test_w19_from_memory() -> None:
    assert 7 - gm_of_single_shift(25, 15, 8000, 0.20, 4) == pytest.approx(6.06, abs=5e-3)
    assert pytest.approx(8000) == 10 * 12 * 10 / (0.6 * 0.25)
    assert pytest.approx(15.6, abs=0.05) == 100 * 4 * 25 * 15 / (8000 * (7.3 - 6.1))
    assert 10 * 12 / (1.0 * math.tan(math.radians(3.5))) == pytest.approx(1962, abs=0.5)
    assert 0.25 / math.tan(math.radians(3.5)) == pytest.approx(4.09, abs=5e-3)
    assert 6.1 - gm_of_single_shift(15, 10, 3150, 0.25, 8) == pytest.approx(4.576, abs=5e-4)
    assert pytest.approx(5000) == 25 * 10 * 4 / (0.5 * 0.4)
    assert pytest.approx(39.06, abs=5e-3) == 100 * 7.2 * 15 * 10 / (2304 * 1.2)
    assert pytest.approx(10.67, abs=5e-3) == 4000 * 3.2 * (0.075 / 7.5) / 12


def test_w20_rolling_test() -> None:
    """A.749(18) Annex 3 (f read): B 10 m, f 0.88, T 8 s -> GM 1.210 m; f within 0.05 -> 1.076 to 1.351 m."""
    assert rolling_test_gm(10, 8, 0.88) == pytest.approx(1.210, abs=5e-4)
    assert rolling_test_gm(10, 8, 0.83) == pytest.approx(1.076, abs=7e-4)
    assert rolling_test_gm(10, 8, 0.93) == pytest.approx(1.351, abs=5e-4)


@pytest.mark.parametrize(
    ("f", "ratio"),
    [(0.88, 0.439), (0.78, 0.389), (0.75, 0.374), (0.73, 0.364), (0.95, 0.474), (0.80, 0.399), (0.60, 0.299)],
)
def test_w20_radius_of_gyration(f: float, ratio: float) -> None:
    """Computed in the collection with g 9.81, which turns the last digit of the largest."""
    assert radius_of_f(f) == pytest.approx(ratio, abs=6e-4)


@pytest.mark.parametrize(("length", "percent"), [(24, 2.0), (50, 2.0), (105, 1.5), (160, 1.0), (300, 1.0)])
def test_solas_mass_threshold(length: float, percent: float) -> None:
    """SOLAS II-1/5.2, read: 2 % to L = 50 m, 1 % from 160 m, linear between."""
    assert solas_mass_percent(length) == pytest.approx(percent, abs=5e-4)


def test_draught_survey_corrections() -> None:
    """Formulas read (doclecture.net, funnel2tunnel); figures computed from them by hand."""
    assert first_trim_correction(0.8, 1.5, 12.0, 96.0) == pytest.approx(15.0)
    assert second_trim_correction(0.8, 6.0, 96.0) == pytest.approx(2.0)
    assert list_correction(3.2, 3.0, 12.5, 12.0) == pytest.approx(0.6)


def test_heel_needed_for_a_deflection() -> None:
    """References table, computed: 15 cm needs 8.59 m at 1 deg, 4.30 m at 2, 2.15 m at 4."""
    for heel, length in ((1, 8.59), (2, 4.30), (4, 2.15)):
        assert 0.15 / math.tan(math.radians(heel)) == pytest.approx(length, abs=6e-3)
