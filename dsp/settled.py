"""When the vessel has settled after a movement, how long a window must still run, and where windows could be put.

All of it from the record alone; nobody needs a stopwatch. A swing that dies away need not be waited for to its end: the
estimator models it. Settled means that the level no longer moves and that the swing left is small enough.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve
from scipy.special import stdtrit

from config.units import DEGREE
from dsp.bins import Grid
from dsp.estimate import covariances
from dsp.factor import sound_factor
from dsp.level import level_spread, smoothed_level
from dsp.motion import MotionModel
from dsp.types import Array

MOVING = 5.0
"""Robust standard deviations of smoothed heel beyond which the level is said to move."""
QUIETEST = 0.25
"""Share of the changes of level by which a record is judged that may hold a step: of a short one most reach across."""
SWING_SHARE = 0.5
"""Share of the wanted interval that a plain mean of the window could at most be off by the swing left (A T / pi D)."""


OWN_SHARE = 0.9
"""Where the stations alone leave so much of the wanted interval, only what motion leaves is held against it."""


@dataclass(frozen=True)
class Settled:
    """Whether the heel has come to rest at a level."""

    settled: bool
    wait: float
    """s still to wait by the decay of the swing; 0 when settled, NaN while the level itself moves."""
    since: float
    """s since the epoch, from when on the level has been steady; NaN while it moves."""
    swing: float
    """rad, amplitude of the roll now."""
    level: float
    """rad, mean heel over the last roll period (ten seconds at least)."""
    says: str


@dataclass(frozen=True)
class Needed:
    """How long a window must still run for a wanted interval."""

    u95: float
    """rad, half width of the 95 % interval as the window stands."""
    wanted: float
    """rad."""
    more: float
    """s still to run; 0 when the interval is reached, infinity where an hour would not do."""
    says: str


@dataclass(frozen=True)
class Suggestion:
    """A stretch of the record that could be a window."""

    start: float
    stop: float
    """s since the epoch."""
    level: float
    """rad, plain mean heel."""
    says: str


def settled(
    grid: Grid,
    heel: Array,
    period: float,
    damping: float,
    wanted: float = 0.005 * DEGREE,
    length: float = 120.0,
    spread: float = float("nan"),
) -> Settled:
    """Say whether the vessel has settled at the end of a record, or how long still.

    Parameters
    ----------
    heel : (n,) rad on ``grid``, up to now; NaN in gaps.
    period, damping : roll of the day, s and fraction of critical; NaN if there is none.
    wanted : rad, half width wanted for a window of ``length`` s.
    spread : rad, scatter of smoothed heel on a steady level if known from the day; NaN: from this record.
    """
    smooth, width = smoothed_level(grid, heel, period)
    inner = smooth[: heel.size - width] if heel.size > 3 * width else np.zeros(0)
    nan = float("nan")
    if inner.size < width or not np.isfinite(inner[-1]):
        return Settled(False, nan, nan, nan, nan, "Not enough record yet to tell whether she lies still.")
    scatter = spread if np.isfinite(spread) else level_spread(inner, width, QUIETEST)
    level = float(inner[-1])
    limit = MOVING * max(scatter if np.isfinite(scatter) else 0.0, 0.3 * wanted)
    away = np.flatnonzero(~(np.abs(inner - float(np.nanmedian(inner[-width:]))) < limit))
    first = int(away[-1]) + 1 + width // 2 if away.size else 0
    steady = (heel.size - first) * grid.step
    recent = heel[-max(5, min(width * 2, heel.size - first)) :]
    recent = recent[np.isfinite(recent)]
    swing = float(np.sqrt(2.0) * np.std(recent)) if recent.size > 3 else nan
    if steady < 1.5 * width * grid.step:
        return Settled(False, nan, nan, swing, level, "The level is still moving.")
    since = grid.start + first * grid.step
    if not np.isfinite(period):
        return Settled(True, 0.0, since, swing, level, f"Settled for {steady:.0f} s; no roll to wait for.")
    small = max(SWING_SHARE * wanted * np.pi * length / period, 3.0 * limit / MOVING)
    if swing <= small:
        return Settled(True, 0.0, since, swing, level, f"Settled for {steady:.0f} s; swing {swing / DEGREE:.3f} deg.")
    decay = max(damping if np.isfinite(damping) else 0.02, 0.003) * 2.0 * np.pi / period
    wait = float(np.log(swing / small) / decay)
    says = f"Swing of {swing / DEGREE:.3f} deg still dies away: about {wait:.0f} s more."
    return Settled(False, wait, since, swing, level, says)


def interval_after(model: MotionModel, length: float, dof: float, noise: float, step: float) -> float:
    """Return the half width (rad) of the 95 % interval of a window of ``length`` s under a model.

    Parameters
    ----------
    noise : rad2, white variance of a bin of ``step`` s.
    """
    thin = max(1, int(np.ceil(length / step / 240.0)))
    place = np.arange(max(4, int(length / (step * thin))))
    parts, _ = covariances(model, step * thin, place, 0.0, np.full(place.size, noise / thin))
    turned = cho_solve(sound_factor(parts.whole), np.ones(place.size))
    return float(stdtrit(min(max(dof, 1.0), 1e6), 0.975) / np.sqrt(turned.sum()))


def more_seconds(
    model: MotionModel,
    elapsed: float,
    u95: float,
    wanted: float,
    dof: float,
    noise: float,
    step: float,
    stations_u95: float = 0.0,
) -> Needed:
    """Say how many more seconds a window needs for a wanted interval: "40 s more for 0.005 deg".

    The interval of longer windows is the model's, brought to what the window has now.

    Parameters
    ----------
    elapsed : s, the window has run so far.
    u95 : rad, its interval now by motion and noise, which a longer window makes smaller. wanted : rad, of the whole.
    dof, noise, step : as for `interval_after`.
    stations_u95 : rad, half width by scale and drift of the stations, which no length of a window makes smaller.
    """
    whole = float(np.hypot(u95, stations_u95))
    if whole <= wanted:
        return Needed(whole, wanted, 0.0, f"Interval {whole / DEGREE:.4f} deg: reached.")
    aim, what = float(np.sqrt(max(wanted**2 - stations_u95**2, 0.0))), f"{wanted / DEGREE:.3f} deg"
    if stations_u95 > OWN_SHARE * wanted:
        aim, left = wanted, f"the {stations_u95 / DEGREE:.4f} deg that scale and drift of the stations leave"
        if u95 <= aim:
            says = f"Interval {whole / DEGREE:.4f} deg, most of it {left}: a longer window gains little."
            return Needed(whole, wanted, 0.0, says)
        what = f"{what} beside {left}"
    now = interval_after(model, elapsed, dof, noise, step)
    ratio = u95 / now if now > 0 else 1.0
    low, high = elapsed, max(2.0 * elapsed, 60.0)
    while ratio * interval_after(model, high, dof, noise, step) > aim:
        low, high = high, 2.0 * high
        if high > elapsed + 3600.0:
            says = (
                f"The interval of {wanted / DEGREE:.3g} deg that is wanted (settings.wanted_heel_u95_deg) is out of "
                f"reach within an hour in this weather: {whole / DEGREE:.4f} deg now."
            )
            return Needed(whole, wanted, float("inf"), says)
    for _ in range(8):
        middle = 0.5 * (low + high)
        if ratio * interval_after(model, middle, dof, noise, step) > aim:
            low = middle
        else:
            high = middle
    more = float(np.ceil(high - elapsed))
    return Needed(whole, wanted, more, f"{more:.0f} s more for {what}.")


def suggested(
    grid: Grid, heel: Array, period: float, shortest: float = 60.0, longest: float = 600.0
) -> list[Suggestion]:
    """Find stretches of steady level in a record that could be windows.

    A stretch ends where smoothed heel leaves its level by more than `MOVING` times the scatter, and keeps clear of that
    by fifteen seconds and a roll period; what is longer than ``longest`` is cut at its end.

    Parameters
    ----------
    heel : (n,) rad on ``grid``, NaN in gaps.
    period : s; NaN if there is no roll.
    shortest, longest : s.
    """
    smooth, width = smoothed_level(grid, heel, period)
    scatter = level_spread(smooth, width)
    if not np.isfinite(scatter):
        return []
    limit = MOVING * max(scatter, 1e-7)
    clear = round((15.0 + width * grid.step) / grid.step)
    made: list[Suggestion] = []
    total = np.concatenate([[0.0], np.cumsum(np.nan_to_num(smooth))])
    place, size = 0, heel.size
    while place < size - width:
        if not np.isfinite(smooth[place]):
            place += 1
            continue
        stop = place + width
        here = smooth[place:stop]
        reach = float(here.max() - here.min())  # NaN in a gap
        level = float(np.median(here)) if reach <= 2.0 * limit else float("nan")
        if not np.isfinite(level) or float(np.max(np.abs(here - level))) > limit:
            place += max(1, width // 4)
            continue
        while stop < size:  # width by width, each held against the mean of what went before
            off = np.flatnonzero(~(np.abs(smooth[stop : stop + width] - level) < limit))
            stop = stop + int(off[0]) if off.size else min(stop + width, size)
            if off.size:
                break
            level = float(total[stop] - total[place]) / (stop - place)
        start = place + (clear if place > 0 else width // 2)
        end = stop - (clear if stop < size else width // 2)
        if (end - start) * grid.step >= shortest:
            begin, finish = grid.start + start * grid.step, grid.start + end * grid.step
            begin = max(begin, finish - longest)
            inside = heel[start:end]
            mean = float(np.mean(inside[np.isfinite(inside)]))
            says = f"Steady at {mean / DEGREE:+.3f} deg for {(end - start) * grid.step:.0f} s."
            made.append(Suggestion(begin, finish, mean, says))
        place = max(stop, place + 1)
    return made
