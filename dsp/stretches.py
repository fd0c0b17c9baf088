"""Find how far the record stays at a window's level beyond the window: there the motion tells about the day as well."""

from __future__ import annotations

import numpy as np

from dsp.bins import Grid, interpolate_short
from dsp.level import smoothed_level
from dsp.types import Array, WindowSpan

LEVEL = 5.0
"""Robust standard deviations of smoothed heel by which it may leave a window's level and still be the same state."""
RETREAT = 15.0
"""s, kept clear of the place where the level is left, beside one roll period."""
LONGEST = 600.0
"""s, the record is used this far beyond a window at most."""
ENOUGH = 1500.0
"""s of a window with the record beside it; a longer window needs none, and work grows with the third power."""
TOGETHER = 7200.0
"""s, and so far beyond all windows together: two hours tell what a day's slow motion is like, and more windows bring
record of their own."""


def still_stretches(grid: Grid, heel: Array, windows: tuple[WindowSpan, ...], period: float) -> list[slice]:
    """Extend every window both ways for as long as the smoothed heel stays at the window's level.

    The heel is averaged over a roll period (ten seconds at least), which leaves no natural roll in it; its scatter is
    taken from inside the windows. A marked movement, a neighbouring window and a gap end a stretch too.

    Parameters
    ----------
    heel : (n,) rad on ``grid``, NaN in gaps.
    period : s, roll; NaN if there is none.

    Returns
    -------
    One slice of the grid for each window, containing the window.
    """
    filled = interpolate_short(heel, 4)
    smooth, width = smoothed_level(grid, heel, period)
    parts = [grid.slice(w.start, w.stop) for w in windows]
    levels, spreads = [], []
    for part in parts:
        inside = filled[part][np.isfinite(filled[part])]
        levels.append(float(np.mean(inside)) if inside.size else float("nan"))
        inner = smooth[part][width:-width] if part.stop - part.start > 3 * width else smooth[part]
        inner = inner[np.isfinite(inner)]
        if inner.size >= 5 and inside.size:
            spreads.append(float(np.sqrt(np.mean((inner - levels[-1]) ** 2))))
    spread = float(np.median(spreads)) if spreads else float("nan")
    if not np.isfinite(spread):
        return parts
    retreat = round((RETREAT + (period if np.isfinite(period) else 10.0)) / grid.step)
    far = round(min(LONGEST, 0.5 * TOGETHER / len(windows)) / grid.step)
    made = []
    for k, part in enumerate(parts):
        beside = min(far, max(round(ENOUGH / grid.step) - (part.stop - part.start), 0))
        earliest = max(part.start - beside, parts[k - 1].stop if k else 0, 0)
        if np.isfinite(windows[k].moved_at):
            earliest = max(earliest, grid.slice(windows[k].moved_at, windows[k].stop).start)
        latest = min(part.stop + beside, parts[k + 1].start if k + 1 < len(parts) else grid.size, grid.size)
        away = ~(np.abs(smooth - levels[k]) < LEVEL * max(spread, 1e-9))
        before = np.flatnonzero(away[earliest : part.start])
        start = earliest if before.size == 0 else min(earliest + int(before[-1]) + retreat, part.start)
        after = np.flatnonzero(away[part.stop : latest])
        stop = latest if after.size == 0 else max(part.stop + int(after[0]) - retreat, part.stop)
        bounded = start == earliest and k > 0 and earliest == parts[k - 1].stop
        made.append(slice(part.start if bounded else max(start, 0), stop if stop <= latest else part.stop))
    return _apart(made, parts)


def _apart(made: list[slice], parts: list[slice]) -> list[slice]:
    """Keep stretches of neighbouring windows from covering the same record."""
    result = list(made)
    for k in range(1, len(result)):
        if result[k].start < result[k - 1].stop:
            middle = max(parts[k - 1].stop, min((result[k].start + result[k - 1].stop) // 2, parts[k].start))
            result[k - 1] = slice(result[k - 1].start, min(result[k - 1].stop, middle))
            result[k] = slice(max(result[k].start, middle), result[k].stop)
    return result


__all__ = ["still_stretches"]
