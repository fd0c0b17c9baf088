"""The spectrum of heel over the day: where the uncertainty of a mean comes from."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from config.units import DEGREE
from dsp.types import DayHeel
from reduction.report.document import Picture
from reduction.report.figures.canvas import ACCENT, INK, RULE, SOFT, Look, bare, picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def heel_spectrum(day: DayHeel, window_s: float) -> Picture:
    """Draw measured and fitted spectrum, with the natural roll and the length of a window marked."""
    frequency, density = day.spectrum["frequency"], day.spectrum["density"] / DEGREE**2
    keep = (frequency > 0) & (density > 0)

    def draw(figure: Figure, look: Look) -> None:
        axes = figure.subplots()
        bare(axes, x="frequency, Hz", y="heel, deg² per Hz")
        axes.loglog(frequency[keep], density[keep], color=RULE, linewidth=1.0, label="measured")
        model = day.spectrum.get("model")
        if model is not None:
            axes.loglog(frequency[keep], model[keep] / DEGREE**2, color=ACCENT, label="fitted over the day")
        axes.set_xlim(float(frequency[keep].min()), min(float(frequency[keep].max()), 2.0))
        top = axes.get_ylim()[1]
        for place, words in ((1.0 / window_s, "one window"), (1.0 / day.roll.period, "natural roll")):
            if np.isfinite(place) and place > 0:
                axes.axvline(place, color=SOFT, linewidth=0.6, linestyle=":")
                axes.annotate(
                    words, (place, top), (3, -3), textcoords="offset points", va="top", color=INK, fontsize=look.font
                )
        axes.legend(loc="lower left")
        axes.minorticks_off()
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.yaxis.set_major_formatter(lambda value, _: _power(value))

    return picture("heel-spectrum", draw, (7.2, 2.7), (3.9, 3.0))


def _power(value: float) -> str:
    """Print a power of ten.

    >>> _power(1e-4)
    '10⁻⁴'
    """
    return "10" + str(round(np.log10(value))).translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))
