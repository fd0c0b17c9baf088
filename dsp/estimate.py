"""One window under the day's model: covariances, mean, effective degrees of freedom, roll."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import toeplitz

from dsp.low import Cut, LowHeel, contrast_of
from dsp.model import DayModel
from dsp.motion import MotionModel, roll_covariance
from dsp.prepare import Prepared
from dsp.reml import LowFit, own_scale, shrunk
from dsp.roll import WindowRoll
from dsp.types import Array, RollMotion, WindowSpan
from dsp.window import Fitted, Parts, mean_of

FEWEST_BINS = 8
"""Bins with readings that a window must have to be evaluated."""
TRANSIENT_FREEDOM = 4.0
"""The swing a window starts with is given this many times its estimated variance, so that it is fitted, not shrunk."""


@dataclass(frozen=True)
class Strength:
    """How strong the low-frequency heel of one piece of record is: a variance over the day's."""

    own: float
    """By itself."""
    own_dof: float
    drawn: float
    """Drawn towards 1."""
    drawn_dof: float

    def density(self, fit: LowFit) -> Array:
        """Return (p,) rad2/Hz at the nodes: the day's, with this strength below the roll."""
        return fit.density * np.where(np.arange(fit.hats.node.size) < fit.hats.low, self.drawn, 1.0)


@dataclass(frozen=True)
class Evaluated:
    """One window before the checks."""

    span: WindowSpan
    index: NDArray[np.int64]
    """(n,) bins of the day's grid with readings."""
    heel: Array
    """(n,) rad, combined, wind part not taken off."""
    wind_part: Array
    """(n,) rad, coefficient times pressure; zeros without wind."""
    fitted: Fitted
    """Of ``heel - wind_part``."""
    model: MotionModel
    parts: Parts
    roll: RollMotion
    pressure: float
    """(m/s)^2, weighted mean of the wind regressor; 0 without wind."""
    dof: float
    strength: Strength
    hat_variances: Array
    """(p,) variance of the mean for unit density at each node."""
    swing: float
    """rad2, variance of each component of the swing it starts with."""


def evaluate_window(prepared: Prepared, span: WindowSpan, roll: WindowRoll, model_of_day: DayModel) -> Evaluated | str:
    """Evaluate one window under the day's model, its own amplitudes drawn towards the day's.

    Parameters
    ----------
    roll : strength of its roll, from `dsp.roll.window_roll`.
    model_of_day : roll, low-frequency heel and wind of the day.

    Returns
    -------
    The window, or a reason why it cannot be evaluated.
    """
    grid, low = prepared.grid, model_of_day.low
    frequency, damping = model_of_day.frequency, model_of_day.damping
    part = grid.slice(span.start, span.stop)
    index = np.arange(part.start, part.stop)
    index = index[np.isfinite(prepared.heel[index])]
    if index.size < FEWEST_BINS:
        return f"{index.size} bins of {grid.step:.2f} s with readings; {FEWEST_BINS} are needed"
    strength = strength_of(prepared, part, roll.stationary + 0.5 * roll.transient, low)
    fit, scale = low.fit, strength.drawn
    model = MotionModel(
        hats=fit.hats,
        density=strength.density(fit),
        roll_frequency=frequency,
        damping=damping,
        roll_variance=roll.stationary if np.isfinite(frequency) else 0.0,
        white=float(np.median(prepared.variance[index])),
    )
    parts, table = covariances(model, grid.step, index - index[0], roll.transient, prepared.variance[index])
    heel = prepared.heel[index]
    wind_part = low.regressors[index] @ fit.coefficient
    fitted = mean_of(heel - wind_part, parts)
    hat_variances = table @ pairs(fitted.weight, index - index[0])
    shares = hat_variances * fit.free * scale / fitted.variance
    own_share = fitted.variance_low / fitted.variance
    spread = float(shares @ fit.covariance @ shares) + own_share**2 * 2.0 / strength.drawn_dof
    mine = roll.frequency
    told = bool(np.isfinite(mine) and mine > 0)
    motion = RollMotion(
        period=1.0 / mine if told else float("nan"),
        period_u=roll.frequency_u / mine**2 if told else float("nan"),
        damping=damping if told else float("nan"),
        damping_u=float("nan"),
        amplitude=float(np.sqrt(2.0 * np.mean(fitted.roll**2))),
    )
    return Evaluated(
        span=span,
        index=index,
        heel=heel,
        wind_part=np.asarray(wind_part),
        fitted=fitted,
        model=model,
        parts=parts,
        roll=motion,
        pressure=float(fitted.weight @ low.regressors[index, 0]) if low.regressors.shape[1] else 0.0,
        dof=min(2.0 / max(spread, 1e-9), 1e6),
        strength=strength,
        hat_variances=hat_variances,
        swing=roll.transient,
    )


