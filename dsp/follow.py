"""Does each station follow the vessel? A rigid hull heels as one; a station that does not is left out before combining.

Stations are combined by their noise, and a dead one has the least: it would win. So nothing here asks how quiet a
station is, only whether it moves as the others do: through the whole record, and from window to window
(docs/method-checks.md, section "Stations that do not follow").
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from config.units import DEGREE
from dsp.bins import Binned, Grid, window_means
from dsp.types import Array, Check, StationHeel, Verdict, WindowSpan

BLOCK = 20.0
"""s of record of which one level is taken: longer than most rolls, shorter than a movement of weights."""
LEAST_MOTION = np.deg2rad(0.1)
"""rad; in a record that moves less nothing can be told of who follows: zeros wander by hundredths."""
APART = 0.5
"""Two stations whose difference moves by more than this share of what the livelier of them moves do not agree."""
STILL = 0.25
"""A station that moves by less than this share of the others stood still."""
STANDARDS = 8.0
"""Standard uncertainties beyond which scale, or the mean of a window, is not that of the same vessel."""
LEAST_SHARE = 0.02
"""... and not before it reaches this share of the day's heel: smaller ones are weighed, not left out."""
FEWEST_WINDOWS = 5
"""Windows from which a station's usual difference can be told from one that went wrong."""
IN_STEP = 0.99
"""Correlation of its movement with that of the others from which a station moves in step with them."""
NEAR = 0.03
"""Within what a factor is taken for a slip of sign or unit."""
Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class LeftOut:
    """A station that is not used at all on this day."""

    station: str
    code: str
    """``stuck`` or ``disagreement``."""
    share: float
    """Of the others' movement that it shows."""
    reason: str


@dataclass(frozen=True)
class Followed:
    """Who follows the vessel."""

    use: tuple[int, ...]
    """Numbers of the stations to use, in order."""
    left_out: tuple[LeftOut, ...]
    apart: Mask
    """(s, k) stations, of all, that are left out of single windows."""
    undecided: tuple[str, ...] = ()
    """Stations of which one must be wrong and nobody is there to say which."""
    in_step: str = ""
    """What is seen of two of them that move in step, but not alike, as a sentence."""


def follow(
    grid: Grid, bins: tuple[Binned, ...], names: tuple[str, ...], scale_u: Array, windows: tuple[WindowSpan, ...]
) -> Followed:
    """Judge every station against the others.

    Parameters
    ----------
    bins : one for each station, on ``grid``.
    scale_u : (s,) relative standard uncertainty of scale known of each.

    Returns
    -------
    Followed. A lone station follows itself.
    """
    nobody = np.zeros((len(bins), len(windows)), dtype=bool)
    everyone = tuple(range(len(bins)))
    if len(bins) < 2:
        return Followed(everyone, (), nobody)
    levels = _levels(grid, bins)
    use, gone, undecided = _by_movement(levels, names)
    mean, _ = window_means(grid, bins, windows)
    apart = nobody.copy()
    while len(use) >= 3:
        apart = nobody.copy()
        apart[list(use)] = _apart(mean[list(use)])
        often = [s for s in use if apart[s].sum() > 0.5 * np.isfinite(mean[s]).sum()]
        worst = often[0] if often else _other_scale(np.where(apart, np.nan, mean), use, scale_u)
        if worst is None:
            break
        shown = _slope(mean, worst, use)[0]
        gone.append(LeftOut(names[worst], "disagreement", shown, f"shows {shown:.3f} of the heel the others show"))
        use = tuple(s for s in use if s != worst)
    told = _in_step(levels[use[0]], levels[use[1]], undecided[1], "it") if len(undecided) == 2 else ""
    in_step = f"{undecided[0]} {told}." if told else ""
    return Followed(use, tuple(gone), apart if len(use) >= 3 else nobody, undecided, in_step)


