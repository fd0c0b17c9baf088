"""Did a station reach the end of its range, so that swings were cut off and its mean is biased?"""

from __future__ import annotations

import numpy as np

from dsp.checks.look import Look, not_made
from dsp.checks.stations import named, sensor_verdict, shares
from dsp.types import Check

LIMIT = 0.002
"""Share of readings at the end of the range that counts."""


def check(look: Look) -> Check:
    """Share of each station's readings at the end of its range."""
    evidence = look.evidence
    if not evidence.marks:
        return not_made(look, "saturated", "no heel station")
    found = shares(evidence, "saturated")
    name, value = named(found)
    bad = {station for station, share in found.items() if share > LIMIT}
    verdict = sensor_verdict(evidence, bad)
    says = f"Station {name} stood at the end of its range for {100 * value:.1f} % of its readings."
    place = [m.station for m in evidence.marks].index(name)
    trace, marks = evidence.traces[place], evidence.marks[place]
    arrays = {"time": trace.time, "heel": trace.value, "cut": np.where(marks.saturated, trace.value, np.nan)}
    return Check("saturated", value, LIMIT, "share of readings", 0.0, verdict, says, arrays)
