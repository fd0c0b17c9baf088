"""Is the window long enough to speak for itself?"""

from __future__ import annotations

import numpy as np

from dsp.checks.look import Look
from dsp.types import Check, Verdict

PERIODS, TOO_FEW = 4.0, 1.0
"""Roll periods: fewer than the first is a caution, fewer than the second no window."""
LEAST = 20.0
"""s."""


def check(look: Look) -> Check:
    """Length against a number of roll periods."""
    period = look.period if np.isfinite(look.period) else 0.0
    wanted = max(LEAST, PERIODS * period)
    value = look.length
    verdict: Verdict = "fine" if value >= wanted else "rejected" if value < TOO_FEW * period else "caution"
    says = f"The window is {value:.0f} s long; {wanted:.0f} s is the least" + (
        f" ({PERIODS:.0f} roll periods)." if PERIODS * period > LEAST else "."
    )
    arrays = {"time": np.array([look.evidence.span.start, look.evidence.span.stop])}
    return Check("short", value, wanted, "s", 0.0, verdict, says, arrays)
