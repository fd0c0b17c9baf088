"""What the wind was taken to do to the heel: the wind that windows are referred to, and the heel that wind makes."""

from __future__ import annotations

import math

from dsp.types import DayHeel
from reduction.report.numbers import DEGREES, fixed, quantity
from reduction.types import Quantified

TOLD_AT = 10.0
"""m/s, the wind at which the heel that it makes is told."""


def wind_in_words(day: DayHeel, confidence: float, shown: Quantified | None = None) -> str:
    """Reference wind and coefficient, in words; empty where wind was not measured.

    Parameters
    ----------
    shown : rad per (m/s)^2, the coefficient that windows and moments showed together, where they did.
    """
    if not math.isfinite(day.wind_coefficient):
        return ""
    known = shown or Quantified(day.wind_coefficient, day.wind_coefficient_u)
    heel = quantity(known, "deg", TOLD_AT**2 * DEGREES, confidence)
    how = (
        "learnt from how heel follows gusts and, since a steady wind acts at another arm than gusts, from windows and "
        "moments together."
        if shown is not None
        else "learnt from how heel follows gusts, with half of it as standard uncertainty, since a steady wind acts at "
        "another arm than gusts."
    )
    return (
        f"Heels are referred to the mean wind of the windows, which pushes as {fixed(day.reference_wind, 1)} m/s from "
        f"abeam; what was taken off each window for its own wind stands in Annex B. A steady {TOLD_AT:g} m/s from "
        f"abeam is taken to heel her by {heel}, and other winds in the square of their speed: {how}"
    )


def correction(day: DayHeel, taken_off: float) -> str:
    """Heel taken off a window for its wind, thousandths of a degree; a dash where there was nothing to correct."""
    return fixed(1e3 * taken_off * DEGREES, 1) if taken_off and math.isfinite(day.wind_coefficient) else "–"
