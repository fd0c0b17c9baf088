"""Small pictures of what a check saw."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from config.units import DEGREE
from dsp.types import Array, Check
from reduction.report.document import Picture
from reduction.report.figures.canvas import (
    INK,
    RULE,
    STATION_COLOURS,
    STATION_DASHES,
    TONE_COLOUR,
    Look,
    bare,
    picture,
)
from reduction.report.words import reason_words, verdict_tone
from reduction.types import WindowPoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_OTHER_UNITS = {"speed": "m/s", "wind": "m/s", "tension": "kN", "pressure": "(m/s)²", "statistic": "", "whitened": ""}
"""Curves of a check that are no angles: what their name starts with, and the unit drawn."""
MOST_POINTS = 400
"""A longer curve is thinned before it is drawn."""


def drawable(check: Check) -> bool:
    """Whether a check brought a time and at least one curve along it."""
    time = check.evidence.get("time")
    return time is not None and time.size > 1 and bool(_curves(check))


def evidence(point: WindowPoint, check: Check, epoch_ns: int) -> Picture:
    """Draw the curves of one check of one window; angles and other quantities in panels of their own."""
    opened = (point.start_ns - epoch_ns) / 1e9
    panels: dict[str, list[tuple[str, Array]]] = {}
    for name, curve in _curves(check).items():
        panels.setdefault(_unit(name), []).append((name, curve))

    def draw(figure: Figure, look: Look) -> None:
        axes = np.atleast_1d(figure.subplots(len(panels), 1, sharex=True))
        for ax, (unit, curves) in zip(axes, panels.items(), strict=True):
            _panel(ax, check.evidence["time"] - opened, unit, curves)
        axes[-1].set_xlabel("s from window opened")
        tone = verdict_tone(check.verdict)
        axes[0].set_title(f"{point.label}: {reason_words(check.code)}", color=TONE_COLOUR[tone])
        figure.align_ylabels(list(axes))
        del look

    height = 0.8 + 1.25 * len(panels)
    return picture(f"evidence-{point.label}-{check.code}", draw, (7.2, height), (3.9, height))


def _panel(axes: Axes, time: Array, unit: str, curves: list[tuple[str, Array]]) -> None:
    bare(axes, y="heel, deg" if unit == "deg" else unit)
    axes.grid(True, axis="y")
    keep = slice(None, None, max(1, time.size // MOST_POINTS))
    for number, (name, curve) in enumerate(curves):
        factor = {"deg": 1.0 / DEGREE, "kN": 1e-3}.get(unit, 1.0)
        first = number == 0 and len(curves) > 1
        axes.plot(
            time[keep],
            curve[keep] * factor,
            color=RULE if first else STATION_COLOURS[(number - 1) % len(STATION_COLOURS)] if len(curves) > 1 else INK,
            linestyle="-" if first else STATION_DASHES[(number - 1) % len(STATION_DASHES)],
            linewidth=0.9 if first else 1.5,
            label=name.replace("_", " "),
        )
    if len(curves) > 1:
        axes.legend(loc="best", handlelength=1.8)


def _curves(check: Check) -> dict[str, Array]:
    size = check.evidence.get("time", np.zeros(0)).size
    return {name: curve for name, curve in check.evidence.items() if name != "time" and curve.size == size}


def _unit(name: str) -> str:
    return next((unit for start, unit in _OTHER_UNITS.items() if start in name), "deg")
