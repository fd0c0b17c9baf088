"""Is there tension in a line that should hang slack? Only where a load cell is fitted."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.types import Array, Check, Trace, Verdict

LEAST_TENSION = 150.0
"""N above its slack level below which a line is not called taut: the weight of a few metres more of it (judgement)."""


def check(look: Look) -> Check:
    """Mean tension of each line in the window above its slack level on the day."""
    evidence = look.evidence
    found = [t for t in evidence.tension if t.value.size >= 3]
    if not found:
        return not_made(look, "taut", "no line tension was measured", "N")
    by_name = {t.station: t for t in evidence.tension_day}
    rises = [(_rise(t, by_name.get(t.station, t)), t) for t in found]
    (value, spread), line = max(rises, key=lambda item: item[0][0] / item[0][1])
    limit = max(LEAST_TENSION, float(-ndtri(REJECT["taut tension"] / len(found))) * spread)
    verdict: Verdict = "rejected" if value > limit else "fine"
    says = f"Line {line.station} pulls {value / 1000:+.2f} kN above its slack level (limit {limit / 1000:.2f} kN)" + (
        "; it is not slack." if verdict == "rejected" else "."
    )
    arrays: dict[str, Array] = {"time": line.time, "tension": line.value}
    return Check("taut", value, limit, "N", REJECT["taut tension"], verdict, says, arrays)


def _rise(window: Trace, day: Trace) -> tuple[float, float]:
    """Return mean tension above the slack level, and the usual spread of such means, in N.

    The slack level is the lower quartile of the day and the spread is that of the lower half, so that lines taut for
    part of the day do not hide themselves.
    """
    level, middle = np.percentile(day.value, [25.0, 50.0])
    below = day.value[day.value <= middle]
    spread = 1.4826 * float(np.median(np.abs(below - level)))
    return float(np.mean(window.value) - level), max(spread, 0.02 * abs(float(level)), 5.0)
