"""Worked examples and check points from the literature that belong to the way from GM to lightship.

Status of each: read = inputs and answer read in the source; inputs read = answer computed here and not visible in the
source; from memory = check before printing it in a report. Tolerance: half the last printed digit unless said.
"""

from __future__ import annotations

import pytest

from config.hull_tables import parse_hydrostatics
from config.plan import Plan
from config.survey_table import parse_survey
from config.waterline_table import ReadingRow
from reduction.lightship.corrections import to_lightship
from reduction.lightship.survey import gather
from reduction.types import Quantified
from reduction.verdict.criteria import solas_mass_percent
from reduction.water.afloat import Afloat
from reduction.water.hydrostatics_table import FromTable, first_trim_correction, list_correction, second_trim_correction
from reduction.water.tanks import free_surface, rectangle_inertia
from reduction.water.waterline import fit_waterline


def test_free_surface() -> None:
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


def test_mark_corrections() -> None:
    """geludug.com (2013), read: trim 1.75 m, 128.0 m between marks, aft 7.10 m, forward 1.21 m off perpendiculars."""
    aft, forward, length = 6.75, 5.00, 128.0 + 7.10 + 1.21
    rows = [
        ReadingRow(2, "A", "draught", 7.10, 0.0, aft, 0.001, 0.0, 0.0),
        ReadingRow(3, "F", "draught", length - 1.21, 0.0, forward, 0.001, 0.0, 0.0),
    ]
    found, _ = fit_waterline(rows, length, 0.0, Quantified(1025.0, 0.0))
    # 0.09707 and 0.01654 exactly; what the fit believes of hog beforehand takes 0.00003 m.
    assert found.draught_aft.value - aft == pytest.approx(0.0971, abs=1e-4)
    assert forward - found.draught_forward.value == pytest.approx(0.0165, abs=1e-4)


def test_the_mean_draught_is_the_mean_of_means() -> None:
    """sevensurveyor specimen, inputs read: F 10.79/10.81, M 10.90/11.03, A 11.16/11.19: (F + A + 6 M)/8 = 10.97063."""
    forward, amidships, aft = (10.79 + 10.81) / 2, (10.90 + 11.03) / 2, (11.16 + 11.19) / 2
    assert (forward, amidships, aft) == pytest.approx((10.800, 10.965, 11.175), abs=1e-9)
    table = parse_hydrostatics("draught_m,displacement_t,km_m\n10.0,1000.0,5\n11.0,1100.0,5\n12.0,1200.0,5\n")
    hogged = Afloat(amidships, aft - forward, hog=(forward + aft) / 2 - amidships)
    found = FromTable(table, 100.0).at(hogged).displacement / 1e5
    assert found == pytest.approx(10.97063, abs=5.1e-6)  # 10.970625 exactly


# Biran, Ship Hydrostatics and Stability, small cargo ship: t, VCG, LCG (inputs read; totals recomputed: 2625 t,
# 13113.1403 and 94186.5361 t m).
LOADED = {
    "lightship": (1247.66, 5.93, 32.04),
    "crew": (3.60, 9.60, 11.00),
    "provisions": (5.00, 7.30, 3.50),
    "fuel": (177.21, 1.56, 30.88),
    "lube oil": (4.50, 4.65, 8.45),
    "fresh water": (103.09, 4.61, 27.19),
    "cargo in holds": (993.94, 4.35, 42.62),
    "fruit": (90.00, 6.08, 38.66),
}


def test_a_loaded_ship_back_to_lightship() -> None:
    """From 2625 t at KG 4.995482, LCG 35.880585, with everything else off by the survey: 1247.66 / 5.93 / 32.04."""
    lines = ["item,action,mass_t,x_m,y_m,z_m"]
    lines += [f"{n},off,{m},{x},0,{z}" for n, (m, z, x) in LOADED.items() if n != "lightship"]
    items = gather(Plan(), parse_survey("\n".join(lines)), ()).items
    mass, (lcg, tcg, vcg) = to_lightship(2625.0e3, (35.880585, 0.0, 4.995482), items)
    assert float(mass) / 1e3 == pytest.approx(1247.66, abs=1e-9)
    assert (float(vcg), float(lcg)) == pytest.approx((5.93, 32.04), abs=2e-6)
    assert float(tcg) == 0.0


def test_density_of_a_harbour() -> None:
    """atlasofengineering.com, inputs read: 522.5 t by the table at 1.025 in water of 1.020 -> 519.951 t."""
    table = parse_hydrostatics("draught_m,displacement_t,km_m\n2.0,422.5,5.3\n2.5,522.5,5.2\n3.0,622.5,5.1\n")
    source = FromTable(table, 40.0, 1025.0)
    floating = source.at(Afloat(2.5, density=1020.0))
    assert floating.displacement / 1e3 == pytest.approx(519.951, abs=5e-4)
    assert floating.km == pytest.approx(5.2, abs=1e-9)


@pytest.mark.parametrize(("length", "percent"), [(24, 2.0), (50, 2.0), (105, 1.5), (160, 1.0), (300, 1.0)])
def test_solas_mass_threshold(length: float, percent: float) -> None:
    """SOLAS II-1/5.2, read: 2 % to L = 50 m, 1 % from 160 m, linear between."""
    assert solas_mass_percent(length) == pytest.approx(percent, abs=5e-4)


def test_draught_survey_corrections() -> None:
    """Formulas read (doclecture.net, funnel2tunnel); figures computed from them by hand."""
    assert first_trim_correction(0.8, 1.5, 12.0, 96.0) == pytest.approx(15.0)
    assert second_trim_correction(0.8, 6.0, 96.0) == pytest.approx(2.0)
    assert list_correction(3.2, 3.0, 12.5, 12.0) == pytest.approx(0.6)
