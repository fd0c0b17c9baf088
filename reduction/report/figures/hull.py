"""The waterline as read on the profile of the vessel, and KG against what is allowed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from reduction.report.document import Picture
from reduction.report.figures.canvas import (
    ACCENT,
    ALARM,
    INK,
    RULE,
    SOFT,
    TONE_COLOUR,
    TONE_MARKER,
    Look,
    bare,
    picture,
    short,
)
from reduction.report.words import WORDS
from reduction.types import ConditionAnswer, Waterline

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def waterline_profile(waterline: Waterline, length: float) -> Picture:
    """Draw every draught and freeboard reading less the list, on the fitted waterline, and their residuals."""
    tan_list = np.tan(waterline.list.value)

    def draw(figure: Figure, look: Look) -> None:
        top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=(1.4, 1.0))
        x = np.linspace(0.0, length, 100)
        forward, aft, hog = waterline.draught_forward.value, waterline.draught_aft.value, waterline.hog.value
        along = x / length
        # Straight line of the ends, less a parabola: a hogged keel lies higher amidships, so it is less deep there.
        top.plot(x, aft + (forward - aft) * along - 4.0 * hog * along * (1.0 - along), color=ACCENT)
        top.plot(x, aft + (forward - aft) * along, color=RULE, linestyle="--", linewidth=0.8)
        bare(top, y="above baseline, m")
        bare(bottom, x="forward of aft perpendicular, m", y="off the fit, mm")
        top.grid(True, axis="y")
        bottom.grid(True, axis="y")
        bottom.axhline(0, color=ACCENT)
        named: set[str] = set()
        for reading in waterline.readings:
            side = "starboard" if reading.y >= 0 else "port"
            colour = ALARM if not reading.used else (INK if side == "starboard" else SOFT)
            marker = "x" if not reading.used else ("o" if reading.kind == "draught" else "s")
            face = colour if side == "starboard" or not reading.used else "none"
            label = "left out" if not reading.used else f"{reading.kind}, {side}"
            style = {"marker": marker, "color": colour, "markerfacecolor": face, "markersize": 4.5, "linestyle": "none"}
            level = reading.waterline_z - reading.y * tan_list
            top.plot(reading.x, level, **style, label="" if label in named else label)
            bottom.plot(reading.x, 1e3 * reading.residual, **style)
            named.add(label)
        reach = 1.6 * max((1e3 * abs(r.residual) for r in waterline.readings if r.used), default=10.0) + 2.0
        bottom.set_ylim(-reach, reach)
        for reading in waterline.readings:
            if not reading.used:
                edge = float(np.clip(1e3 * reading.residual, -0.82 * reach, 0.82 * reach))
                bottom.annotate(
                    f"{short(reading.label)}: {1e3 * reading.residual:+.0f} mm".replace("-", "−"),
                    (reading.x, edge),
                    (6, 0),
                    textcoords="offset points",
                    va="center",
                    color=ALARM,
                    fontsize=look.font,
                )
        figure.legend(loc="outside upper left", ncols=2 if look.narrow else 5, handletextpad=0.3, columnspacing=1.2)
        figure.align_ylabels([top, bottom])

    return picture("waterline", draw, (7.2, 3.6), (3.9, 4.2))


def allowable_kg(conditions: tuple[ConditionAnswer, ...], confidence: float) -> Picture:
    """Draw KG of each condition with its interval beside the largest allowed, both as margin to the limit."""

    def draw(figure: Figure, look: Look) -> None:
        axes = figure.subplots()
        bare(axes, x="KG less the largest allowed, m   (left of the line is clear)")
        axes.axvline(0, color=ALARM, linewidth=1.4)
        for row, condition in enumerate(conditions):
            tone = WORDS.get(condition.verdict, ("open", ""))[0]
            axes.errorbar(
                -condition.margin,
                row,
                xerr=condition.kg.u95(confidence),
                fmt=TONE_MARKER[tone],
                color=TONE_COLOUR[tone],
                capsize=3,
                markersize=6,
            )
            axes.annotate(
                f"{short(condition.name, 40)}: {short(WORDS.get(condition.verdict, ('open', condition.verdict))[1])}",
                (0.0, row),
                (0, 9),
                xycoords=("axes fraction", "data"),
                textcoords="offset points",
                fontsize=look.font,
            )
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_ylim(len(conditions) - 0.6, -0.8)
        low, high = axes.get_xlim()
        pad = 0.12 * (high - low)
        axes.set_xlim(min(low, -pad) - pad, max(high, 0.0) + pad)
        axes.grid(True, axis="x")

    height = 0.7 + 0.48 * len(conditions)
    return picture("allowable-kg", draw, (7.2, height), (3.9, height))
