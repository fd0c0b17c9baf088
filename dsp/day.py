"""From the traces of a day to the mean heel of every window, with what ties them together.

`evaluate_day` reads from top to bottom as docs/method-heel.md does: mark, align and combine; roll; low-frequency heel
and wind of the day; the mean of each window; what the windows share; the checks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dsp.bins import Grid
from dsp.low import Cut, LowHeel, contrast_of, low_heel
from dsp.motion import MotionModel, roll_covariance
from dsp.prepare import Prepared, prepare
from dsp.reml import own_scale, shrunk
from dsp.roll import DAMPING_USUAL, RollLaw, WindowRoll, day_law, envelope, window_roll
from dsp.spectrum import Pooled
from dsp.stretches import still_stretches
from dsp.types import Array, BudgetLine, Day, DayHeel, RollMotion, StationHeel, WindowHeel, WindowSpan
from dsp.wind import Pressure, pressure_on
from dsp.window import Fitted, Parts, mean_of

NO_ROLL = RollMotion(float("nan"), float("nan"), float("nan"), float("nan"), 0.0)
SOONEST = 20
"""Bins a window must have to be evaluated."""


@dataclass(frozen=True)
class Evaluated:
    """One window before the checks."""

    span: WindowSpan
    index: np.ndarray
    fitted: Fitted
    model: MotionModel
    parts: Parts
    roll: RollMotion
    pressure: float
    """(m/s)^2, weighted mean of the wind regressor."""
    dof: float
    own_scale: float
    own_dof: float


def evaluate_day(day: Day) -> DayHeel:
    """Find the mean heel of every window of the day, and its interval.

    Parameters
    ----------
    day : traces, windows, what is known beforehand. Windows without usable record come back with NaN and a reason.

    Returns
    -------
    DayHeel with one entry for each window of ``day``, in order.
    """
    prepared = prepare(day)
    if isinstance(prepared, str):
        return _nothing(day, prepared)
    grid = prepared.grid
    wind = pressure_on(grid, day.wind) if day.wind is not None else None
    law, rolls = _rolls(prepared)
    frequency = law.frequency if law else prepared.roll_frequency
    damping = law.damping if law else DAMPING_USUAL
    period = 1.0 / frequency if np.isfinite(frequency) else float("nan")
    cuts = [
        Cut(part, r.stationary + 0.5 * r.transient)
        for part, r in zip(still_stretches(grid, prepared.heel, prepared.windows, period), rolls, strict=True)
    ]
    low = low_heel(grid.step, prepared.heel, prepared.variance, cuts, frequency, damping, wind)
    found = [
        _window(prepared, span, roll, low, frequency, damping)
        for span, roll in zip(prepared.windows, rolls, strict=True)
    ]
    return _joined(day, prepared, found, low, wind, law)


def _rolls(prepared: Prepared) -> tuple[RollLaw | None, list[WindowRoll]]:
    grid, frequency = prepared.grid, prepared.roll_frequency
    still = WindowRoll(float("nan"), float("nan"), 0.0, 0.0)
    if not np.isfinite(frequency):
        return None, [still] * len(prepared.windows)
    envelopes = [envelope(prepared.heel[grid.slice(w.start, w.stop)], grid.step, frequency) for w in prepared.windows]
    law = day_law(envelopes, grid.step, frequency)
    used = law or RollLaw(frequency, float("nan"), DAMPING_USUAL, DAMPING_USUAL, 0.1)
    return law, [window_roll(e, grid.step, frequency, used) for e in envelopes]


def _window(
    prepared: Prepared, span: WindowSpan, roll: WindowRoll, low: LowHeel, frequency: float, damping: float
) -> Evaluated | str:
    grid = prepared.grid
    part = grid.slice(span.start, span.stop)
    index = np.arange(part.start, part.stop)
    index = index[np.isfinite(prepared.heel[index])]
    if index.size < SOONEST:
        return f"{index.size} bins of {grid.step:.2f} s with readings; {SOONEST} are needed"
    contrast = contrast_of(low, prepared.heel, prepared.variance, Cut(part, roll.stationary + 0.5 * roll.transient))
    fit = low.fit
    own, own_dof = own_scale(contrast, fit.density, fit.coefficient) if contrast and contrast.value.size else (1.0, 0.0)
    scale, scale_dof = shrunk(own, own_dof, fit.shared_dof)
    model = MotionModel(
        hats=fit.hats,
        density=fit.density * scale,
        roll_frequency=frequency,
        damping=damping,
        roll_variance=roll.stationary if np.isfinite(frequency) else 0.0,
        white=float(np.median(prepared.variance[index])),
    )
    parts, hats = covariances(model, grid.step, index - index[0], roll.transient, prepared.variance[index])
    heel = prepared.heel[index] - low.regressors[index] @ fit.coefficient
    fitted = mean_of(heel, parts)
    shares = np.array([fitted.weight @ h @ fitted.weight for h in hats]) * model.density / fitted.variance
    spread = float(shares @ fit.covariance @ shares) + fitted.variance_low**2 / fitted.variance**2 * 2.0 / scale_dof
    pressure = float(fitted.weight @ low.regressors[index, 0]) if low.regressors.shape[1] else float("nan")
    mine = roll.frequency
    motion = RollMotion(
        period=1.0 / mine if np.isfinite(mine) and mine > 0 else float("nan"),
        period_u=roll.frequency_u / mine**2 if np.isfinite(mine) and mine > 0 else float("nan"),
        damping=damping if np.isfinite(mine) else float("nan"),
        damping_u=float("nan"),
        amplitude=float(np.sqrt(2.0 * np.mean(fitted.roll**2))),
    )
    return Evaluated(
        span=span,
        index=index,
        fitted=fitted,
        model=model,
        parts=parts,
        roll=motion,
        pressure=pressure,
        dof=min(2.0 / max(spread, 1e-9), 1e6),
        own_scale=own,
        own_dof=own_dof,
    )


def covariances(
    model: MotionModel, step: float, place: np.ndarray, transient: float, noise: Array
) -> tuple[Parts, Array]:
    """Lay out a window's covariances on its bins.

    Parameters
    ----------
    place : (n,) int, bin numbers from the first.
    transient : rad2, variance of each component of the swing the window starts with.

    Returns
    -------
    parts : low-frequency heel, roll, transient, noise.
    hats : (p, n, n) low-frequency covariance for unit density at each node.
    """
    lag = np.abs(place[:, None] - place[None, :])
    lags = np.arange(int(place[-1]) + 1) * step
    table = model.hats.covariance(lags)
    hats = table[:, lag]
    low = np.asarray(np.tensordot(model.density, table, axes=1))[lag]
    roll, start = np.zeros_like(low), np.zeros_like(low)
    if model.roll_variance > 0.0:
        roll = model.roll_variance * roll_covariance(lags, model.roll_frequency, model.damping)[lag]
    if transient > 0.0 and np.isfinite(model.roll_frequency):
        turn = 2.0 * np.pi * model.roll_frequency * step * place
        swing = np.exp(-model.damping * turn) * np.array([np.cos(turn), np.sin(turn)])
        start = 4.0 * transient * swing.T @ swing
    return Parts(low=low, roll=roll, transient=start, noise=noise), hats


def _joined(
    day: Day,
    prepared: Prepared,
    found: list[Evaluated | str],
    low: LowHeel,
    wind: Pressure | None,
    law: RollLaw | None,
) -> DayHeel:
    good = [f for f in found if isinstance(f, Evaluated)]
    alignment, fit = prepared.alignment, low.fit
    coefficient = float(fit.coefficient[0]) if fit.coefficient.size else float("nan")
    coefficient_u = float(np.sqrt(fit.coefficient_covariance[0, 0])) if fit.coefficient.size else float("nan")
    reference = float(np.mean([f.pressure for f in good])) if fit.coefficient.size and good else float("nan")
    windows: list[WindowHeel] = []
    lookup = iter(found)
    size = len(day.windows)
    covariance = np.full((size, size), np.nan)
    places, times, gusts = [], [], []
    for k, span in enumerate(day.windows):
        one = next(lookup) if span in prepared.windows else "it stops before it starts"
        if isinstance(one, str):
            windows.append(_empty(span, one))
            continue
        middle = 0.5 * (span.start + span.stop) - alignment.centre
        gust = (one.pressure - reference) if fit.coefficient.size else 0.0
        heel = one.fitted.mean + (coefficient * reference if fit.coefficient.size else 0.0)
        lines = _budget(one, alignment.drift_u * abs(middle), alignment.wander_u, coefficient_u, gust)
        u = float(np.sqrt(sum(line.u**2 for line in lines)))
        places.append(k)
        times.append(middle)
        gusts.append(gust)
        covariance[k, k] = one.fitted.variance + alignment.wander_u**2
        windows.append(
            WindowHeel(
                span=span,
                heel=heel,
                u=u,
                dof=one.dof,
                budget=lines,
                stations=_stations(prepared, one, len(places) - 1),
                roll=one.roll,
                checks=(),
                verdict="fine",
                reasons=(),
                wind_correction=coefficient * gust if fit.coefficient.size else 0.0,
            )
        )
    neighbours = np.zeros((len(good), len(good)))
    for i in range(len(good)):
        for j in range(i):
            neighbours[i, j] = neighbours[j, i] = _shared(good[i], good[j], prepared.grid)
    for i, k in enumerate(places):
        for j, m in enumerate(places):
            if i != j:
                covariance[k, m] = neighbours[i, j]
            covariance[k, m] += alignment.drift_u**2 * times[i] * times[j]
            if fit.coefficient.size:
                covariance[k, m] += coefficient_u**2 * gusts[i] * gusts[j]
    dofs = [f.dof for f in good]
    zero_u = [k.zero_u for k in prepared.knowledge]
    frequency = law.frequency if law else float("nan")
    roll = NO_ROLL
    if law:
        amplitude = float(np.sqrt(np.mean([f.roll.amplitude**2 for f in good]))) if good else 0.0
        roll = RollMotion(1.0 / frequency, law.frequency_u / frequency**2, law.damping, law.damping_u, amplitude)
    return DayHeel(
        epoch_ns=day.epoch_ns,
        windows=tuple(windows),
        covariance=covariance,
        scale_u=alignment.scale_u,
        zero_u=float(1.0 / np.sqrt(np.sum(1.0 / np.maximum(zero_u, 1e-9) ** 2)))
        if np.isfinite(zero_u).all()
        else float("nan"),
        roll=roll,
        wind_coefficient=coefficient,
        wind_coefficient_u=coefficient_u,
        reference_wind=float(np.sqrt(abs(reference))) if fit.coefficient.size else float("nan"),
        spectrum=_spectrum(prepared.first_look, good, low),
        assumptions=alignment.assumptions,
        dof=float(np.median(dofs)) if dofs else float("nan"),
        marks=prepared.marks,
    )


def _budget(one: Evaluated, drift: float, wander: float, coefficient_u: float, gust: float) -> tuple[BudgetLine, ...]:
    lines = [
        BudgetLine("low-frequency heel", float(np.sqrt(one.fitted.variance_low))),
        BudgetLine("roll", float(np.sqrt(max(one.fitted.variance_roll, 0.0)))),
        BudgetLine("sensor noise", float(np.sqrt(one.fitted.variance_noise))),
        BudgetLine("drift", float(np.hypot(drift, wander)), "shared with the other windows"),
    ]
    if np.isfinite(coefficient_u):
        lines.append(BudgetLine("wind", abs(coefficient_u * gust), "shared with the other windows"))
    return tuple(lines)


def _shared(one: Evaluated, other: Evaluated, grid: Grid) -> float:
    """Covariance of two windows' means through low-frequency heel."""
    first, second = one.index[:: max(1, one.index.size // 12)], other.index[:: max(1, other.index.size // 12)]
    lag = (first[:, None] - second[None, :]) * grid.step
    density = np.sqrt(one.model.density * other.model.density)
    return float(np.mean(np.tensordot(density, one.model.hats.covariance(lag), axes=1)))


def _stations(prepared: Prepared, one: Evaluated, k: int) -> tuple[StationHeel, ...]:
    made = []
    alignment = prepared.alignment
    for s, trace in enumerate(prepared.traces):
        inside = (trace.time >= one.span.start) & (trace.time < one.span.stop)
        samples = int((inside & prepared.marks[s].good).sum())
        difference = prepared.aligned[s][one.index] - prepared.heel[one.index]
        here = np.isfinite(difference)
        used = samples >= 5 and bool(here.any())
        made.append(
            StationHeel(
                station=trace.station,
                heel=one.fitted.mean + float(np.mean(difference[here])) + float(alignment.zero[s])
                if used
                else float("nan"),
                u=float(np.sqrt(one.fitted.variance)) if used else float("nan"),
                offset=float(alignment.zero[s]),
                samples=samples,
                rate=samples / (one.span.stop - one.span.start),
                used=used,
                reason="" if used else "no good readings in this window",
            )
        )
    return tuple(made)


def _spectrum(look: Pooled, good: list[Evaluated], low: LowHeel) -> dict[str, Array]:
    model = np.zeros_like(look.frequency)
    if good:
        roll = float(np.mean([f.model.roll_variance for f in good]))
        model = replace(good[0].model, density=low.fit.density, roll_variance=roll).spectrum(look.frequency)
    return {"frequency": look.frequency, "density": look.density, "model": model}


def _empty(span: WindowSpan, reason: str) -> WindowHeel:
    nan = float("nan")
    stations = (StationHeel("", nan, nan, nan, 0, nan, False, reason),)
    return WindowHeel(span, nan, nan, nan, (), stations, NO_ROLL, (), "rejected", ("no_record",))


def _nothing(day: Day, reason: str) -> DayHeel:
    nan, size = float("nan"), len(day.windows)
    windows = tuple(_empty(span, reason) for span in day.windows)
    none = np.zeros(0)
    spectrum = {"frequency": none, "density": none, "model": none}
    return DayHeel(
        day.epoch_ns,
        windows,
        np.full((size, size), nan),
        nan,
        nan,
        NO_ROLL,
        nan,
        nan,
        nan,
        spectrum,
        (f"No heel could be evaluated: {reason}.",),
    )
