"""Pendulum and U-tube read by a person: deflections in millimetres to heel."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from config.stations import Station
from config.units import COVERAGE_95

ASSUMED_READING_U95_MM = 2.0
"""Interval of one read deflection where the plan gives none (common practice: a batten is read to 1 mm, on a bob that
never quite stands still)."""


ASSUMED_SWING_DEG = 0.25
"""Half swing taken where a single deflection was read and no swing of that device all day (judgement: what a vessel
rolls at a quiet berth)."""


@dataclass(frozen=True)
class HandReading:
    """Heel from one set of read deflections."""

    heel: float
    """rad, starboard side down is positive, against ``zero_mm``."""
    u: float
    """rad, standard uncertainty: reading of the scale, and scatter between swings where there are enough."""
    mean_mm: float
    """Mean deflection."""
    zero_mm: float
    """Deflection taken as upright."""
    assumed: str = ""
    """What had to be assumed; empty if nothing."""


def swing_mean(deflections_mm: Sequence[float], u_mm: float) -> tuple[float, float]:
    """Mean position from the turning points of successive swings.

    Parameters
    ----------
    deflections_mm : (n,) readings of the scale at successive turning points (highest, lowest, highest, ...), or a
        single steady reading.
    u_mm : standard uncertainty of one reading.

    Returns
    -------
    Mean, mm, and its standard uncertainty, mm.

    Notes
    -----
    Each pair of neighbours has a midpoint, and the mean of midpoints weighs the turning points 1, 2, 2, ..., 2, 1.
    For an amplitude that decays slowly the mean of three or more turning points errs by the second difference of the
    amplitude only. With four or more, what the midpoints scatter beyond reading is added
    (docs/method-timing.md, section on hand-read devices).

    >>> swing_mean([143, 151], 0.5)
    (147.0, 0.3535533905932738)
    """
    x = np.asarray(deflections_mm, dtype=np.float64)
    if x.size == 1:
        return float(x[0]), u_mm
    weights = np.full(x.size, 2.0)
    weights[[0, -1]] = 1.0
    weights /= weights.sum()
    mean = float(weights @ x)
    variance = u_mm**2 * float(weights @ weights)
    middles = (x[1:] + x[:-1]) / 2.0
    if x.size >= 4:
        # Neighbouring midpoints share a turning point: every second one is independent.
        scatter = float(np.var(middles, ddof=1)) - u_mm**2 / 2.0
        variance += max(0.0, scatter) / ((middles.size + 1) // 2)
    return mean, math.sqrt(variance)


def half_swing(station: Station, readings: Iterable[Sequence[float]]) -> float:
    """Half swing of a device, mm: the widest between neighbours of all its readings, `ASSUMED_SWING_DEG` without any.

    >>> half_swing(Station(name="pendulum", kind="pendulum", length_m=4.5), [[143, 151, 145], [20]])
    4.0
    """
    widths = [abs(b - a) / 2.0 for one in readings for a, b in pairwise(one)]
    return max(widths, default=(station.length_m or 0.0) * 1000.0 * math.radians(ASSUMED_SWING_DEG))


def hand_heel(
    station: Station,
    deflections_mm: Sequence[float],
    *,
    zero_mm: float = 0.0,
    one_leg: bool = False,
    swing_mm: float = 0.0,
) -> HandReading:
    """Heel from what was read on a pendulum's batten or a U-tube's legs.

    Parameters
    ----------
    station : kind ``pendulum`` (length from suspension to batten) or ``u_tube`` (distance between the legs).
    deflections_mm : turning points of successive swings, or one steady reading. Pendulum: along the batten, to
        starboard positive. U-tube: level in the starboard leg minus level in the port leg.
    zero_mm : reading that counts as upright. It matters little, since every fit gives each station its own offset, but
        a batten whose zero lies at its end needs it: the tangent is taken from here.
    one_leg : U-tube read at the starboard leg only, which rises by half the difference.
    swing_mm : half swing about the mean. A single deflection may be the end of one: it is uncertain by as much.

    Notes
    -----
    tan(heel) = deflection / length. For a channel whose ``positive`` is ``port`` the sign is turned.

    Raises
    ------
    ValueError for a station that is not read by hand.

    >>> pendulum = Station(name="pendulum", kind="pendulum", length_m=4.5, reading_u95_mm=1.0)
    >>> round(math.degrees(hand_heel(pendulum, [160, 154]).heel), 4)
    1.9982
    """
    if station.kind not in ("pendulum", "u_tube") or station.length_m is None:
        raise ValueError(f"{station.name} is a {station.kind}, not a pendulum or U-tube")
    given = station.reading_u95_mm
    u_mm = (ASSUMED_READING_U95_MM if given is None else given) / COVERAGE_95
    mean, u = swing_mean(deflections_mm, u_mm)
    if len(deflections_mm) == 1:
        u = math.hypot(u, swing_mm)
    factor = 2.0 if one_leg and station.kind == "u_tube" else 1.0
    sign = -1.0 if any(c.quantity == "heel" and c.positive == "port" for c in station.channels) else 1.0
    length_mm = station.length_m * 1000.0
    tangent = sign * factor * (mean - zero_mm) / length_mm
    assumed = "" if given is not None else f"{station.name}: reading taken as good to {ASSUMED_READING_U95_MM:g} mm"
    return HandReading(math.atan(tangent), factor * u / length_mm / (1.0 + tangent**2), mean, zero_mm, assumed)
