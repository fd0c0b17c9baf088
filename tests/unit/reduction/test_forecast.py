import math

import numpy as np
import pytest

from reduction.planning.forecast import forecast, gust_heel_density, heel_of


def test_heel_solves_the_wall_sided_equilibrium() -> None:
    heel = heel_of(60e3, 1000e3, 0.5, bm=5.0)
    tangent = math.tan(heel)
    assert 1000e3 * tangent * (0.5 + 2.5 * tangent**2) == pytest.approx(60e3, rel=1e-12)
    assert heel_of(-60e3, 1000e3, 0.5, bm=5.0) == -heel


def test_interval_of_gm_is_what_least_squares_scatters() -> None:
    moments = np.array([0, 20e3, 40e3, 20e3, 0, -20e3, -40e3, -20e3, 0.0])
    displacement, gm, u = 1000e3, 1.0, 2e-4
    expected = forecast(
        moments, displacement, gm, window_s=1.0, density=u**2, station_u=0, scale_u=0, displacement_u=0, moment_u=0
    )
    random = np.random.default_rng(7)
    heel = moments / (displacement * gm) + random.normal(0, u, (4000, moments.size))
    slopes = np.array([np.polyfit(moments, row, 1)[0] for row in heel])
    assert np.std(1 / (slopes * displacement)) == pytest.approx(expected.gm_u, rel=0.05)


def test_no_wind_no_gusts() -> None:
    assert gust_heel_density(0, 1, 200, 4, 1e6, 1) == 0
    assert gust_heel_density(8, 1, 200, 4, 1e6, 1) == pytest.approx(8 * gust_heel_density(4, 1, 200, 4, 1e6, 1))
