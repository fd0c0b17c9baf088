"""Is there tension in a line that should hang slack? Only where a load cell is fitted."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from dsp.checks.budget import REJECT
from dsp.checks.look import Look, not_made
from dsp.types import Array, Check, Trace, Verdict

LEAST_TENSION = 150.0
"""N above its slack level below which a line is not called taut: the weight of a few metres more of it (judgement)."""
LEAST_SHARE = 0.3
"""The same as a share of the slack level: a sag less by a quarter, as she lies now here, now there (judgement)."""


def check(look: Look) -> Check:
    """Mean tension of each line in the window above its slack level on the day."""
    evidence = look.evidence
    found = [t for t in evidence.tension if t.value.size >= 3]
    if not found:
        return not_made(look, "taut", "no line tension was measured", "N")
    by_name = {t.station: t for t in evidence.tension_day}
    sigmas = float(-ndtri(REJECT["taut tension"] / len(found)))
    rises = [(_rise(t, by_name.get(t.station, t), sigmas), t) for t in found]
    (value, limit), line = max(rises, key=lambda item: item[0][0] / item[0][1])
    verdict: Verdict = "rejected" if value > limit else "fine"
    says = f"Line {line.station} pulls {value / 1000:+.2f} kN above its slack level (limit {limit / 1000:.2f} kN)" + (
        "; it is not slack." if verdict == "rejected" else "."
    )
    arrays: dict[str, Array] = {"time": line.time, "tension": line.value}
    return Check("taut", value, limit, "N", REJECT["taut tension"], verdict, says, arrays)


def _rise(window: Trace, day: Trace, sigmas: float) -> tuple[float, float]:
    """Return mean tension above the slack level, and the most that a slack line has, in N.

    The slack level is the lower quartile of the day and the spread is that of the lower half, so that lines taut for
    part of the day do not hide themselves. The tension of a slack line goes with the inverse of its sag: it grows in
    proportion, and further up than down, so that the spread is one of logarithms where all of the lower half pulls.
    """
    level, middle = (float(q) for q in np.percentile(day.value, [25.0, 50.0]))
    below = day.value[day.value <= middle]
    spread = max(1.4826 * float(np.median(np.abs(below - level))), 0.02 * abs(level), 5.0)
    most = sigmas * spread
    if float(below.min()) > 0.0:
        most = max(most, level * float(np.expm1(min(sigmas * spread / level, 1.0))))
    return float(np.mean(window.value) - level), max(LEAST_TENSION, LEAST_SHARE * level, most)
