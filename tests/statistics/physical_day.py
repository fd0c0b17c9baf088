"""Days of the physical simulator (`sim.kinds`) as the mathematics is handed them; the second, independent generator."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dsp.types import Day, StationKnowledge, Trace, Wind, WindowSpan
from logger.records import Quantity
from sim.day import SimulatedDay, simulate
from sim.kinds import KINDS, make_kind

Array = NDArray[np.float64]
DEG = np.pi / 180.0
SCALE_U, YAW_U = 0.001, 0.7 * DEG
"""What `sim.kinds` draws its stations from; told to the estimator as a calibration record would."""


@dataclass(frozen=True)
class Physical:
    """One simulated day and its truth."""

    kind: str
    day: Day
    moment: Array
    """(k,) kg m."""
    heel: Array
    """(k,) rad, where she rests."""
    spoilt: tuple[tuple[str, ...], ...]
    displacement: float
    gm: float
    bm: float
    simulated: SimulatedDay | None
    kn: tuple[tuple[float, float], ...] = ()
    """Heel deg, KN m of a hull that is not wall-sided."""


def make(kind: str, seed: int, measured_wind: bool = True) -> Physical:
    """Simulate one day of a kind and hand it over as `dsp.types.Day`."""
    made = simulate(make_kind(kind, seed))
    epoch = made.epoch_ns
    by: dict[tuple[str, Quantity], Trace] = {}
    for signal in made.signals:
        factor = DEG if signal.quantity in (Quantity.HEEL, Quantity.TRIM, Quantity.WIND_DIRECTION) else 1.0
        time = (signal.time_ns - epoch) * 1e-9
        by[(signal.station, signal.quantity)] = Trace(signal.station, time, signal.value * factor)
    heel = tuple(t for (_, q), t in by.items() if q == Quantity.HEEL)
    trim = tuple(t for (_, q), t in by.items() if q == Quantity.TRIM)
    tension = tuple(Trace(t.station, t.time, t.value * 1e3) for (_, q), t in by.items() if q == Quantity.LINE_TENSION)
    wind = None
    if measured_wind:
        speed = next(t for (_, q), t in by.items() if q == Quantity.WIND_SPEED)
        angle = next((t for (_, q), t in by.items() if q == Quantity.WIND_DIRECTION), None)
        direction = None if angle is None else np.interp(speed.time, angle.time, np.unwrap(angle.value))
        wind = Wind(speed.time, speed.value, direction)
    moments = np.array([w.moment_tm for w in made.truth.windows]) * 1e3
    moved = {
        str(m.data.get("movement", m.data.get("label", ""))): (m.time_ns - epoch) * 1e-9
        for m in made.marks
        if m.kind == "movement"
    }
    windows = tuple(
        WindowSpan(
            label=w.label,
            start=(w.start_ns - epoch) * 1e-9,
            stop=(w.stop_ns - epoch) * 1e-9,
            moved_at=moved.get(w.label, math.nan),
            group=f"{w.moment_tm:.3f}",
        )
        for w in made.truth.windows
    )
    knowledge = tuple(StationKnowledge(t.station, scale_u=SCALE_U, yaw_u=YAW_U) for t in heel)
    return Physical(
        kind=kind,
        day=Day(epoch, heel, windows, knowledge, trim, wind, tension),
        moment=moments,
        heel=np.array([w.static_heel_deg for w in made.truth.windows]) * DEG,
        spoilt=tuple(w.spoilt for w in made.truth.windows),
        displacement=made.truth.displacement_t * 1e3,
        gm=made.truth.gm_m,
        bm=made.truth.bm_m,
        simulated=made,
        kn=made.scenario.vessel.kn,
    )


__all__ = ["KINDS", "Physical", "make"]
