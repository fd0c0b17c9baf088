"""Small pictures of what a check saw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from config.units import COVERAGE_95, DEGREE
from dsp.types import Array, Check
from reduction.report.document import Picture
from reduction.report.figures.canvas import (
    ACCENT,
    ALARM,
    INK,
    SOFT,
    STATION_COLOURS,
    STATION_DASHES,
    TONE_COLOUR,
    Look,
    bare,
    picture,
    short,
)
from reduction.report.words import reason_words, verdict_tone
from reduction.types import WindowPoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_POINTS = 500
"""A longer curve is thinned before it is drawn."""


@dataclass(frozen=True)
class Curve:
    """How one named array of a check is drawn."""

    label: str
    unit: str = "deg"
    style: str = "seen"
    """``seen`` (thin and grey: what was measured), ``found`` (strong: what the check made of it) or ``dots``."""
    clock: str = "time"
    """Name of the array that holds its times."""
    threshold: bool = False
    """Whether the check's threshold is on the same scale."""


CURVES = {
    "heel": Curve("heel"),
    "low": Curve("heel without roll"),
    "roll": Curve("roll"),
    "step": Curve("step found", style="found"),
    "line": Curve("drift found", style="found"),
    "transient": Curve("dying roll found", style="found"),
    "wind_part": Curve("what the wind makes", style="found"),
    "spikes": Curve("spikes", style="dots"),
    "stuck": Curve("stood still", style="dots"),
    "cut": Curve("cut off", style="dots"),
    "amplitude": Curve("amplitude of roll", style="found", clock="period_time"),
    "push": Curve("push in each period", style="dots", clock="period_time"),
    "score": Curve("size of a step at this time", "standard\nuncertainties", "found", "step_time", threshold=True),
    "pressure": Curve("wind pressure abeam", "(m/s)²"),
    "tension": Curve("line tension", "kN", threshold=True),
}
"""Arrays that checks bring as evidence and that are drawn over time; others are figures for the record."""
FACTORS = {"deg": 1.0 / DEGREE, "kN": 1e-3}


def drawable(check: Check) -> bool:
    """Whether a check brought anything that can be drawn."""
    return bool(_panels(check)) or _periods(check) or _between_windows(check)


def evidence(name: str, point: WindowPoint, check: Check, epoch_ns: int) -> Picture:
    """Draw what one check of one window saw; each unit in a panel of its own."""
    opened, lasts = (point.start_ns - epoch_ns) / 1e9, (point.stop_ns - point.start_ns) / 1e9
    panels = _panels(check)
    # A step soon after opening is told by the level before.
    begins = min(0.0, float(check.evidence["time"][0]) - opened) if "step" in check.evidence else 0.0

    with_period = _periods(check)
    rows = len(panels) + with_period

    def draw(figure: Figure, look: Look) -> None:
        axes = np.atleast_1d(figure.subplots(max(rows, 1), 1))
        for ax, (unit, names) in zip(axes, panels.items(), strict=False):
            _panel(ax, check, unit, names, opened)
            ax.set_xlim(begins, lasts)
            if begins < 0.0:
                ax.axvspan(begins, 0.0, color=SOFT, alpha=0.15, linewidth=0.0)
        if panels:
            axes[len(panels) - 1].set_xlabel("s from window opened" + (", grey: before" if begins < 0.0 else ""))
        if with_period:
            _period(axes[-1], check)
        if not rows:
            _windows(axes[0], check, opened)
        axes[0].set_title(
            f"{short(point.label)}: {short(reason_words(check.code), 60)}",
            color=TONE_COLOUR[verdict_tone(check.verdict)],
        )
        figure.align_ylabels(list(axes))
        del look

    height = 0.75 + 1.2 * max(rows, 1)
    return picture(name, draw, (7.2, height), (3.9, height + 0.2))


