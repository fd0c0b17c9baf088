"""Was everything confirmed that should have been: lines slack, people at their stations, crane, clear, quiet?"""

from __future__ import annotations

import numpy as np

from dsp.checks.look import Look
from dsp.types import Check

WORDS = {
    "lines": "lines slack and drooping",
    "muster": "everyone at their muster station",
    "crane": "crane stowed",
    "clear": "tug or fenders clear",
    "quiet": "decks quiet",
}


def check(look: Look) -> Check:
    """Expected confirmations that are missing."""
    span = look.evidence.span
    missing = sorted(span.expected_confirmations - span.confirmed)
    value = float(len(missing))
    says = (
        "Not confirmed: " + ", ".join(WORDS.get(m, m) for m in missing) + "."
        if missing
        else "Everything expected was confirmed."
        if span.expected_confirmations
        else "No confirmations were asked for."
    )
    arrays = {"time": np.array([span.start, span.stop])}
    return Check("unconfirmed", value, 0.0, "confirmations", 0.0, "caution" if missing else "fine", says, arrays)
