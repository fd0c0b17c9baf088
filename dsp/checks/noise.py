"""Is a station noisier in this window than on the day?"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from dsp.checks.budget import CAUTION
from dsp.checks.look import Look, not_made
from dsp.checks.stations import named
from dsp.types import Check, Verdict

LEAST_RATIO = 1.5
"""A rise below this changes no answer and is not spoken of."""


def check(look: Look) -> Check:
    """Third differences of the good readings (smooth motion cancels) against the day's noise of the same station.

    The median absolute value of n normal third differences has a relative standard uncertainty of about
    ``1.17 sqrt(2.2 / n)``: 1.17 for the median, 2.2 for the correlation of overlapping differences.
    """
    evidence = look.evidence
    ratios: dict[str, float] = {}
    limits: dict[str, float] = {}
    for trace, marks in zip(evidence.traces, evidence.marks, strict=True):
        value = trace.value[marks.good]
        if value.size >= 20 and np.isfinite(marks.noise) and marks.noise > marks.resolution:
            third = np.diff(value, 3)
            ratios[trace.station] = 1.4826 * float(np.median(np.abs(third)) / np.sqrt(20.0)) / marks.noise
            beyond = float(-ndtri(CAUTION["noise"] / len(evidence.traces)))
            limits[trace.station] = 1.0 + beyond * 1.17 * float(np.sqrt(2.2 / value.size))
    if not ratios:
        return not_made(look, "noise", "too few readings, or a resolution that hides the noise")
    name, worst = named({k: v / max(limits[k], LEAST_RATIO) for k, v in ratios.items()})
    verdict: Verdict = "caution" if worst > 1.0 else "fine"
    limit = max(limits[name], LEAST_RATIO)
    says = f"Station {name} has {ratios[name]:.2f} times the noise it has on the day (limit {limit:.2f})."
    trace = next(t for t in evidence.traces if t.station == name)
    arrays = {"time": trace.time, "heel": trace.value}
    return Check("noise", ratios[name], limit, "ratio", CAUTION["noise"], verdict, says, arrays)