def _panel(axes: Axes, check: Check, unit: str, names: list[str], opened: float) -> None:
    alone = _curve(names[0]).label if len(names) == 1 else "heel"
    bare(axes, y=f"{alone}, {unit}" if unit in ("deg", "kN") else unit)
    axes.grid(True, axis="y")
    strong = 0
    for name in names:
        curve = _curve(name)
        time, value = check.evidence[curve.clock] - opened, check.evidence[name] * FACTORS.get(unit, 1.0)
        keep = slice(None, None, max(1, time.size // MOST_POINTS) if curve.style != "dots" else 1)
        if curve.style == "seen":
            axes.plot(time[keep], value[keep], color=SOFT, linewidth=0.7, label=curve.label)
        elif curve.style == "dots":
            axes.plot(time, value, "x", color=ALARM, markersize=4.0, label=curve.label)
        else:
            axes.plot(
                time[keep],
                value[keep],
                color=STATION_COLOURS[strong % len(STATION_COLOURS)],
                linestyle=STATION_DASHES[strong % len(STATION_DASHES)],
                linewidth=1.5,
                label=curve.label,
            )
            strong += 1
        if curve.threshold and np.isfinite(check.threshold):
            limit = check.threshold * FACTORS.get(unit, 1.0)
            for place in (limit, -limit) if float(np.nanmin(value)) < 0 else (limit,):
                axes.axhline(place, color=ALARM, linewidth=0.9, linestyle=":")
    if len(names) > 1:
        axes.legend(loc="upper left", bbox_to_anchor=(0.0, 1.02), ncols=3, handlelength=1.6, borderaxespad=0.0)
        low, high = axes.get_ylim()
        axes.set_ylim(low, high + 0.28 * (high - low))


def _period(axes: Axes, check: Check) -> None:
    """The roll period of this window beside that of the day."""
    bare(axes, x="roll period, s")
    axes.grid(True, axis="x")
    for row, (colour, marker) in enumerate(((ALARM, "x"), (ACCENT, "o"))):
        period, u = check.evidence["period"][row], check.evidence["period_u"][row]
        axes.errorbar(period, -row, xerr=COVERAGE_95 * u, fmt=marker, color=colour, capsize=2)
    axes.set_yticks([0, -1], ["this window", "the day"])
    axes.set_ylim(-1.6, 0.6)
    axes.spines["left"].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _windows(axes: Axes, check: Check, opened: float) -> None:
    """How far each window lies from the curve through the others, this one marked."""
    time = check.evidence["time"]
    order = np.arange(time.size)
    mine = int(np.argmin(np.abs(time - opened)))
    shift, half = (check.evidence[key] * 1e3 / DEGREE for key in ("shift", "shift_u"))
    used = check.evidence.get("used", np.ones(time.size)) > 0.5
    bare(axes, x="window, in order", y="off the others,\n0.001 deg")
    axes.grid(True, axis="y")
    axes.axhline(0, color=ACCENT)
    for number in order:
        axes.errorbar(
            number,
            shift[number],
            yerr=COVERAGE_95 * half[number],
            fmt="x" if number == mine else "o",
            color=ALARM if number == mine else INK,
            markerfacecolor=(ALARM if number == mine else INK) if used[number] else "none",
            markersize=7 if number == mine else 4.5,
            capsize=2,
        )
    axes.set_xticks(order)


def _periods(check: Check) -> bool:
    found = [check.evidence.get(name) for name in ("period", "period_u")]
    return all(value is not None and value.size == 2 and bool(np.isfinite(value).all()) for value in found)


def _between_windows(check: Check) -> bool:
    return {"time", "shift", "shift_u"} <= check.evidence.keys() and check.evidence["time"].size > 1


def _panels(check: Check) -> dict[str, list[str]]:
    """Arrays that can be drawn, by unit; what was measured comes first, so that findings lie over it."""
    panels: dict[str, list[str]] = {}
    for style in ("seen", "found", "dots"):
        for name, value in check.evidence.items():
            if not (name in CURVES or name.startswith("station ")) or _curve(name).style != style:
                continue
            time: Array | None = check.evidence.get(_curve(name).clock)
            if time is not None and value.size == time.size > 2:
                panels.setdefault(_curve(name).unit, []).append(name)
    return panels


def _curve(name: str) -> Curve:
    return CURVES.get(name) or Curve(short(name.removeprefix("station ")), style="found")
