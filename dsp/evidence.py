"""Lay out for the checks what is known about one window."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from dsp.estimate import Evaluated, pairs
from dsp.low import LowHeel
from dsp.prepare import Prepared
from dsp.types import Array, Day, RollMotion, StationMarks, Trace, WindowEvidence, WindowSpan
from dsp.wind import Pressure


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
    place = one.index - one.index[0]
    low_covariance = one.parts.slow[np.abs(place[:, None] - place[None, :])]
    low_covariance[np.diag_indices_from(low_covariance)] += one.parts.noise
    return WindowEvidence(
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
        low_covariance=low_covariance,
        motion=one.model,
        low_scale=one.own_scale,
        low_scale_dof=one.own_dof,
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
        unsure=_unsure(one, low),
        shared_dof=low.fit.shared_dof,
        beside_time=grid.time[beside],
        beside_heel=prepared.heel[beside] - low.regressors[beside] @ low.fit.coefficient - fitted.mean,
        day_scale=low.fit.scale,
        day_scale_dof=low.fit.scale_dof,
    )


def _unsure(one: Evaluated, low: LowHeel) -> Callable[[Array], float]:
    """How well the variance of a weighted sum of bins is known, by the covariance of the day's spectrum."""
    place, hats = one.index - one.index[0], low.fit.hats
    density = low.fit.free * np.where(
        np.arange(hats.node.size) < hats.low, one.model.density[0] / low.fit.density[0], 1.0
    )

    @lru_cache(maxsize=1)
    def table() -> Array:
        return hats.covariance(np.arange(int(place[-1]) + 1) * low.compressor.step)

    def spread(weight: Array) -> float:
        shares = (table() @ pairs(weight, place)) * density
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
