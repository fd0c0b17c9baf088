"""What the windows of a day share: wind coefficient, drift, neighbouring low-frequency heel; and each one's budget."""

from __future__ import annotations

import numpy as np

from dsp.between import window_covariance
from dsp.bins import Grid
from dsp.combine import Alignment
from dsp.estimate import Evaluated
from dsp.prepare import Prepared
from dsp.types import Array, BudgetLine, StationHeel


def covariance_of(
    windows: list[Evaluated], grid: Grid, alignment: Alignment, coefficient_u: float, reference: float
) -> Array:
    """Return the (k, k) covariance (rad2) of the window heels.

    On the diagonal motion, noise and wandering zeros; everywhere the drift of the combination, the wind coefficient's
    uncertainty times how far each window's wind is from the reference, and what low-frequency heel of one window says
    about the next.

    Parameters
    ----------
    coefficient_u : rad per (m/s)^2, 0 without wind. reference : (m/s)^2.
    """
    size = len(windows)
    if not size:
        return np.zeros((0, 0))
    hats = window_covariance(windows, grid)
    shared = np.zeros((size, size))
    for i in range(size):
        shared[i, i] = windows[i].fitted.variance + alignment.wander_u**2
        for j in range(i):
            density = np.sqrt(windows[i].model.density * windows[j].model.density)
            shared[i, j] = shared[j, i] = float(density @ hats[:, i, j])
    middle = np.array([0.5 * (w.span.start + w.span.stop) - alignment.centre for w in windows])
    gust = np.array([w.pressure - reference for w in windows]) if coefficient_u > 0 else np.zeros(size)
    shared += alignment.drift_u**2 * np.outer(middle, middle) + coefficient_u**2 * np.outer(gust, gust)
    return shared


def budget_of(one: Evaluated, alignment: Alignment, coefficient_u: float, reference: float) -> tuple[BudgetLine, ...]:
    """Return a window's sources of uncertainty (rad); their root sum of squares is its ``u``."""
    fitted = one.fitted
    middle = 0.5 * (one.span.start + one.span.stop) - alignment.centre
    lines = [
        BudgetLine("low-frequency heel", float(np.sqrt(max(fitted.variance_low, 0.0))), "gusts and slow swing"),
        BudgetLine("roll", float(np.sqrt(max(fitted.variance_roll, 0.0))), "what the fit of the roll leaves"),
        BudgetLine("sensor noise", float(np.sqrt(fitted.variance_noise))),
        BudgetLine("drift", abs(alignment.drift_u * middle), "straight drift, shared with the other windows"),
        BudgetLine("wandering zeros", alignment.wander_u, "from how the stations move against each other"),
    ]
    if coefficient_u > 0:
        wind = abs(coefficient_u * (one.pressure - reference))
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
