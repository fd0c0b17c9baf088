"""What the windows of a day share: wind coefficient, drift, neighbouring low-frequency heel; and each one's budget."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.combine import Alignment
from dsp.estimate import Evaluated
from dsp.prepare import Prepared
from dsp.reml import LowFit
from dsp.types import Array, BudgetLine, StationHeel
from dsp.wind import Pressure

SMALLEST = 1e-9
"""rad of rounding, below which it is not spoken of."""


@dataclass(frozen=True)
class Common:
    """What ties the windows of a day together, for those that could be evaluated."""

    alignment: Alignment
    coefficient_u: float
    """rad per (m/s)^2; 0 without wind."""
    reference: float
    """(m/s)^2, wind pressure to which windows are referred; 0 without wind."""
    trim: Array
    """(k, k) rad2, from `dsp.trim.cross_talk`."""
    unmeasured_u: Array
    """(k,) rad, wind of a window in which the mast was silent while it was heard in others."""
    rounding_u: Array
    """(k,) rad, from `dsp.rounding.rounding_u`."""


def unmeasured_wind(windows: list[Evaluated], wind: Pressure | None, coefficient: float, coefficient_u: float) -> Array:
    """Return (k,) rad: what wind may have done in the share of each window in which it was not measured."""
    if wind is None or not np.isfinite(coefficient):
        return np.zeros(len(windows))
    spread = float(np.std(wind.value[wind.known > 0])) if (wind.known > 0).any() else 0.0
    silent = np.array([1.0 - float(one.fitted.weight @ wind.known[one.index]) for one in windows])
    return np.asarray(float(np.hypot(coefficient, coefficient_u)) * spread * np.clip(silent, 0.0, 1.0))


def covariance_of(windows: list[Evaluated], hats: Array, common: Common) -> Array:
    """Return the (k, k) covariance (rad2) of the window heels.

    On the diagonal motion, noise, rounding and wandering zeros; everywhere the drift of the combination, the wind
    coefficient's uncertainty times how far each window's wind is from the reference, trim cross-talk, and what
    low-frequency heel of one window says about the next.

    Parameters
    ----------
    hats : (p, k, k) from `dsp.between.window_covariance`, of the same windows.
    """
    size = len(windows)
    if not size:
        return np.zeros((0, 0))
    alignment = common.alignment
    shared = np.zeros((size, size))
    for i in range(size):
        shared[i, i] = (
            windows[i].fitted.variance + alignment.wander_u**2 + common.unmeasured_u[i] ** 2 + common.rounding_u[i] ** 2
        )
        for j in range(i):
            density = np.sqrt(windows[i].model.density * windows[j].model.density)
            shared[i, j] = shared[j, i] = float(density @ hats[:, i, j])
    middle = np.array([0.5 * (w.span.start + w.span.stop) - alignment.centre for w in windows])
    gust = np.array([w.pressure - common.reference for w in windows]) if common.coefficient_u > 0 else np.zeros(size)
    shared += alignment.drift_u**2 * np.outer(middle, middle) + common.coefficient_u**2 * np.outer(gust, gust)
    return shared + common.trim


def slope_dof(windows: list[Evaluated], hats: Array, covariance: Array, fit: LowFit) -> float:
    """Return the degrees of freedom behind the variance of a slope of the heels on what heels her.

    The moments are not known here, but the heels stand for them: the slope's weights are ``C^-1`` times the heels, free
    of their mean. Each uncertain part of ``C`` adds ``2 / dof`` to the relative variance of the slope's variance, with
    its share squared: the spectrum by its covariance, the windows' own scales by theirs (Satterthwaite's reasoning; GUM
    G.4). Slow motion counts here by what it does between windows, which is known less well than inside one.

    Parameters
    ----------
    hats : as for `covariance_of`.
    covariance : (k, k) rad2 from `covariance_of`, of the same windows.
    fit : the day's low-frequency heel.
    """
    size = len(windows)
    if size < 3:
        return float(np.median([one.dof for one in windows])) if size else float("nan")
    heel = np.array([one.fitted.mean for one in windows])
    inverse = np.linalg.inv(covariance)
    each = inverse.sum(axis=1)
    weight = inverse @ heel - each * float(each @ heel) / float(each.sum())
    whole = float(weight @ covariance @ weight)
    scale = np.array([one.strength.drawn for one in windows])
    pulled = weight * np.sqrt(scale)
    shares = (hats @ pulled) @ pulled * fit.free / whole
    own = weight**2 * np.array([one.fitted.variance_low for one in windows]) / whole
    spread = float(shares @ fit.covariance @ shares)
    spread += float(np.sum(own**2 * 2.0 / np.array([one.strength.drawn_dof for one in windows])))
    return min(2.0 / max(spread, 1e-9), 1e6)


def budget_of(one: Evaluated, number: int, common: Common) -> tuple[BudgetLine, ...]:
    """Return a window's sources of uncertainty (rad); their root sum of squares is its ``u``.

    Parameters
    ----------
    number : the window's place among those that could be evaluated.
    """
    fitted, alignment = one.fitted, common.alignment
    middle = 0.5 * (one.span.start + one.span.stop) - alignment.centre
    trim = float(np.sqrt(common.trim[number, number]))
    lines = [
        BudgetLine("low-frequency heel", float(np.sqrt(max(fitted.variance_low, 0.0))), "gusts and slow swing"),
        BudgetLine("roll", float(np.sqrt(max(fitted.variance_roll, 0.0))), "what the fit of the roll leaves"),
        BudgetLine("sensor noise", float(np.sqrt(fitted.variance_noise))),
        BudgetLine("drift", abs(alignment.drift_u * middle), "straight drift, shared with the other windows"),
        BudgetLine("wandering zeros", alignment.wander_u, "from how the stations move against each other"),
        BudgetLine("cross-talk from trim", trim, "yaw of the mountings times change of trim"),
    ]
    if common.rounding_u[number] > SMALLEST:
        lines.append(BudgetLine("rounding", float(common.rounding_u[number]), "she lay too still to average it out"))
    if common.coefficient_u > 0:
        wind = float(np.hypot(common.coefficient_u * (one.pressure - common.reference), common.unmeasured_u[number]))
        lines.append(BudgetLine("wind", wind, "coefficient of the day, shared with the other windows"))
    return tuple(lines)


def stations_of(prepared: Prepared, one: Evaluated) -> tuple[StationHeel, ...]:
    """Return what each station alone gives for a window, before its zero is brought to the others'."""
    alignment, made = prepared.alignment, []
    middle = 0.5 * (one.span.start + one.span.stop) - alignment.centre
    for s, trace in enumerate(prepared.traces):
        low, high = (int(i) for i in np.searchsorted(trace.time, [one.span.start, one.span.stop]))
        samples = int(prepared.marks[s].good[low:high].sum())
        difference = prepared.aligned[s][one.index] - prepared.heel[one.index]
        here = np.isfinite(difference)
        used = samples >= 5 and bool(here.any())
        heel = float("nan")
        if used:
            aligned = one.fitted.mean + float(np.mean(one.wind_part)) + float(np.mean(difference[here]))
            heel = aligned * (1.0 + alignment.scale[s]) + alignment.zero[s] + alignment.drift[s] * middle
        noise = prepared.noise[s] / np.sqrt(max(samples, 1))
        made.append(
            StationHeel(
                station=trace.station,
                heel=float(heel),
                u=float(np.hypot(np.sqrt(one.fitted.variance), noise)) if used else float("nan"),
                offset=float(alignment.zero[s]),
                samples=samples,
                rate=samples / (one.span.stop - one.span.start),
                used=used,
                reason="" if used else "no good readings in this window",
            )
        )
    return tuple(made)
