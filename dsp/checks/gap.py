"""For how much of the window was there no reading?"""

from __future__ import annotations

import numpy as np

from dsp.checks.look import Look
from dsp.types import Check, Verdict

CAUTION_SHARE, TOO_MUCH = 0.10, 0.60
"""Share of the window: from here a caution, from there too little is left to speak for the window."""
STATION_SHARE = 0.10
"""Share of the window one station may be silent without a word."""


def check(look: Look) -> Check:
    """Share of the window with every station silent, and the most silent single station."""
    evidence, length = look.evidence, max(look.length, 1e-9)
    whole = max(1, round(length / evidence.step))
    value = float(np.clip(1.0 - evidence.time.size / whole, 0.0, 1.0))
    silent = {m.station: _silent(look, m.gaps) / length for m in evidence.marks}
    for trace in evidence.traces:
        if trace.time.size:
            late = max(float(trace.time[0]) - evidence.span.start, 0.0)
            edges = late + max(evidence.span.stop - float(trace.time[-1]), 0.0)
            silent[trace.station] = silent.get(trace.station, 0.0) + (edges / length if edges > 2.0 else 0.0)
        else:
            silent[trace.station] = 1.0
    worst = max(silent, key=lambda name: silent[name]) if silent else ""
    verdict: Verdict = "rejected" if value > TOO_MUCH else "caution" if value > CAUTION_SHARE else "fine"
    if verdict == "fine" and worst and silent[worst] > STATION_SHARE:
        verdict = "caution"
    share = 100 * min(silent[worst], 1.0) if worst else 0.0
    nobody = f"For {100 * value:.0f} % of the window there is no reading of any station that can be used"
    parts = [nobody] if value >= 0.005 else []
    parts += [f"{worst} was silent for {share:.0f} % of it"] if share >= 0.5 else []
    says = ("; ".join(parts) if parts else "Every station gave readings throughout the window") + "."
    arrays = {"time": evidence.time, "heel": evidence.heel}
    return Check("gap", value, CAUTION_SHARE, "share of the window", 0.0, verdict, says, arrays)


def _silent(look: Look, gaps: tuple[tuple[float, float], ...]) -> float:
    span = look.evidence.span
    return sum(max(0.0, min(b, span.stop) - max(a, span.start)) for a, b in gaps)
