"""Did a station repeat one value while the vessel moved?"""

from __future__ import annotations

import numpy as np

from dsp.checks.look import Look, not_made
from dsp.checks.stations import named, sensor_verdict, shares
from dsp.types import Check

LIMIT = 0.02
"""Share of a window's samples in stuck runs that counts."""


def check(look: Look) -> Check:
    """Share of each station's samples in runs longer than motion and resolution explain."""
    evidence = look.evidence
    if not evidence.marks:
        return not_made(look, "stuck", "no heel station")
    found = shares(evidence, "stuck")
    name, value = named(found)
    bad = {station for station, share in found.items() if share > LIMIT}
    verdict = sensor_verdict(evidence, bad)
    says = f"Station {name} stood still for {100 * value:.0f} % of its readings" + (
        "; those were left out." if bad else "."
    )
    place = [m.station for m in evidence.marks].index(name)
    trace, marks = evidence.traces[place], evidence.marks[place]
    arrays = {"time": trace.time, "heel": trace.value, "stuck": np.where(marks.stuck, trace.value, np.nan)}
    return Check("stuck", value, LIMIT, "share of readings", 0.0, verdict, says, arrays)
