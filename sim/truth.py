"""What is true of a synthetic day: static heels, stability, lightship, and what was spoilt and when."""

from __future__ import annotations

import json
import math
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from config.units import DEGREE
from sim.condition import resting_heel
from sim.scenario import Centre, Scenario
from sim.spoils import FOR_GOOD, SensorFault
from sim.timeline import Timeline
from sim.vessel import Floating, LinearVessel
from sim.weights import place


@dataclass(frozen=True)
class WindowTruth:
    """One window as it truly was."""

    label: str
    start_ns: int
    stop_ns: int
    moment_tm: float
    """Transverse moment of test weights and people at their stations, t m to starboard."""
    static_heel_deg: float
    """Where she rests under that moment, with nothing disturbing."""
    mean_heel_deg: float
    """Mean of the true heel over the window, disturbed as it was."""
    spoilt: tuple[str, ...]
    """Reason codes of what spoilt it; empty: clean."""


@dataclass(frozen=True)
class Spoilt:
    """One thing that went wrong."""

    code: str
    what: str
    start_ns: int
    stop_ns: int
    window: str


@dataclass(frozen=True)
class Truth:
    """The whole truth of one day."""

    name: str
    seed: int
    displacement_t: float
    gm_m: float
    """Fluid, upright, first state of the weights."""
    kg_m: float
    """Solid, first state."""
    km_m: float
    bm_m: float
    draught_m: float
    trim_m: float
    free_surface_tm: float
    roll_period_s: float
    radius_m: float
    lcg_m: float
    lightship: dict[str, float] | None
    """mass_t, vcg_m, lcg_m, tcg_m."""
    windows: tuple[WindowTruth, ...]
    spoils: tuple[Spoilt, ...] = ()
    kn: tuple[tuple[float, float], ...] = ()
    """(heel in deg, KN in m) at this displacement and trim: the cross curve a builder would have handed over."""

    def window(self, label: str) -> WindowTruth:
        """One window by its label."""
        return next(w for w in self.windows if w.label == label)

    def as_json(self) -> str:
        """Write it as JSON; what is not known is null."""
        return json.dumps(_without_nan(asdict(self)), indent=1, ensure_ascii=False)

    def write(self, path: Path) -> None:
        """Write ``truth.json``."""
        path.write_text(self.as_json() + "\n", encoding="utf-8")


CODES = {
    "walk": "people",
    "taut": "taut",
    "early": "transient",
    "squall": "wind",
    "passing": "burst",
    "wash": "burst",
    "tug": "burst",
    "crane_not_stowed": "offset",
    "wrong_weight": "wrong_weight",
    "unconfirmed": "unconfirmed",
}
"""Reason code that a careful judge would give each kind of spoil."""
KN_ANGLES = (0, 1, 2, 3, 4, 5, 6, 8, 10, 12)
"""Degrees."""
SENSOR_CODES = {
    "stuck": "stuck",
    "dropout": "gap",
    "spikes": "spikes",
    "noise": "noise",
    "step": "disagreement",
    "saturated": "saturated",
}


def tell_truth(
    scenario: Scenario,
    plan: Timeline,
    floating: Floating,
    vessel: LinearVessel,
    epoch_ns: int,
    heel: NDArray[np.float64],
    step: float,
) -> Truth:
    """Write down the truth of a day once it has been stepped through."""
    spoils = tuple(_spoilt(scenario, plan, epoch_ns))
    people = sum(p.mass_kg * p.at_m[1] for p in scenario.people)
    first = plan.windows[0].places if plan.windows else {}
    windows = []
    for window in plan.windows:
        moment = people + floating.base_moment
        vertical = 0.0
        for weight in scenario.weights:
            _, y, z = place(weight, window.places[weight.name])
            moment += weight.mass_t * 1e3 * y
            vertical += weight.mass_t * 1e3 * (z - place(weight, first[weight.name])[2])
        rest = resting_heel(floating, scenario.liquids, moment, vertical)
        low, high = round(window.opened / step), round(window.closed / step)
        start, stop = (epoch_ns + round(t * 1e9) for t in (window.opened, window.closed))
        within = tuple(sorted({s.code for s in spoils if s.start_ns < stop and s.stop_ns > start}))
        windows.append(
            WindowTruth(
                window.label,
                start,
                stop,
                (moment - floating.base_moment) / 1e3,
                rest / DEGREE,
                float(np.mean(heel[low:high])) / DEGREE,
                within,
            )
        )
    surface = floating.displacement * (floating.restoring.gm - floating.gm_fluid)
    return Truth(
        scenario.name,
        scenario.seed,
        floating.displacement / 1e3,
        floating.gm_fluid,
        floating.kg,
        floating.km,
        floating.bm,
        floating.draught,
        math.tan(floating.base_trim) * scenario.vessel.length_m,
        surface / 1e3,
        scenario.vessel.period_s,
        vessel.radius,
        floating.lcg,
        None if scenario.loading is None else _centre(scenario.loading.lightship),
        tuple(windows),
        spoils,
        tuple((float(a), _kn(floating, float(a) * DEGREE)) for a in KN_ANGLES),
    )


def _kn(floating: Floating, heel: float) -> float:
    return floating.restoring.arm(heel) + floating.kg * math.sin(heel)


def _centre(part: Centre) -> dict[str, float]:
    x, y, z = part.at_m
    return {"mass_t": part.mass_t, "vcg_m": z, "lcg_m": x, "tcg_m": y}


def _spoilt(scenario: Scenario, plan: Timeline, epoch_ns: int) -> list[Spoilt]:
    found = []
    for spoil in scenario.spoils:
        start = plan.at(spoil)
        window = plan.window(spoil.window) if spoil.window else None
        length = getattr(spoil, "for_s", None)
        stop = start + length if length else (window.closed if window else start + 60.0)
        code = CODES.get(spoil.type, spoil.type)
        if isinstance(spoil, SensorFault):
            code = SENSOR_CODES[spoil.fault]
        if spoil.type in ("early", "crane_not_stowed", "wrong_weight", "unconfirmed", "taut") and window:
            start = min(start, window.opened)
        if spoil.type == "passing":
            reach = spoil.waves * spoil.period_s / 2.0
            start, stop = start - reach, start + reach
        left_out = ("type", "window", "after_s")
        said = ", ".join(f"{key} {_spell(value)}" for key, value in spoil if key not in left_out and value is not None)
        found.append(
            Spoilt(
                code, f"{spoil.type}: {said}", epoch_ns + round(start * 1e9), epoch_ns + round(stop * 1e9), spoil.window
            )
        )
    return found


def _without_nan(value: object) -> object:
    if isinstance(value, dict):
        return {key: _without_nan(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_without_nan(inner) for inner in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def _spell(value: object) -> str:
    """A setting as a person would write it.

    >>> _spell(0.9), _spell((21.0, 4.8)), _spell(1e9)
    ('0.9', '21, 4.8', 'for good')
    """
    if isinstance(value, (tuple, list)):
        return ", ".join(_spell(one) for one in value)
    if isinstance(value, float):
        return "for good" if value >= FOR_GOOD else f"{value:g}"
    return str(value)
