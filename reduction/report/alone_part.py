"""GM as each station alone would give it: the hand-read one against the electronic ones, at a glance."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from config.units import COVERAGE_95
from reduction.report.document import Cell, Column, Table
from reduction.report.numbers import DEGREES, fixed, shown
from reduction.types import Answer

FEWEST = 3
"""Windows of a station that a line is drawn through."""
NOTE = (
    "Plain straight line of each station through the windows used, to compare stations with one another; not carried "
    "on. Its half width at 95 % is that of the station's own readings alone, without displacement, moments and scale. "
    "Together they are referred to the mean wind, each alone is not. A station whose scale, length or sign is wrong "
    "stands off the others here."
)
COLUMNS = (
    Column("station", weight=1),
    Column("windows", "right"),
    Column("GM, m", "right"),
    Column("against all, %", "right"),
    Column("scatter, 0.001 deg", "right"),
)


def line_alone(
    moment: Sequence[float], heel: Sequence[float], u: Sequence[float], displacement: float
) -> tuple[float, float, float] | None:
    """GM (m), its standard uncertainty from ``u`` alone, and the scatter (rad) about the line; None without a slope.

    Parameters
    ----------
    moment : kg m to starboard. heel, u : rad, window by window. displacement : kg.

    >>> gm, u, scatter = line_alone([-1e5, 0.0, 1e5], [-0.05, 0.001, 0.052], [1e-4] * 3, 1.6e6)
    >>> round(gm, 3), scatter < 1e-4
    (1.224, True)
    """
    if len(moment) < FEWEST:
        return None
    x, y, own = np.asarray(moment) / displacement, np.tan(np.asarray(heel)), np.asarray(u)
    dx = x - x.mean()
    spread = float(np.sum(dx * dx))
    slope = float(np.sum(dx * y)) / spread if spread > 0.0 else 0.0
    if slope == 0.0:
        return None
    left = y - y.mean() - slope * dx
    u_slope = math.sqrt(float(np.sum((dx * own) ** 2))) / spread
    return 1.0 / slope, u_slope / slope**2, math.sqrt(float(np.sum(left**2)) / (len(x) - 2))


def alone_table(answer: Answer, displacement: float) -> Table | None:
    """GM by each station alone, a change of list taken off; None without windows, or with one station only."""
    result, day = answer.gm.value, answer.day
    if result is None or day is None or not math.isfinite(displacement):
        return None
    moment = {p.label: p.moment for p in result.points if p.used}
    change = {p.label: p.list_change for p in result.points}
    windows = [w for w in day.windows if w.span.label in moment]
    found: dict[str, list[tuple[float, float, float]]] = {}
    for window in windows:
        for s in window.stations:
            if math.isfinite(s.heel):
                found.setdefault(s.station, []).append(
                    (moment[window.span.label], s.heel - change[window.span.label], s.u)
                )
    together = [w.heel - change[w.span.label] for w in windows]
    whole = line_alone([moment[w.span.label] for w in windows], together, [w.u for w in windows], displacement)
    if whole is None or len(found) < 2:
        return None
    rows = [("all that are used, together", len(windows), whole)]
    for name, read in found.items():
        moments, heels, us = zip(*read, strict=True)
        alone = line_alone(moments, heels, us, displacement)
        if alone is not None:
            rows.append((name, len(read), alone))
    cells: tuple[tuple[Cell, ...], ...] = tuple(
        (
            name,
            str(count),
            str(shown(gm, COVERAGE_95 * u, "")),
            "–" if number == 0 else fixed(100.0 * (gm / whole[0] - 1.0), 2),
            fixed(1e3 * scatter * DEGREES, 1),
        )
        for number, (name, count, (gm, u, scatter)) in enumerate(rows)
    )
    return Table("GM by each station alone", COLUMNS, cells, NOTE)