def strength_of(prepared: Prepared, part: slice, roll_variance: float, low: LowHeel) -> Strength:
    """Find the strength of low-frequency heel in a piece of record.

    Parameters
    ----------
    part : bins of the day's grid.
    roll_variance : rad2 of its roll.
    """
    fit, contrast = low.fit, contrast_of(low, prepared.heel, prepared.variance, Cut(part, roll_variance))
    own, own_dof = own_scale(contrast, fit.density, fit.coefficient) if contrast and contrast.bands else (1.0, 0.0)
    return Strength(own, own_dof, *shrunk(own, own_dof, fit.shared_dof))


def covariances(
    model: MotionModel, step: float, place: NDArray[np.int64], transient: float, noise: Array
) -> tuple[Parts, Array]:
    """Lay out a window's covariances on its bins.

    Parameters
    ----------
    place : (n,) bin numbers from the first.
    transient : rad2, variance of each component of the swing the window starts with.
    noise : (n,) rad2.

    Returns
    -------
    parts : low-frequency heel, roll, transient, noise.
    table : (p, m) low-frequency covariance for unit density at each node, by lag in bins from 0 to the last bin.
    """
    lags = np.arange(int(place[-1]) + 1) * step
    table = model.hats.table(step, lags.size)
    low = by_lag(np.tensordot(model.density, table, axes=1), place)
    nodes = model.hats.low
    slow = np.asarray(np.tensordot(model.density[:nodes], table[:nodes], axes=1))
    nothing = np.broadcast_to(0.0, low.shape)
    roll, start = nothing, nothing
    if model.roll_variance > 0.0:
        wave = model.roll_variance * roll_covariance(lags, model.roll_frequency, model.damping)
        roll = by_lag(wave, place)
    if transient > 0.0 and np.isfinite(model.roll_frequency):
        turn = 2.0 * np.pi * model.roll_frequency * step * place
        swing = np.exp(-model.damping * turn) * np.array([np.cos(turn), np.sin(turn)])
        start = np.asarray((TRANSIENT_FREEDOM * transient * swing.T) @ swing)
    return Parts(low=low, roll=roll, transient=start, noise=noise, slow=slow), table


def by_lag(wave: Array, place: NDArray[np.int64]) -> Array:
    """Lay out an autocovariance (m,), by lag in bins, on the bins ``place`` (n,); (n, n)."""
    if int(place[-1] - place[0]) + 1 == place.size:
        return np.asarray(toeplitz(wave[: place.size]))
    return np.asarray(wave[np.abs(place[:, None] - place[None, :])])


def pairs(weight: Array, place: NDArray[np.int64]) -> Array:
    """Sum of products of weights by lag (m,), twice for lags above 0, so that ``w' K w = pairs @ K(lag)``."""
    size = int(place[-1]) + 1
    even = np.zeros(size)
    even[place] = weight
    pairs = np.correlate(even, even, mode="full")[size - 1 :]
    pairs[1:] *= 2.0
    return np.asarray(pairs)
