"""Numbers as they are printed: rounded by their interval, always with it and with the unit."""

from __future__ import annotations

import math
from dataclasses import dataclass

from config.units import DEGREE, TONNE
from reduction.types import Quantified

MINUS = "\N{MINUS SIGN}"
HARD_SPACE = "\N{NO-BREAK SPACE}"
METRES, DEGREES, TONNES, TONNE_METRES = 1.0, 1.0 / DEGREE, 1.0 / TONNE, 1.0 / TONNE
"""Factors from SI inside to the unit at the door."""


@dataclass(frozen=True)
class Shown:
    """One value ready to print."""

    value: str
    interval: str
    """Half width; empty where it is not known."""
    unit: str
    low: str = ""
    high: str = ""

    def __str__(self) -> str:
        unit = f"{HARD_SPACE}{self.unit}" if self.unit else ""
        if not self.interval:
            return f"{self.value}{unit}"
        return f"{self.value}{HARD_SPACE}±{HARD_SPACE}{self.interval}{unit}"

    @property
    def span(self) -> str:
        """``from 1.199 to 1.223 m``; says so where no interval is known."""
        if not self.interval:
            return "interval not known"
        return f"from {self.low} to {self.high}{HARD_SPACE}{self.unit}".rstrip()


def decimals_for(u95: float) -> int | None:
    """How many decimals leave two significant digits of an interval; None without a usable interval.

    >>> decimals_for(0.0123), decimals_for(0.0996), decimals_for(123.0), decimals_for(float("nan"))
    (3, 2, -1, None)
    """
    if not math.isfinite(u95) or u95 <= 0.0:
        return None
    return 1 - int(f"{u95:.1e}".partition("e")[2])


def fixed(value: float, decimals: int) -> str:
    """Print with so many decimals (negative: rounded to tens, hundreds) and a true minus sign.

    >>> fixed(1234.5, -1), fixed(2.0, 2), fixed(float("nan"), 1)
    ('1230', '2.00', '–')
    """
    if not math.isfinite(value):
        return "–"
    text = f"{round(value, decimals):.{max(decimals, 0)}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text.replace("-", MINUS)


def shown(value: float, u95: float, unit: str, factor: float = 1.0) -> Shown:
    """Round a value by its interval: two significant digits of ``u95``.

    Parameters
    ----------
    value, u95 : in the unit inside; both are multiplied by ``factor``.
    unit : the unit printed.

    >>> str(shown(1.21134, 0.01234, "m")).replace(HARD_SPACE, " ")
    '1.211 ± 0.012 m'
    >>> str(shown(1150400.0, 5230.0, "t", TONNES)).replace(HARD_SPACE, " ")
    '1150.4 ± 5.2 t'
    >>> str(shown(4.318, float("nan"), "m")).replace(HARD_SPACE, " ")
    '4.318 m'
    """
    value, u95 = value * factor, u95 * factor
    decimals = decimals_for(u95)
    if decimals is None or not math.isfinite(value):
        return Shown(significant(value), "", unit)
    return Shown(
        fixed(value, decimals),
        fixed(u95, decimals),
        unit,
        fixed(value - u95, decimals),
        fixed(value + u95, decimals),
    )


def significant(value: float, digits: int = 4) -> str:
    """Print a value whose interval is not known, to so many significant digits.

    >>> significant(0.0012345), significant(-12.0), significant(118.04), significant(0.0)
    ('0.001234', '−12', '118', '0')
    """
    if not math.isfinite(value):
        return "–"
    text = f"{value:.{digits}g}"
    if "e" in text:
        text = f"{float(text):.12f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{float(text):.0f}"
    return text.replace("-", MINUS)


def quantity(result: Quantified, unit: str, factor: float = 1.0, confidence: float = 0.95) -> Shown:
    """Print a result with its interval at ``confidence``."""
    return shown(result.value, result.u95(confidence), unit, factor)


def percent(fraction: float, digits: int = 2) -> str:
    """Print a fraction as per cent.

    >>> percent(0.00512).replace(HARD_SPACE, " ")
    '0.51 %'
    """
    return f"{significant(100.0 * fraction, digits)}{HARD_SPACE}%"


def confidence_words(confidence: float) -> str:
    """Print the coverage, such as ``95 %``."""
    return percent(confidence, 3)
