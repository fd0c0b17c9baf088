"""Natural roll period and GM: an independent cross-check, never the answer of a stability test."""

from __future__ import annotations

import math

from config.units import STANDARD_GRAVITY


def natural_period(gyradius: float, gm: float, gravity: float = STANDARD_GRAVITY) -> float:
    """Roll period in seconds of a vessel of transverse gyradius k (m, added mass included): T = 2 pi k / sqrt(g GM).

    Source: Derrett and Barrass, Ship Stability for Masters and Mates, p. 292.

    >>> round(natural_period(4.0, 0.6, 9.81), 4)
    10.3593
    """
    return 2.0 * math.pi * gyradius / math.sqrt(gravity * gm)


def gyradius_of(period: float, gm: float, gravity: float = STANDARD_GRAVITY) -> float:
    """Transverse gyradius in metres (added mass included) from a measured period and GM."""
    return period * math.sqrt(gravity * gm) / (2.0 * math.pi)


def gm_of_rolling_test(factor: float, breadth: float, period: float) -> float:
    """GM in metres by the rolling test for vessels up to 70 m: GM = (f B / T)^2.

    Source: IMO Resolution A.749(18), annex 3; f is 0.88 empty or in ballast, 0.73-0.78 laden, each within 0.05.

    >>> round(gm_of_rolling_test(0.88, 10.0, 8.0), 3)
    1.21
    """
    return (factor * breadth / period) ** 2


def radius_ratio_of_factor(factor: float, gravity: float = STANDARD_GRAVITY) -> float:
    """k / B that belongs to a rolling-test factor f: f sqrt(g) / (2 pi)."""
    return factor * math.sqrt(gravity) / (2.0 * math.pi)
