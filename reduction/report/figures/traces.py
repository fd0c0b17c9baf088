"""The heel trace of every station over the day, with the windows marked; and every window close up."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from config.units import DEGREE
from dsp.types import Array
from reduction.report.document import Picture
from reduction.report.figures.canvas import (
    ACCENT,
    INK,
    RULE,
    SOFT,
    STATION_COLOURS,
    STATION_DASHES,
    TONE_COLOUR,
    TONE_SHADE,
    Look,
    bare,
    picture,
    short,
)
from reduction.report.traces import Envelope, Traces
from reduction.report.words import SHAPE, clock, verdict_tone, zone_words
from reduction.types import WindowPoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure


def day_traces(traces: Traces, points: tuple[WindowPoint, ...], utc_offset_h: float) -> Picture:
    """Draw one row for each station, then wind and line tension, over the whole day; windows shaded and named."""
    rows = [(e, 1.0 / DEGREE, f"{_two_lines(e.station)}\nheel, deg", True) for e in traces.heel]
    if traces.wind is not None:
        rows.append((traces.wind, 1.0, "wind\nm/s", False))
    rows += [(e, 1e-3, f"{_two_lines(e.station)}\nkN", False) for e in traces.tension]

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


def _two_lines(name: str) -> str:
    """Break a long name, so that it is no longer than its row is high."""
    return "\n".join(textwrap.wrap(short(name, 24), 13)[:2])


def window_close_up(traces: Traces, points: tuple[WindowPoint, ...]) -> Picture:
    """Draw the readings of every window less their mean, one line of paper a window, all on one scale.

    Stations that agree hide one another; so each one's difference from the first stands beside it, on its own scale.
    """
    shown = [p for p in points if traces.windows.get(p.label)]
    levels = {
        p.label: [(e.time, (e.mean - float(e.mean.mean())) / DEGREE) for e in traces.windows[p.label]] for p in shown
    }
    apart = {label: _differences(lines) for label, lines in levels.items()}
    two = any(apart.values())

    def draw(figure: Figure, look: Look) -> None:
        if not two:
            panels = [figure.subplots()]
        elif look.narrow:
            panels = list(figure.subplots(2, 1))
        else:
            panels = list(figure.subplots(1, 2, width_ratios=(1.5, 1.0)))
        _rows(panels[0], traces, shown, levels, look, first=0)
        if two:
            _rows(panels[1], traces, shown, apart, look, first=1)
            name = short(traces.windows[shown[0].label][0].station, 16)
            panels[0].set_title("each station")
            panels[1].set_title(f"less {name}")
        handles, labels = panels[0].get_legend_handles_labels()
        if len(labels) > 1:
            figure.legend(handles, labels, loc="outside upper left", ncols=2 if look.narrow else 4)

    height = 0.9 + 0.42 * len(shown)
    return picture("windows-close-up", draw, (7.2, height), (3.9, 2.0 * height if two else height))


Line = tuple[Array, Array]
"""Time, s since the epoch, and heel in degrees."""


def _differences(lines: list[Line]) -> list[Line]:
    """Every further station less the first, at the times of the further one that the first covers."""
    time, first = lines[0]
    made = []
    for other_time, other in lines[1:]:
        inside = (other_time >= time[0]) & (other_time <= time[-1])
        made.append((other_time[inside], other[inside] - np.interp(other_time[inside], time, first)))
    return made


def _rows(
    axes: Axes, traces: Traces, shown: list[WindowPoint], lines: dict[str, list[Line]], look: Look, first: int
) -> None:
    """One row a window; ``first``: number of the station that the first line belongs to."""
    reach = [float(np.ptp(heel)) for rows in lines.values() for _, heel in rows if heel.size]
    pitch = max(float(np.quantile(reach, 0.9)) if reach else 0.0, 1e-9)
    for row, point in enumerate(shown):
        start = (point.start_ns - traces.epoch_ns) / 1e9
        axes.axhline(-row * pitch, color=RULE, linewidth=0.5)
        for number, (time, heel) in enumerate(lines[point.label], start=first):
            axes.plot(
                time - start,
                heel - row * pitch,
                color=STATION_COLOURS[number % len(STATION_COLOURS)],
                linestyle=STATION_DASHES[number % len(STATION_DASHES)],
                linewidth=0.7,
                label=short(traces.windows[point.label][number].station) if row == 0 else "_",
            )
    bare(axes, x="s from window opened")
    axes.spines["left"].set_visible(False)
    axes.set_yticks([-row * pitch for row in range(len(shown))])
    axes.set_yticklabels([f"{short(p.label, 12)} {SHAPE[verdict_tone(p.verdict)]}" for p in shown])
    for label, point in zip(axes.get_yticklabels(), shown, strict=True):
        label.set_color(TONE_COLOUR[verdict_tone(point.verdict)])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(-(len(shown) - 0.3) * pitch, 0.7 * pitch)
    _scale_bar(axes, pitch, look)


def _scale_bar(axes: Axes, pitch: float, look: Look) -> None:
    """A bar of a round number of degrees, to read the height of a swing by."""
    power = 10.0 ** np.floor(np.log10(0.6 * pitch))
    length = max(step * power for step in (1.0, 2.0, 5.0) if step * power <= 0.6 * pitch)
    right = axes.get_xlim()[1]
    axes.plot([right, right], [-length / 2, length / 2], color=INK, linewidth=1.6, clip_on=False)
    axes.annotate(
        f"{length:g} deg",
        (right, 0.0),
        (5, 0),
        textcoords="offset points",
        rotation=90,
        va="center",
        fontsize=look.font,
        annotation_clip=False,
    )
    axes.set_xlim(axes.get_xlim()[0], right)


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
            f"{mark}{short(point.label, 6)}",
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
