"""Roll period against GM: an independent check by the radius of gyration.

T = 2 pi k / sqrt(g GM) (Derrett and Barrass, p. 292).
"""

from __future__ import annotations

import math

from config.units import STANDARD_GRAVITY
from dsp.types import BudgetLine, DayHeel
from reduction.types import Maybe, Quantified


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
