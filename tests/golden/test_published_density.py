"""Sea-water densities: EOS-80 check values as printed, TEOS-10 against the reference implementation."""

from __future__ import annotations

import gsw  # type: ignore[import-untyped]
import numpy as np
import pytest

from reduction.water.density import eos80, salinity_of
from reduction.water.teos10 import SALINITY_PER_PRACTICAL, surface_density

# UNESCO Technical Papers in Marine Science 44 (1983), p. 19, at atmospheric pressure; temperatures on IPTS-68.
# Tolerance: last printed digit.
EOS80 = [(0, 5, 999.96675), (0, 25, 997.04796), (35, 5, 1027.67547), (35, 25, 1023.34306)]


@pytest.mark.parametrize(("s", "t", "density"), EOS80)
def test_check_values_of_eos80(s: float, t: float, density: float) -> None:
    assert eos80(s, t) == pytest.approx(density, abs=6e-6)


@pytest.mark.parametrize("s", [0.0, 3.0, 18.0, 35.0, 41.9])
@pytest.mark.parametrize("t", [-1.0, 4.0, 15.0, 30.0])
def test_salinity_comes_back(s: float, t: float) -> None:
    assert salinity_of(eos80(s, t), t) == pytest.approx(s, abs=1e-6)


def test_teos10_at_the_surface() -> None:
    """Within 0.0012 kg/m3 of TEOS-10 over 0-42 g/kg and -2 to 40 degC (where the water is liquid)."""
    s, t = np.meshgrid(np.linspace(0, 42, 43), np.linspace(-2, 40, 43))
    liquid = t > -0.06 * s
    reference = gsw.rho(s, gsw.CT_from_t(s, t, 0), 0)
    ours = np.array([[surface_density(a, b) for a, b in zip(x, y, strict=True)] for x, y in zip(s, t, strict=True)])
    assert np.abs(ours - reference)[liquid].max() < 1.2e-3


def test_teos10_and_eos80_agree_for_standard_sea_water() -> None:
    """The two equations differ by some 0.01 kg/m3 (0.02 here); a misread salinity by far more."""
    for t in (0.0, 10.0, 20.0, 30.0):
        assert surface_density(35 * SALINITY_PER_PRACTICAL, t) == pytest.approx(eos80(35, t * 1.00024), abs=0.02)


def test_ittc_density_of_fresh_water_at_15_degrees() -> None:
    """999.1026 kg/m3: ITTC water-property tables (from memory).

    Tolerance: what our polynomial departs from TEOS-10 by, 0.0011, and the printed digit. The same tables' 1026.0210
    for standard sea water (from memory) lies 0.045 above TEOS-10's reference implementation and is no check here.
    """
    assert surface_density(0.0, 15.0) == pytest.approx(999.1026, abs=1.5e-3)
