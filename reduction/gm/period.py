"""Roll period against GM: an independent check by the radius of gyration.

T = 2 pi k / sqrt(g GM) (Derrett and Barrass, p. 292); k/B from the rolling test's f: k/B = f sqrt(g) / (2 pi).
"""

from __future__ import annotations

import math

from config.units import STANDARD_GRAVITY
from dsp.types import BudgetLine, DayHeel
from reduction.types import Maybe, Quantified

ROLLING_TEST_F = {
    "empty or in ballast": 0.88,
    "liquids 20 % of load": 0.78,
    "liquids 10 % of load": 0.75,
    "liquids 5 % of load": 0.73,
    "double-boom shrimper": 0.95,
    "deep-sea fishing": 0.80,
    "with live-fish well": 0.60,
}
"""Factor f of the rolling test, ships up to 70 m: IMO A.749(18) Annex 3; scatter of +-0.05 (TP 2072)."""


def natural_period(radius: float, gm: float) -> float:
    """Natural roll period, s, from radius of gyration and GM, m.

    >>> round(natural_period(4.0, 0.6), 2)
    10.36
    """
    return 2.0 * math.pi * radius / math.sqrt(STANDARD_GRAVITY * gm)


def rolling_test_gm(breadth: float, period: float, f: float) -> float:
    """GM by the rolling test, m: (f B / T)^2 (IMO A.749(18) Annex 3).

    >>> round(rolling_test_gm(10.0, 8.0, 0.88), 2)
    1.21
    """
    return (f * breadth / period) ** 2


def radius_of_f(f: float) -> float:
    """k/B that belongs to a factor f: f sqrt(g) / (2 pi).

    >>> round(radius_of_f(0.88), 3)
    0.439
    """
    return f * math.sqrt(STANDARD_GRAVITY) / (2.0 * math.pi)


def roll_period(day: DayHeel | None) -> Maybe[Quantified]:
    """Natural roll period of the day, s."""
    if day is None or not math.isfinite(day.roll.period):
        return Maybe(None, "no roll could be made out in the record")
    return Maybe(Quantified(day.roll.period, day.roll.period_u, unit="s", note="as moored, from the whole record"))


def gyration(period: Maybe[Quantified], gm: Quantified, breadth: float | None) -> Maybe[Quantified]:
    """k/B from period and GM: k = T sqrt(g GM) / (2 pi), added mass included."""
    if period.value is None:
        return Maybe(None, period.reason)
    if breadth is None:
        return Maybe(None, "vessel.breadth_m is not given")
    if not gm.value > 0:
        return Maybe(None, "GM is not above 0")
    ratio = period.value.value * math.sqrt(STANDARD_GRAVITY * gm.value) / (2.0 * math.pi) / breadth
    by_period = ratio * period.value.u / period.value.value
    by_gm = ratio * 0.5 * gm.u / gm.value
    lines = (BudgetLine("roll period", by_period), BudgetLine("GM", by_gm))
    return Maybe(Quantified(ratio, math.hypot(by_period, by_gm), budget=lines, note="added mass included"))
