"""Lay out for the checks what is known about one window."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from dsp.estimate import Evaluated, by_lag, covariances, pairs, strength_of
from dsp.low import LowHeel
from dsp.prepare import Prepared
from dsp.types import Array, Day, RollMotion, StationMarks, Trace, WindowEvidence, WindowSpan
from dsp.wind import Pressure
from dsp.window import Parts, mean_of

LEAD = 180.0
"""s of record before a window that are looked at, at most, and no more than the window is long: nearest to it she
stands most like in it."""
MOST_TOGETHER, LEAST_LEAD = 600, 60.0
"""Bins of a window with that record, at most, but so many seconds of it in any case: its price grows with their square
and more, and the bins nearest to the window tell most."""
FEWEST_BEFORE = 4
"""Bins with readings before a window that tell anything."""
MOST_GROWTH = 12.0
"""Logarithm of what the variance of a dying swing may have been more before the window: anything is free there."""


def evidence_of(
    day: Day,
    prepared: Prepared,
    one: Evaluated,
    low: LowHeel,
    wind: Pressure | None,
    day_roll: RollMotion,
    reference: float,
    number: int,
    still: slice,
) -> WindowEvidence:
    """Collect what a check may look at.

    Parameters
    ----------
    reference : (m/s)^2 to which windows are referred; NaN without wind.
    number : the window's place among ``prepared.windows``.
    still : of the grid, the window and what stands still beside it.
    """
    grid, span, fitted = prepared.grid, one.span, one.fitted
    windy = wind is not None and low.regressors.shape[1] > 0
    coefficient = float(low.fit.coefficient[0]) if windy else float("nan")
    away = one.wind_part - (coefficient * reference if windy else 0.0)
    centred = one.heel - one.wind_part - fitted.mean
    cut = [_inside(trace, marks, span) for trace, marks in zip(prepared.traces, prepared.marks, strict=True)]
    beside = np.arange(still.start, still.stop)
    beside = beside[np.isfinite(prepared.heel[beside])]
    window = WindowEvidence(
        span=span,
        time=grid.time[one.index],
        step=grid.step,
        heel=one.heel,
        mean=float(np.mean(one.wind_part)) + fitted.mean,
        mean_u=float(np.sqrt(fitted.variance)),
        low=centred - fitted.roll,
        roll=fitted.roll,
        transient=fitted.transient,
        wind_part=away,
        whitened=fitted.whitened,
        covariance=fitted.covariance,
        low_covariance=_slow(one.parts, one.index),
        motion=one.model,
        low_scale=one.strength.own,
        low_scale_dof=one.strength.own_dof,
        window_roll=one.roll,
        day_roll=day_roll,
        traces=tuple(c[0] for c in cut),
        marks=tuple(c[1] for c in cut),
        station_residual={
            trace.station: prepared.aligned[s][one.index] - prepared.heel[one.index]
            for s, trace in enumerate(prepared.traces)
        },
        station_difference=_differences(prepared, number),
        tension=tuple(_cut(trace, span) for trace in day.tension),
        tension_day=day.tension,
        wind_speed=_speed(wind, one),
        wind_pressure=low.regressors[one.index, 0] if windy else None,
        wind_coefficient=coefficient,
        wind_coefficient_u=float(np.sqrt(low.fit.coefficient_covariance[0, 0])) if windy else float("nan"),
        knowledge=prepared.knowledge,
        dof=one.dof,
        unsure=_unsure(one.index, one.model.density[0], low),
        shared_dof=low.fit.shared_dof,
        beside_time=grid.time[beside],
        beside_heel=prepared.heel[beside] - low.regressors[beside] @ low.fit.coefficient - fitted.mean,
        day_scale=low.fit.scale,
        day_scale_dof=low.fit.scale_dof,
        factor=fitted.factor,
    )
    # Laid out when it is asked for: covariances of long windows are large, and a day has many windows.
    return replace(window, led=partial(_led, window, prepared, one, low, wind, still))


def _led(
    window: WindowEvidence,
    prepared: Prepared,
    one: Evaluated,
    low: LowHeel,
    wind: Pressure | None,
    still: slice,
) -> WindowEvidence | None:
    """Lay out the window together with the record that leads up to it; None where there is no such record."""
    step, opened = prepared.grid.step, int(one.index[0])
    afford = max(MOST_TOGETHER - one.index.size, round(LEAST_LEAD / step))
    lead = min(round(min(LEAD, window.span.stop - window.span.start) / step), afford)
    index = np.arange(max(still.start, opened - lead), int(one.index[-1]) + 1)
    index = index[np.isfinite(prepared.heel[index])]
    if np.count_nonzero(index < opened) < FEWEST_BEFORE:
        return None
    part = slice(int(index[0]), int(index[-1]) + 1)
    strength = strength_of(prepared, part, one.model.roll_variance + 0.5 * one.swing, low)
    model = replace(one.model, density=strength.density(low.fit))
    # The swing was larger then: it is left as free at the beginning as it grows looking back.
    fading = 4.0 * np.pi * model.damping * model.roll_frequency * step * (opened - int(index[0]))
    swing = one.swing * float(np.exp(min(fading, MOST_GROWTH))) if np.isfinite(fading) else 0.0
    parts, _ = covariances(model, step, index - index[0], swing, prepared.variance[index])
    heel, wind_part = prepared.heel[index], low.regressors[index] @ low.fit.coefficient
    fitted = mean_of(heel - wind_part, parts)
    return replace(
        window,
        time=prepared.grid.time[index],
        heel=heel,
        wind_part=wind_part,
        mean=float(np.mean(wind_part)) + fitted.mean,
        mean_u=float(np.sqrt(fitted.variance)),
        low=heel - wind_part - fitted.mean - fitted.roll,
        roll=fitted.roll,
        transient=fitted.transient,
        whitened=fitted.whitened,
        covariance=fitted.covariance,
        factor=fitted.factor,
        low_covariance=_slow(parts, index),
        motion=model,
        wind_speed=None if window.wind_speed is None or wind is None else wind.speed[index],
        wind_pressure=None if window.wind_pressure is None else low.regressors[index, 0],
        low_scale=strength.own,
        low_scale_dof=strength.own_dof,
        unsure=_unsure(index, model.density[0], low),
    )


def _slow(parts: Parts, index: NDArray[np.int64]) -> Array:
    """(n, n) rad2 of what is slower than the roll, noise included, on the bins ``index``."""
    covariance = by_lag(parts.slow, index)
    covariance[np.diag_indices_from(covariance)] += parts.noise
    return covariance


def _unsure(index: NDArray[np.int64], lowest: float, low: LowHeel) -> Callable[[Array], float]:
    """How well the variance of a weighted sum of bins is known, by the covariance of the day's spectrum.

    ``lowest`` rad2/Hz is the density at the lowest node there.
    """
    place, hats = index - index[0], low.fit.hats
    density = low.fit.free * np.where(np.arange(hats.node.size) < hats.low, lowest / low.fit.density[0], 1.0)

    def spread(weight: Array) -> float:
        shares = (hats.table(low.compressor.step, int(place[-1]) + 1) @ pairs(weight, place)) * density
        return float(shares @ low.fit.covariance @ shares)

    return spread


def _differences(prepared: Prepared, number: int) -> dict[str, tuple[float, float]]:
    alignment = prepared.alignment
    return {
        trace.station: (float(alignment.residual[s, number]), float(alignment.residual_u[s, number]))
        for s, trace in enumerate(prepared.traces)
    }


def _speed(wind: Pressure | None, one: Evaluated) -> Array | None:
    return wind.speed[one.index] if wind is not None else None


def _cut(trace: Trace, span: WindowSpan) -> Trace:
    low, high = (int(i) for i in np.searchsorted(trace.time, [span.start, span.stop]))
    suspect = trace.suspect[low:high] if trace.suspect.size == trace.time.size else trace.suspect
    return Trace(trace.station, trace.time[low:high], trace.value[low:high], suspect)


def _inside(trace: Trace, marks: StationMarks, span: WindowSpan) -> tuple[Trace, StationMarks]:
    low, high = (int(i) for i in np.searchsorted(trace.time, [span.start, span.stop]))
    part = slice(low, high)
    gaps = tuple((a, b) for a, b in marks.gaps if b > span.start and a < span.stop)
    return _cut(trace, span), StationMarks(
        station=marks.station,
        spike=marks.spike[part],
        stuck=marks.stuck[part],
        saturated=marks.saturated[part],
        suspect=marks.suspect[part],
        gaps=gaps,
        rate=marks.rate,
        noise=marks.noise,
        resolution=marks.resolution,
        apart=marks.apart[part] if marks.apart.size else marks.apart,
    )
