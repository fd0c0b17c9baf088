"""The heel trace of every station over the day, with the windows marked; and every window close up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from config.units import DEGREE
from dsp.types import Array
from reduction.report.document import Picture
from reduction.report.figures.canvas import (
    ACCENT,
    INK,
    SOFT,
    STATION_COLOURS,
    STATION_DASHES,
    TONE_COLOUR,
    TONE_SHADE,
    Look,
    bare,
    picture,
)
from reduction.report.traces import Envelope, Traces
from reduction.report.words import SHAPE, clock, verdict_tone, zone_words
from reduction.types import WindowPoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def day_traces(traces: Traces, points: tuple[WindowPoint, ...], utc_offset_h: float) -> Picture:
    """Draw one row for each station, then wind and line tension, over the whole day; windows shaded and named."""
    rows = [(e, 1.0 / DEGREE, f"{e.station}\nheel, deg", True) for e in traces.heel]
    if traces.wind is not None:
        rows.append((traces.wind, 1.0, "wind\nm/s", False))
    rows += [(e, 1e-3, f"{e.station}\ntension, kN", False) for e in traces.tension]

    def draw(figure: Figure, look: Look) -> None:
        heights = [1.4 if is_heel else 0.8 for _, _, _, is_heel in rows]
        axes = np.atleast_1d(figure.subplots(len(rows), 1, sharex=True, height_ratios=heights))
        for ax, (envelope, factor, label, is_heel) in zip(axes, rows, strict=True):
            bare(ax, y=label)
            ax.grid(True, axis="y")
            for point in points:
                tone = verdict_tone(point.verdict)
                edges = ((point.start_ns - traces.epoch_ns) / 1e9, (point.stop_ns - traces.epoch_ns) / 1e9)
                ax.axvspan(*edges, color=TONE_SHADE[tone], linewidth=0)
            _envelope(ax, envelope, factor, ACCENT if is_heel else SOFT)
        _name_windows(axes[0], traces, points, look)
        _time_axis(axes[-1], traces, utc_offset_h, 4 if look.narrow else 9)

    height = 0.5 + 1.15 * sum(1.0 if is_heel else 0.65 for _, _, _, is_heel in rows)
    return picture("day-traces", draw, (7.2, height), (3.9, height * 1.05))


def window_close_up(traces: Traces, points: tuple[WindowPoint, ...]) -> Picture:
    """Draw the readings of every window less their mean, station over station, all on one scale."""
    shown = [p for p in points if traces.windows.get(p.label)]

    def draw(figure: Figure, look: Look) -> None:
        columns = 2 if look.narrow else 3
        grid = figure.subplots(-(-len(shown) // columns), columns, sharey=True, squeeze=False).ravel()
        for ax in grid[len(shown) :]:
            ax.set_visible(False)
        for ax, point in zip(grid, shown, strict=False):
            tone = verdict_tone(point.verdict)
            start = (point.start_ns - traces.epoch_ns) / 1e9
            for number, envelope in enumerate(traces.windows[point.label]):
                centre = float(envelope.mean.mean())
                ax.plot(
                    envelope.time - start,
                    (envelope.mean - centre) / DEGREE,
                    color=STATION_COLOURS[number % len(STATION_COLOURS)],
                    linestyle=STATION_DASHES[number % len(STATION_DASHES)],
                    linewidth=0.8,
                    label=envelope.station,
                )
            bare(ax)
            ax.grid(True, axis="y")
            ax.set_title(f"{SHAPE[tone]} {point.label}", color=TONE_COLOUR[tone])
        for ax in grid[: len(shown)][::columns]:
            ax.set_ylabel("degrees off mean")
        for ax in grid[max(len(shown) - columns, 0) : len(shown)]:
            ax.set_xlabel("s from window opened")
        handles, labels = grid[0].get_legend_handles_labels()
        if len(labels) > 1:
            figure.legend(handles, labels, loc="outside upper left", ncols=min(len(labels), 2 if look.narrow else 4))

    rows_wide, rows_narrow = -(-len(shown) // 3), -(-len(shown) // 2)
    return picture("windows-close-up", draw, (7.2, 0.7 + 1.35 * rows_wide), (3.9, 0.8 + 1.3 * rows_narrow))


def _envelope(axes: Axes, envelope: Envelope, factor: float, colour: str) -> None:
    """Fill between lowest and highest, broken where the record is."""
    gaps = np.flatnonzero(np.diff(envelope.time) > 2.5 * envelope.step) + 1

    def broken(curve: Array) -> Array:
        return np.insert(curve * factor, gaps, np.nan)

    time = np.insert(envelope.time, gaps, envelope.time[gaps] if gaps.size else [])
    # One zigzag of low and high draws half the points of a filled outline and looks the same.
    zigzag = np.column_stack([broken(envelope.low), broken(envelope.high)]).ravel()
    axes.plot(np.repeat(time, 2), zigzag, color=colour, linewidth=0.55)


def _name_windows(axes: Axes, traces: Traces, points: tuple[WindowPoint, ...], look: Look) -> None:
    crowded = look.narrow and len(points) > 10
    for point in points[:: 2 if crowded else 1]:
        tone = verdict_tone(point.verdict)
        middle = ((point.start_ns + point.stop_ns) / 2 - traces.epoch_ns) / 1e9
        mark = "" if tone == "fine" else f"{SHAPE[tone]}\n"
        axes.annotate(
            f"{mark}{point.label}",
            (middle, 1.0),
            (0, 2),
            xycoords=("data", "axes fraction"),
            textcoords="offset points",
            ha="center",
            va="bottom",
            fontsize=look.font,
            fontweight="bold" if tone == "rejected" else "normal",
            color=INK if tone == "fine" else TONE_COLOUR[tone],
            linespacing=0.95,
        )


def _time_axis(axes: Axes, traces: Traces, utc_offset_h: float, wanted: int) -> None:
    """Ticks at round clock times."""
    low, high = axes.get_xlim()
    epoch = traces.epoch_ns / 1e9 + 3600.0 * utc_offset_h
    steps = (10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400)
    step = next((s for s in steps if (high - low) / s <= wanted), 14400)
    first = np.ceil((low + epoch) / step) * step - epoch
    ticks = np.arange(first, high, step)
    axes.set_xticks(ticks)
    show_seconds = step < 60
    axes.set_xticklabels(
        [clock(int(traces.epoch_ns + t * 1e9), utc_offset_h, with_seconds=show_seconds) for t in ticks]
    )
    axes.set_xlim(low, high)
    axes.set_xlabel(f"time of day, {zone_words(utc_offset_h)}")
