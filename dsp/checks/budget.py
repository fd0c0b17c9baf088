"""The false-alarm budget: how often each check may reject a clean window. All together at most 1 in 50.

The one table to read and to change. A check whose question has no chance in it (a station silent, a confirmation not
given) has no line here and says so with a false-alarm rate of 0. The share of the comparison between windows is
spent in ``reduction.gm.consistency``; it stands here so that the sum can be seen and is tested.
"""

from __future__ import annotations

REJECT = {
    "people": 0.006,
    "burst": 0.004,
    "taut period": 0.001,
    "taut shape": 0.0005,
    "taut tension": 0.0005,
    "wind": 0.001,
    "drift": 0.001,
    "disagreement": 0.0005,
}
"""Check -> probability that it rejects a clean window."""
CAUTION = {
    "people": 0.01,
    "transient": 0.01,
    "slosh": 0.005,
    "noise": 0.005,
    "wind": 0.005,
    "drift": 0.005,
}
"""Check -> probability that it asks for caution on a clean window (beside what it rejects). A caution costs nothing."""
BETWEEN_WINDOWS = 0.0034
"""Share of the comparison between windows: 0.03 a day of nine windows, one window lost each time."""
MOVED_AND_APART = 0.001
"""Share of the question whether a window both looks as if people moved in it and lies apart from the others."""
LIMIT = 0.02
"""At most 1 clean window in 50."""


def spent() -> float:
    """Sum of everything that can reject a clean window."""
    return sum(REJECT.values()) + BETWEEN_WINDOWS + MOVED_AND_APART


__all__ = ["BETWEEN_WINDOWS", "CAUTION", "LIMIT", "MOVED_AND_APART", "REJECT", "spent"]
