"""Did a station throw single readings far off their neighbours?"""

from __future__ import annotations

import numpy as np

from dsp.checks.look import Look, not_made
from dsp.checks.stations import named, sensor_verdict, shares
from dsp.types import Check

CAUTION_SHARE = 0.005
"""Share of readings; fewer spikes are left out without a word in the verdict."""
TOO_MANY = 0.10
"""Share at which the rest of the station's readings is not believed either."""


def check(look: Look) -> Check:
    """Share of spikes of each station."""
    evidence = look.evidence
    if not evidence.marks:
        return not_made(look, "spikes", "no heel station")
    found = shares(evidence, "spike")
    name, value = named(found)
    too_many = {station for station, share in found.items() if share > TOO_MANY}
    verdict = sensor_verdict(evidence, too_many)
    if verdict == "fine" and value > CAUTION_SHARE:
        verdict = "caution"
    says = f"Station {name} has spikes in {100 * value:.1f} % of its readings; they were left out."
    place = [m.station for m in evidence.marks].index(name)
    trace, marks = evidence.traces[place], evidence.marks[place]
    arrays = {"time": trace.time, "heel": trace.value, "spikes": np.where(marks.spike, trace.value, np.nan)}
    return Check("spikes", value, CAUTION_SHARE, "share of readings", 0.0, verdict, says, arrays)
