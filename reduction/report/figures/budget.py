"""Bars of the uncertainty budget: what to improve first is on top."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from reduction.report.document import Picture
from reduction.report.figures.canvas import ACCENT, INK, RULE, Look, bare, picture, short
from reduction.report.numbers import percent
from reduction.types import Quantified

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def shares(result: Quantified) -> list[tuple[str, float, float]]:
    """Say how much of the variance each source carries: (source, u, share), largest first; lines of nothing left out.

    >>> from dsp.types import BudgetLine
    >>> shares(Quantified(1.0, 5.0, budget=(BudgetLine("wind", 3.0), BudgetLine("scale", 4.0))))
    [('scale', 4.0, 0.64), ('wind', 3.0, 0.36)]
    """
    known = [(line.source, abs(line.u)) for line in result.budget if math.isfinite(line.u) and line.u != 0.0]
    total = sum(u**2 for _, u in known)
    return sorted(((source, u, u**2 / total) for source, u in known), key=lambda row: -row[2]) if total else []


SMALLEST_SHARE = 0.01
"""Sources with less of the variance than this are drawn and printed together."""


def gathered(result: Quantified) -> list[tuple[str, float, float, str]]:
    """Rank the sources as (source, u, share, names of the sources in it), the small ones put together at the end.

    >>> from dsp.types import BudgetLine
    >>> lines = (BudgetLine("wind", 3.0), BudgetLine("roll", 0.1), BudgetLine("noise", 0.1))
    >>> [(source, round(u, 3)) for source, u, _, _ in gathered(Quantified(1.0, 3.0, budget=lines))]
    [('wind', 3.0), ('2 smaller sources', 0.141)]
    """
    ranked = shares(result)
    large = [(source, u, share, source) for source, u, share in ranked if share >= SMALLEST_SHARE]
    small = ranked[len(large) :]
    if len(small) < 2:
        return [(source, u, share, source) for source, u, share in ranked]
    total = math.sqrt(sum(u**2 for _, u, _ in small))
    names = ", ".join(source for source, _, _ in small)
    return [*large, (f"{len(small)} smaller sources", total, sum(share for _, _, share in small), names)]


def budget_bars(name: str, result: Quantified, unit: str, factor: float = 1.0, most: int = 8) -> Picture:
    """Draw the standard uncertainty of each source of one result, the largest first."""
    rows = gathered(result)[:most]
    if unit == "m":
        unit, factor = "mm", 1e3 * factor

    def draw(figure: Figure, look: Look) -> None:
        axes = figure.subplots()
        bare(axes, x=f"standard uncertainty, {unit}")
        places = list(range(len(rows)))
        sizes = [u * factor for _, u, _, _ in rows]
        axes.barh(places, sizes, height=0.5, color=[ACCENT] + [RULE] * (len(rows) - 1))
        for place, (source, _, share, _) in enumerate(rows):
            axes.annotate(
                f"{short(source, 44)}, {percent(share)}",
                (0, place),
                (0, 8.5),
                textcoords="offset points",
                va="bottom",
                fontsize=look.font,
                color=INK,
            )
        axes.locator_params(axis="x", nbins=5)
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_ylim(len(rows) - 0.5, -0.9)

    height = 0.55 + 0.36 * len(rows)
    return picture(name, draw, (7.2, height), (3.9, height))
