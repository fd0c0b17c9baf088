"""Windows in which the mast was silent though the wind of the day was measured."""

from __future__ import annotations

import numpy as np

from config.words import listed
from dsp.types import Array, Day, WindowSpan
from dsp.wind import FEWEST, HEARD_S

LEAST_HEARD = 0.9
"""Share of a window in which the wind is heard, under which it is said."""


def wind_gaps(day: Day) -> tuple[str, ...]:
    """Say in which windows the wind was not measured; nothing of a day without any wind, which is said elsewhere."""
    if day.wind is None:
        return ()
    time = np.sort(day.wind.time[np.isfinite(day.wind.speed)])
    if time.size < FEWEST:
        return ()
    silent = [span.label for span in day.windows if _heard(time, span) < LEAST_HEARD]
    if not silent:
        return ()
    which = "window" if len(silent) == 1 else "windows"
    return (
        f"Wind was not measured in {which} {listed(silent)}, or in part only: what it may have done there was not "
        "taken off; their intervals allow for it by what wind did elsewhere on the day.",
    )


def _heard(time: Array, span: WindowSpan) -> float:
    """Share of a window's seconds with a reading of the wind (sorted ``time``) within `HEARD_S`."""
    second = np.arange(span.start, span.stop, 1.0)
    after = np.searchsorted(time, second)
    before = np.abs(second - time[np.clip(after - 1, 0, time.size - 1)])
    nearest = np.minimum(before, np.abs(time[np.clip(after, 0, time.size - 1)] - second))
    return float(np.mean(nearest < HEARD_S)) if second.size else 1.0
