"""Zero by face reversal, scale by known angles; both with an interval. Pure functions; derivation in the docstrings.

Angles in degrees, as in the plan. The model is ``true = scale * (indicated - zero)``.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from config.errors import bad
from config.units import COVERAGE_95
from logger.stations.steady import SteadyMean, coverage


@dataclass(frozen=True)
class ZeroFound:
    """Indicated angle when truly upright."""

    zero_deg: float
    u95_deg: float
    tilt_deg: float
    """Tilt of the surface it stood on, mean of the pairs."""
    pairs: int
    says: str


def zero_by_reversal(pairs: Sequence[tuple[SteadyMean, SteadyMean]]) -> ZeroFound:
    """Zero from readings taken in pairs: as mounted, then turned end for end on the same spot.

    Parameters
    ----------
    pairs : (reading as mounted, reading turned by 180 degrees about the vertical), deg. The surface need not be level.

    Returns
    -------
    ZeroFound. With three pairs or more the interval comes from their scatter, which holds the reseating; with fewer
    it comes from the readings alone and says so.

    Notes
    -----
    Indicated i1 = zero + t / scale, i2 = zero - t / scale for a surface tilted by t, hence zero = (i1 + i2) / 2
    whatever t and scale are, and t / scale = (i1 - i2) / 2.

    >>> mean = lambda value: SteadyMean(value, 0.001, 15, 0.005, 600)
    >>> found = zero_by_reversal([(mean(0.23), mean(-0.19))])
    >>> round(found.zero_deg, 4), round(found.tilt_deg, 4)
    (0.02, 0.21)
    """
    if not pairs:
        raise bad("calibration", "zero", None, "at least one pair of readings, as mounted and turned end for end")
    zeros = np.asarray([(first.value + second.value) / 2.0 for first, second in pairs])
    tilts = [(first.value - second.value) / 2.0 for first, second in pairs]
    inside = np.asarray([math.hypot(first.u, second.u) / 2.0 for first, second in pairs])
    own = float(np.sqrt(np.sum(inside**2))) / len(pairs)
    if len(pairs) >= 3:
        scatter = float(np.std(zeros, ddof=1)) / math.sqrt(len(pairs))
        u95 = max(coverage(len(pairs) - 1) * scatter, coverage(min(first.dof for first, _ in pairs)) * own)
        how = f"{len(pairs)} reversals, reseating included"
    else:
        u95 = coverage(min(min(first.dof, second.dof) for first, second in pairs)) * own
        how = f"{len(pairs)} reversal{'s' if len(pairs) > 1 else ''}; three or more would include the reseating"
    zero = float(zeros.mean())
    says = f"zero {zero:+.4f} deg, give or take {u95:.4f} ({how})"
    return ZeroFound(zero, u95, float(np.mean(tilts)), len(pairs), says)


@dataclass(frozen=True)
class KnownAngle:
    """One known angle and what the station indicated at it."""

    true_deg: float
    true_u_deg: float
    """Standard uncertainty of this angle by itself."""
    indicated: SteadyMean


@dataclass(frozen=True)
class ScaleFound:
    """True angle divided by indicated angle."""

    scale: float
    u95_percent: float
    zero_deg: float
    """Indicated angle where the line crosses true zero: that of the bench, not of the mounting aboard."""
    says: str


def scale_by_angles(angles: Sequence[KnownAngle], common_u_percent: float = 0.0) -> ScaleFound:
    """Scale from two or more known angles, by a straight line with uncertainty in both directions.

    Parameters
    ----------
    angles : at least two that differ; three or more show whether the station is straight.
    common_u_percent : standard uncertainty, percent of angle, common to all of them (length of the sine bar, scale of
        the level); no number of angles reduces it.

    Notes
    -----
    indicated = zero + true / scale. Weights 1 / (u_indicated^2 + u_true^2 / scale^2), recomputed once the slope is
    known (effective variance, Orear 1982). Where the residuals scatter more than the uncertainties say, the interval
    grows by that factor (Birge ratio), and Student's t for n - 2 degrees of freedom is used then.

    >>> mean = lambda value: SteadyMean(value, 0.001, 15, 0.005, 600)
    >>> found = scale_by_angles([KnownAngle(a, 0.001, mean(0.05 + a / 1.01)) for a in (-4.0, -2.0, 0.0, 2.0, 4.0)])
    >>> round(found.scale, 6), round(found.zero_deg, 6)
    (1.01, 0.05)
    """
    true = np.asarray([angle.true_deg for angle in angles], dtype=np.float64)
    if true.size < 2 or np.ptp(true) < 0.1:
        raise bad("calibration", "scale", f"{true.size} angles", "two or more known angles at least 0.1 deg apart")
    indicated = np.asarray([angle.indicated.value for angle in angles])
    u_true = np.asarray([angle.true_u_deg for angle in angles])
    u_indicated = np.asarray([angle.indicated.u for angle in angles])
    if not (np.isfinite(indicated).all() and np.isfinite(u_indicated).all() and np.isfinite(u_true).all()):
        raise bad("calibration", "scale", None, "every angle with its uncertainty, and readings taken at rest")
    slope = float((indicated[np.argmax(true)] - indicated[np.argmin(true)]) / np.ptp(true))
    crossing = u_slope = 0.0
    for _ in range(5):
        weight = 1.0 / np.maximum(u_indicated**2 + (slope * u_true) ** 2, 1e-18)
        middle = float(np.average(true, weights=weight))
        spread = float(np.sum(weight * (true - middle) ** 2))
        slope = float(np.sum(weight * (true - middle) * indicated)) / spread
        crossing = float(np.average(indicated, weights=weight)) - slope * middle
        u_slope = 1.0 / math.sqrt(spread)
    if not slope > 0.1:
        raise bad(
            "calibration", "scale", f"slope {slope:.3g}", "indicated angles that rise with the true ones; see the sign"
        )
    residuals = indicated - crossing - slope * true
    factor = COVERAGE_95
    if true.size > 2:
        birge = math.sqrt(float(np.sum(weight * residuals**2)) / (true.size - 2))
        if birge > 1.0:
            u_slope, factor = u_slope * birge, coverage(true.size - 2)
    relative95 = math.hypot(factor * u_slope / slope, COVERAGE_95 * common_u_percent / 100.0) * 100.0
    scale = 1.0 / slope
    says = (
        f"scale {scale:.5f}, give or take {relative95:.3f} %; "
        f"largest departure from the straight line {np.abs(residuals).max():.4f} deg"
    )
    return ScaleFound(scale, relative95, crossing, says)


def sine_bar(height_mm: float, length_mm: float, height_u95_mm: float) -> tuple[float, float]:
    """Angle of a sine bar on a gauge block.

    Returns
    -------
    Angle and its standard uncertainty from the height, deg. The length of the bar is common to all angles: hand
    ``100 * u(length) / length`` to `scale_by_angles` as ``common_u_percent`` (small angles).

    Notes
    -----
    sin(angle) = height / length; u(angle) = u(height) / (length cos(angle)).

    >>> round(sine_bar(5.0, 200.0, 0.01)[0], 4)
    1.4325
    """
    if not length_mm > 0 or not abs(height_mm) < length_mm:
        raise bad("calibration", "sine bar", f"{height_mm} on {length_mm} mm", "a height less than the bar's length")
    angle = math.asin(height_mm / length_mm)
    return math.degrees(angle), math.degrees(height_u95_mm / COVERAGE_95 / (length_mm * math.cos(angle)))


def slope_angle(mm_per_m: float, u95_mm_per_m: float) -> tuple[float, float]:
    """Angle read on a machinist's level, and its standard uncertainty, deg.

    >>> round(slope_angle(20.0, 0.05)[0], 4)
    1.1458
    """
    tangent = mm_per_m / 1000.0
    angle = math.degrees(math.atan(tangent))
    return angle, math.degrees(u95_mm_per_m / COVERAGE_95 / 1000.0 / (1.0 + tangent**2))