def said_of(followed: Followed, names: tuple[str, ...], window: int, conflict: str = "") -> tuple[Check, ...]:
    """What is said of it in one window: cautions for who was left out, a rejection where nobody can say who is wrong.

    Parameters
    ----------
    names : of all stations, in the order of ``followed.apart``. window : its number.
    conflict : what the alignment says of those that are left (`dsp.combine.Alignment.conflict`).
    """
    said = [
        _check(one.code, one.share, "caution", f"Station {one.station} {one.reason} and was left out of the whole day.")
        for one in followed.left_out
    ]
    said += [
        _check("disagreement", 0.0, "caution", f"Station {names[s]} was far off here and was left out.")
        for s in np.flatnonzero(followed.apart[:, window])
        if s in followed.use
    ]
    if conflict and not followed.undecided:
        said.append(_check("disagreement", 0.0, "caution", conflict))
    if followed.undecided:
        who = " and ".join(followed.undecided)
        says = (
            f"Stations {who} do not move together: one is wrong. Find out which, and name it in settings.leave_out."
            + (f" {followed.in_step}" if followed.in_step else "")
        )
        said.append(_check("disagreement", 0.0, "rejected", says))
    return tuple(said)


def no_heel(one: LeftOut) -> StationHeel:
    """The line of a station left out, in the table of stations."""
    nan = float("nan")
    return StationHeel(one.station, nan, nan, nan, 0, nan, used=False, reason=one.reason)


def _check(code: str, share: float, verdict: Verdict, says: str) -> Check:
    none = np.zeros(0)
    limit = STILL if code == "stuck" else APART
    return Check(code, share, limit, "share of movement", 0.0, verdict, says, {"time": none, "heel": none})


