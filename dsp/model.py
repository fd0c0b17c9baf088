"""The day's model: its roll, its low-frequency heel, its wind; learnt once, used for every window and live."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dsp.low import Cut, LowHeel, low_heel
from dsp.prepare import Prepared, even_parts, prepare
from dsp.roll import DAMPING_USUAL, RollLaw, WindowRoll, as_windows_agree, day_law, envelope, window_roll
from dsp.spectrum import Pooled, pooled
from dsp.stretches import still_stretches
from dsp.types import Day
from dsp.wind import Pressure, pressure_on


@dataclass(frozen=True)
class DayModel:
    """What the whole day says about how the vessel moves at this berth."""

    frequency: float
    """Hz, natural roll; NaN if none can be made out."""
    damping: float
    law: RollLaw | None
    """Roll with its uncertainties; None where there are too few periods to tell."""
    rolls: tuple[WindowRoll, ...]
    """One for each window."""
    low: LowHeel
    look: Pooled
    """Spectrum of the windows, pooled."""
    still: tuple[slice, ...]
    """Of the grid, for each window: where she stands as in it."""


@dataclass(frozen=True)
class Learnt:
    """A day on one grid with its model: what `dsp.day.evaluate_day` and `dsp.live.LiveView` both begin with."""

    prepared: Prepared
    wind: Pressure | None
    model: DayModel


def learnt_from(day: Day) -> Learnt | str:
    """Prepare a day and learn its model from its windows; or say in a sentence why there is nothing to work on."""
    prepared = prepare(day)
    if isinstance(prepared, str):
        return prepared
    wind = pressure_on(prepared.grid, day.wind) if day.wind is not None else None
    return Learnt(prepared, wind, model_of(prepared, wind))


def model_of(prepared: Prepared, wind: Pressure | None) -> DayModel:
    """Learn the day's model from everything that stands still in the record."""
    grid = prepared.grid
    law, rolls = rolls_of(prepared)
    frequency = law.frequency if law else prepared.roll_frequency
    damping = law.damping if law else DAMPING_USUAL
    still = still_stretches(grid, prepared.heel, prepared.windows, 1.0 / frequency)
    cuts = [Cut(part, r.stationary + 0.5 * r.transient) for part, r in zip(still, rolls, strict=True)]
    look = pooled(even_parts(grid, prepared.heel, prepared.windows), grid.step)
    low = low_heel(grid.step, prepared.heel, prepared.variance, cuts, frequency, damping, wind, look)
    return DayModel(frequency, damping, law, tuple(rolls), low, look, tuple(still))


def rolls_of(prepared: Prepared) -> tuple[RollLaw | None, list[WindowRoll]]:
    """Find roll of the day and of each window; a law of None means that too little roll can be made out."""
    grid, frequency = prepared.grid, prepared.roll_frequency
    if not np.isfinite(frequency):
        return None, [WindowRoll(float("nan"), float("nan"), 0.0, 0.0)] * len(prepared.windows)
    envelopes = [envelope(prepared.heel[grid.slice(w.start, w.stop)], grid.step, frequency) for w in prepared.windows]
    law = day_law(envelopes, grid.step, frequency)
    if law is None:
        # Windows of two periods each: what stands still beside them tells as much.
        still = still_stretches(grid, prepared.heel, prepared.windows, 1.0 / frequency)
        law = day_law([envelope(prepared.heel[part], grid.step, frequency) for part in still], grid.step, frequency)
    used = law or RollLaw(frequency, float("nan"), DAMPING_USUAL, DAMPING_USUAL, 0.1, frequency)
    rolls = [window_roll(e, grid.step, frequency, used) for e in envelopes]
    return law and as_windows_agree(law, rolls), rolls
