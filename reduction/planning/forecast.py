"""Weeks before: what heel each movement will give and what interval on GM to expect.

Derivation in docs/method-forecast.md. All of it is for planning; nothing of it enters a result.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from config.plan import Plan
from config.units import AIR_DENSITY, COVERAGE_95, STANDARD_GRAVITY

DRAG_COEFFICIENT = 1.1
"""Of superstructure and hull abeam to the wind, per projected lateral area (common practice; from memory)."""
TURBULENCE_INTENSITY = 0.18
"""Standard deviation of wind speed over its mean, near the ground in a harbour (IEC 61400-1, class A at low speed: from
memory)."""
GUST_LENGTH_M = 60.0
"""Length scale L of the along-wind gust spectrum f S(f) / sigma^2 = 4 n / (1 + 6 n)^(5/3), n = f L / U, at about 10 m
height (Kaimal form as in IEC 61400-1, L = 8.1 x 0.7 z: from memory)."""
LEFT_BY_WIND_MEASURED = 0.5
"""Part of the gusts' low-frequency heel (standard deviation) still there when wind is measured and taken off. Gusts at
a mast some 25 m off are coherent with those on the hull below about 0.02 Hz only."""


@dataclass(frozen=True)
class Forecast:
    """What to expect of one window length."""

    window_s: float
    heel_u: float
    """rad, standard uncertainty of one window's mean heel."""
    gm_u: float
    """m."""
    parts: tuple[tuple[str, float], ...]
    """Relative standard uncertainties of GM by source."""


def heel_of(moment: float, displacement: float, gm: float, bm: float = 0.0) -> float:
    """Heel (rad) under ``moment`` (kg m): solves M = D tan(phi) (GM + BM tan(phi)^2 / 2), the wall-sided equilibrium.

    >>> round(math.degrees(heel_of(40e3, 1150e3, 1.1)), 3)
    1.811
    """
    tangent = moment / (displacement * gm)
    for _ in range(20):
        value = tangent * (gm + 0.5 * bm * tangent**2) - moment / displacement
        step = value / (gm + 1.5 * bm * tangent**2)
        tangent -= step
        if abs(step) < 1e-15:
            break
    return math.atan(tangent)


def windage(plan: Plan) -> tuple[float, float]:
    """Lateral area above water (m2) and lever from its centre to half draught (m): as planned, or of a usual form."""
    depth = plan.vessel.depth_m or 5.0
    area = plan.weather.windage_area_m2 or 0.8 * depth * (plan.vessel.length_m or 50.0)
    return area, plan.weather.windage_lever_m or 0.8 * depth


def gust_heel_density(wind: float, abeam: float, area: float, lever: float, displacement: float, gm: float) -> float:
    """Two-sided spectral density near zero frequency of the heel that gusts make, rad2/Hz.

    Parameters
    ----------
    wind : mean speed, m/s. abeam : part of it abeam, 0 to 1. area : lateral area above water, m2.
    lever : from the centre of that area to half draught, m. displacement : kg. gm : m.

    Notes
    -----
    Heel = k U^2 with k = rho C A z / (2 D g GM); fluctuations u give 2 k U u; S_u(0) = 2 sigma_u^2 L / U (two-sided).
    """
    if wind <= 0.0:
        return 0.0
    k = 0.5 * AIR_DENSITY * DRAG_COEFFICIENT * area * lever / (displacement * STANDARD_GRAVITY * gm)
    speed_density = 2.0 * (TURBULENCE_INTENSITY * wind) ** 2 * GUST_LENGTH_M / wind
    return float((2.0 * k * wind * abeam) ** 2 * speed_density)


def forecast(
    moments: Sequence[float],
    displacement: float,
    gm: float,
    *,
    window_s: float,
    density: float,
    station_u: float,
    scale_u: float,
    displacement_u: float,
    moment_u: float,
) -> Forecast:
    """Interval to expect on GM from windows at ``moments`` (kg m).

    Parameters
    ----------
    window_s : length of each window. density : rad2/Hz, two-sided low-frequency density of heel.
    station_u : rad, what sensors and their drift leave in each window. scale_u, displacement_u, moment_u : relative.

    Notes
    -----
    var(mean heel) = S(0)/D + station_u^2. Slope of heel on moment by least squares with a free intercept:
    u(b)/b = u(phi) D GM / sqrt(sum (M - mean M)^2); relative parts add in squares (GUM 5.1.2).
    """
    heel_u = math.sqrt(density / window_s + station_u**2)
    spread = float(np.sqrt(np.sum((np.asarray(moments) - np.mean(moments)) ** 2))) if len(moments) > 1 else 0.0
    slope = heel_u * displacement * gm / spread if spread > 0.0 else math.inf
    parts = (
        ("heel of the windows", slope),
        ("scale of the stations", scale_u),
        ("displacement", displacement_u),
        ("weights and distances", moment_u),
    )
    total = math.sqrt(sum(part**2 for _, part in parts))
    return Forecast(window_s, heel_u, gm * total, parts)


def relative_u(u95_percent: float | None, assumed_percent: float) -> float:
    """Relative standard uncertainty from a typed 95 % half width in per cent, or from what is assumed without one."""
    return (assumed_percent if u95_percent is None else u95_percent) / 100.0 / COVERAGE_95