def _levels(grid: Grid, bins: tuple[Binned, ...]) -> Array:
    """Return (s, b) rad, means of blocks of the record; NaN where a station is silent."""
    block = ((np.arange(grid.size) * grid.step) // BLOCK).astype(np.int64)
    size = int(block[-1]) + 1
    levels = np.full((len(bins), size), np.nan)
    for s, one in enumerate(bins):
        here = one.count > 0
        count = np.bincount(block[here], minlength=size)
        total = np.bincount(block[here], weights=one.mean[here], minlength=size)
        levels[s, count > 0] = total[count > 0] / count[count > 0]
    return levels


def _moved(level: Array) -> float:
    """How far levels move: from the 2nd to the 98th percentile, so that no single block decides."""
    level = level[np.isfinite(level)]
    if level.size < 3:
        return 0.0
    low, high = np.percentile(level, [2.0, 98.0])
    return float(high - low)


def _by_movement(levels: Array, names: tuple[str, ...]) -> tuple[tuple[int, ...], list[LeftOut], tuple[str, ...]]:
    """Keep the largest group of stations that move together; where there is none, those that move at all."""
    stations = range(len(names))
    moved = np.array([_moved(levels[s]) for s in stations])
    if moved.max() < LEAST_MOTION:
        return tuple(stations), [], ()
    groups = _groups(levels)
    groups.sort(key=lambda group: (len(group), float(np.median(moved[group]))), reverse=True)
    usual = float(np.median(moved[groups[0]]))
    rivals = [g for g in groups[1:] if len(g) == len(groups[0]) and float(np.median(moved[g])) >= STILL * usual]
    kept = sorted(s for group in (groups[0], *rivals) for s in group)
    gone = []
    for s in stations:
        if s not in kept:
            share, told = float(moved[s] / usual), _in_step(levels[s], _middle(levels[groups[0]]))
            still = share < STILL and not told
            reason = told or ("stood still while the others moved" if still else "does not move with the others")
            gone.append(LeftOut(names[s], "stuck" if still else "disagreement", share, reason))
    return tuple(kept), gone, tuple(names[s] for s in kept) if rivals else ()


def _in_step(level: Array, others: Array, who: str = "the others", them: str = "them") -> str:
    """Say how much a station moves for one that the others move, if it does so in step with them; else nothing.

    ``who`` and ``them`` are what the others are called.

    >>> _in_step(np.array([0.0, -1.0, 2.0, -3.0]), np.array([0.0, 1.0, -2.0, 3.0]))
    'moves -1 times as much as the others, in step with them (its sign is turned, it seems)'
    """
    here = np.isfinite(level) & np.isfinite(others)
    if here.sum() < 3 or np.ptp(others[here]) == 0.0 or np.ptp(level[here]) == 0.0:
        return ""
    x, y = others[here] - others[here].mean(), level[here] - level[here].mean()
    if abs(float(x @ y)) < IN_STEP * float(np.linalg.norm(x) * np.linalg.norm(y)):
        return ""
    times = float(x @ y) / float(x @ x)
    seems = ""
    if abs(times + 1.0) < NEAR:
        seems = " (its sign is turned, it seems)"
    elif abs(abs(times) / DEGREE - 1.0) < NEAR:
        seems = " (radians written as degrees, it seems)"
    return f"moves {times:.3g} times as much as {who}, in step with {them}{seems}"


def _groups(levels: Array) -> list[list[int]]:
    """Stations joined by agreement, each in one group; two that were never on together are not held apart."""
    left, groups = list(range(levels.shape[0])), []
    while left:
        group, fresh = [], [left.pop(0)]
        while fresh:
            s = fresh.pop()
            group.append(s)
            joined = [t for t in left if _agree(levels, s, t)]
            left = [t for t in left if t not in joined]
            fresh += joined
        groups.append(sorted(group))
    return groups


def _agree(levels: Array, s: int, t: int) -> bool:
    both = np.isfinite(levels[s]) & np.isfinite(levels[t])
    moved = [_moved(level[both]) for level in levels]
    if both.sum() < 3 or max(moved) < LEAST_MOTION:
        return True
    return _moved(levels[s][both] - levels[t][both]) < APART * max(moved[s], moved[t])


def _middle(value: Array) -> Array:
    """Median over the first axis of what is there; NaN where nothing is."""
    finite = np.isfinite(value)
    if finite.all() and value.shape[0]:
        return np.asarray(np.median(value, axis=0))  # many times as fast as the one that looks for gaps
    here = finite.any(axis=0)
    result = np.full(value.shape[1:], np.nan)
    result[here] = np.nanmedian(value[:, here], axis=0)
    return result


def _apart(mean: Array) -> Mask:
    """Means of windows far off the median of the stations, each with its usual difference from it taken off."""
    none = np.zeros(mean.shape, dtype=bool)
    if (np.isfinite(mean).sum(axis=0) >= 3).sum() < FEWEST_WINDOWS:
        return none
    zero = _middle((mean - _middle(mean)).T)
    level = _middle(mean - zero[:, None])
    residual = np.abs(mean - zero[:, None] - level)
    usual = 1.4826 * _middle(residual.T)[:, None]
    heel = float(np.nanmax(level) - np.nanmin(level))
    far = residual > np.maximum(STANDARDS * usual, max(LEAST_SHARE * heel, LEAST_SHARE * LEAST_MOTION))
    enough = np.isfinite(mean).sum(axis=0) >= 3
    return np.asarray(far & enough & np.isfinite(residual))


def _slope(mean: Array, s: int, use: tuple[int, ...]) -> tuple[float, float]:
    """Heel that station ``s`` shows for one that the others show, and its standard uncertainty from the scatter."""
    others = _middle(mean[[t for t in use if t != s]])
    here = np.isfinite(mean[s]) & np.isfinite(others)
    if here.sum() < FEWEST_WINDOWS:
        return 1.0, float("inf")
    x, y = others[here] - others[here].mean(), mean[s][here] - mean[s][here].mean()
    spread = float(x @ x)
    if spread <= (0.1 * LEAST_MOTION) ** 2:
        return 1.0, float("inf")
    slope = float(x @ y) / spread
    return slope, float(np.sqrt(np.sum((y - slope * x) ** 2) / (here.sum() - 2) / spread))


def _other_scale(mean: Array, use: tuple[int, ...], scale_u: Array) -> int | None:
    """Return the station whose scale is farthest from that of all the others, if it is too far to be theirs."""
    worst, most = None, 1.0
    for s in use:
        slope, u = _slope(mean, s, use)
        allowed = max(STANDARDS * float(np.hypot(scale_u[s], u)), LEAST_SHARE)
        if abs(slope - 1.0) / allowed > most:
            worst, most = s, abs(slope - 1.0) / allowed
    return worst
