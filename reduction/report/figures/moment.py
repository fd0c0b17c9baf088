"""The moment-tangent plot with its residuals."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from config.units import DEGREE, TONNE
from dsp.types import Array
from reduction.report.document import Picture
from reduction.report.figures.canvas import (
    ACCENT,
    INK,
    SOFT,
    TONE_COLOUR,
    TONE_MARKER,
    Look,
    bare,
    picture,
    short,
)
from reduction.report.words import verdict_tone
from reduction.types import GmResult, WindowPoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def moment_tangent(gm: GmResult, displacement: float, name: str = "moment-tangent") -> Picture:
    """Draw tangent of heel against moment, and below it what each window is off the carried fit.

    Parameters
    ----------
    gm : both fits with every window.
    displacement : kg; NaN leaves the fitted line out.
    """

    def draw(figure: Figure, look: Look) -> None:
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(1.9, 1.0))
        for axes in (top, bottom) if look.narrow else ():
            axes.set_xmargin(0.12)  # room for the names of the outermost windows
        _points(top, gm, displacement, look)
        _residuals(bottom, gm, look)
        figure.align_ylabels([top, bottom])

    return picture(name, draw, (7.2, 5.1), (3.9, 5.2))


def _points(axes: Axes, gm: GmResult, displacement: float, look: Look) -> None:
    points = [p for p in gm.points if math.isfinite(p.heel)]
    bare(axes, y="tangent of heel")
    axes.grid(True)
    axes.axhline(0, color=SOFT, linewidth=0.6)
    axes.axvline(0, color=SOFT, linewidth=0.6)
    if points and math.isfinite(displacement):
        moments = np.array([p.moment for p in points])
        reach = np.linspace(moments.min(), moments.max(), 200) if moments.size else moments
        slope = 1.0 / (gm.line.value * displacement)
        tangent = math.tan(_list(gm)) + reach * slope
        line, curve = ("line", "curve") if look.narrow else ("straight line, GM", "true curve, GM")
        fitted = true_curve(gm)
        carried_on = ", carried on"
        axes.plot(
            reach / TONNE,
            tangent,
            color=ACCENT,
            linestyle="--" if fitted is not None and gm.carried == "curve" else "-",
            label=f"{line} {gm.line.value:.3f} m{carried_on if gm.carried == 'line' else ''}",
        )
        if fitted is not None and gm.curve.value is not None:
            axes.plot(
                reach / TONNE,
                np.tan(fitted(reach)),
                color=INK,
                linewidth=0.9,
                linestyle="-" if gm.carried == "curve" else "--",
                label=f"{curve} {gm.curve.value.value:.3f} m{carried_on if gm.carried == 'curve' else ''}",
            )
    for point in points:
        tone = verdict_tone(point.verdict)
        axes.plot(
            point.moment / TONNE,
            math.tan(point.heel),
            TONE_MARKER[tone],
            color=TONE_COLOUR[tone],
            markersize=6.5 if tone != "fine" else 5.0,
            markerfacecolor=TONE_COLOUR[tone] if point.used else "none",
        )
    for point, (dx, dy, side) in zip(points, _places(points), strict=True):
        axes.annotate(
            short(point.label, 8),
            (point.moment / TONNE, math.tan(point.heel)),
            (dx, dy),
            textcoords="offset points",
            ha=side,
            va="center",
            fontsize=look.font,
            color=INK if point.used else TONE_COLOUR[verdict_tone(point.verdict)],
        )
    degrees = axes.secondary_yaxis(
        "right", functions=(lambda t: np.arctan(t) / DEGREE, lambda heel: np.tan(np.asarray(heel) * DEGREE))
    )
    degrees.set_ylabel("heel, degrees" + ("" if look.narrow else " (starboard down positive)"))
    degrees.spines["right"].set_visible(False)
    if axes.get_legend_handles_labels()[1]:
        axes.legend(loc="upper left", handlelength=1.6)


def true_curve(gm: GmResult) -> Callable[[Array], Array] | None:
    """Heel (rad) of the true curve over moment (kg m): a cubic through what the fit gives at each window.

    None without a curve. The righting arm bends with the cube of heel, which a cubic follows to far below a hair's
    breadth of the drawing.
    """
    found = [p for p in gm.points if math.isfinite(p.heel) and math.isfinite(p.residual_curve)]
    moments = np.array([p.moment for p in found])
    degree = min(3, np.unique(moments).size - 1)
    if gm.curve.value is None or degree < 1:
        return None
    fitted = np.polynomial.Polynomial.fit(moments, [p.heel - p.residual_curve for p in found], degree)
    return lambda moment: np.asarray(fitted(moment), dtype=float)


def _other_fit(axes: Axes, gm: GmResult, look: Look) -> None:
    """The fit that is not carried on, as it lies off the carried one."""
    both = [p for p in gm.points if math.isfinite(p.residual_curve) and math.isfinite(p.residual_line)]
    moments = np.array([p.moment for p in both])
    degree = min(3, np.unique(moments).size - 1)
    if gm.curve.value is None or degree < 1:
        return
    apart = [p.residual_curve - p.residual_line for p in both]  # line less curve
    sign, colour, name = (1.0, ACCENT, "straight line") if gm.carried == "curve" else (-1.0, INK, "true curve")
    name = name.split()[1] if look.narrow else name
    fitted = np.polynomial.Polynomial.fit(moments, [sign * value for value in apart], degree)
    reach = np.linspace(moments.min(), moments.max(), 200)
    axes.plot(reach / TONNE, 1e3 * fitted(reach) / DEGREE, color=colour, linestyle="--", linewidth=0.9)
    places = np.unique(moments)
    widest = places.size - 2 - int(np.argmax(np.diff(places)[::-1].round()))  # the last of equal gaps: clear of windows
    at = 0.5 * float(places[widest] + places[widest + 1])
    axes.annotate(
        name,
        (at / TONNE, 0.0),
        (0, -8 if fitted(at) >= 0.0 else 8),  # across from the curve itself
        textcoords="offset points",
        ha="center",
        va="center",
        fontsize=look.font,
        color=colour,
    )


def _places(points: list[WindowPoint]) -> list[tuple[float, float, str]]:
    """Put labels of windows at the same moment side by side instead of on one another."""
    seen: dict[int, int] = {}
    span = max((abs(p.moment) for p in points), default=1.0) or 1.0
    places: list[tuple[float, float, str]] = []
    for point in points:
        slot = round(20.0 * point.moment / span)
        turn = seen.get(slot, 0)
        seen[slot] = turn + 1
        right = turn % 2 == 0
        places.append((7.0 if right else -7.0, -8.0 if right else 8.0, "left" if right else "right"))
        if turn >= 2:
            places[-1] = (7.0 + 11.0 * (turn - 1), -8.0, "left")
    return places


def _residuals(axes: Axes, gm: GmResult, look: Look) -> None:
    curve = gm.carried == "curve"
    bare(axes, x="moment to starboard, t m", y="off the " + ("curve" if curve else "line") + ",\n0.001 degrees")
    axes.grid(True, axis="y")
    axes.axhline(0, color=INK if curve else ACCENT, linewidth=1.0)
    _other_fit(axes, gm, look)
    finite: list[float] = []
    for point in gm.points:
        residual = point.residual_curve if curve else point.residual_line
        if not math.isfinite(residual):
            continue
        tone = verdict_tone(point.verdict)
        off, half = 1e3 * residual / DEGREE, 1e3 * point.own95() / DEGREE
        if point.used:
            finite.append(abs(off) + (half if math.isfinite(half) else 0.0))
        axes.errorbar(
            point.moment / TONNE,
            off,
            yerr=half if math.isfinite(half) else None,
            fmt=TONE_MARKER[tone],
            color=TONE_COLOUR[tone],
            markersize=6.0 if tone != "fine" else 4.5,
            markerfacecolor=TONE_COLOUR[tone] if point.used else "none",
            elinewidth=0.9,
            capsize=2.0,
        )
    _limits(axes, gm, max(finite, default=1.0), curve, look)


def _limits(axes: Axes, gm: GmResult, reach: float, curve: bool, look: Look) -> None:
    """Scale by the windows that count; a rejected one far off is named at the edge instead of flattening the rest."""
    reach *= 1.5
    axes.set_ylim(-reach, reach)
    moments = [point.moment for point in gm.points]
    middle = 0.5 * (min(moments, default=0.0) + max(moments, default=0.0))
    seen: dict[tuple[bool, int], int] = {}
    for point in gm.points:
        residual = 1e3 * (point.residual_curve if curve else point.residual_line) / DEGREE
        if math.isfinite(residual) and abs(residual) > reach:
            up, inwards = residual > 0, 1 if point.moment <= middle else -1
            place = up, round(point.moment)
            row = seen[place] = seen.get(place, 0) + 1
            edge = (point.moment / TONNE, reach if up else -reach)
            colour = TONE_COLOUR[verdict_tone(point.verdict)]
            arrow = {"arrowstyle": "->", "color": colour, "linewidth": 0.8, "shrinkA": 0.0, "shrinkB": 0.0}
            axes.annotate("", edge, (0, -12 if up else 12), textcoords="offset points", arrowprops=arrow)
            axes.annotate(
                f"{short(point.label, 8)}: {residual:+.0f}".replace("-", "−"),
                edge,
                (7 * inwards, (-1 if up else 1) * (8 + (row - 1) * (look.font + 2))),  # beside its bar, off the frame
                textcoords="offset points",
                ha="left" if inwards > 0 else "right",
                va="center",
                fontsize=look.font,
                color=colour,
            )


def _list(gm: GmResult) -> float:
    return gm.list_upright.value if math.isfinite(gm.list_upright.value) else 0.0
