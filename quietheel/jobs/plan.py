"""Check a plan weeks before: heel of every movement, interval to expect on GM, what to think about, what is missing."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from config.folder import TestFolder
from config.plan import Plan
from config.sequence import movements, spell
from config.tables import read_tables
from config.units import COVERAGE_95, DEGREE, TONNE
from logger.daystate import state_of_day
from logger.events import EventLog
from quietheel.jobs.plan_advice import (
    DRAUGHT_SURVEY_PERCENT,
    PlannedMovement,
    advice_on,
    coarse_offsets,
    lacks,
    lacks_of_import,
    unscaled,
)
from quietheel.jobs.plan_slips import refused, slips
from reduction.moments import WindowState, window_states
from reduction.planning.forecast import (
    LEFT_BY_WIND_MEASURED,
    Forecast,
    forecast,
    gust_heel_density,
    heel_of,
    relative_u,
    windage,
)
from reduction.types import State

WINDOW_LENGTHS_S = (60.0, 120.0, 180.0, 300.0, 600.0)
USUAL_LIFT_S = 600.0
"""Time to move a weight, clear the deck and muster (common practice: 5 to 15 minutes)."""
STATION_U_DEG = 0.0005
"""What a good station's noise and wander leave in a window's mean (judgement)."""


@dataclass(frozen=True)
class PlanCheck:
    """What a plan comes to."""

    name: str
    movements: tuple[PlannedMovement, ...]
    heel_port_deg: float
    heel_starboard_deg: float
    """Largest expected heel to each side."""
    forecasts: tuple[Forecast, ...]
    """For each of several window lengths."""
    wanted: tuple[float, float]
    """Displacement (kg) and GM (m) that the forecast stands on."""
    weight_for_range_t: tuple[float, float]
    """Mass of each weight, were they alike, for the least and the most heel wanted."""
    day_s: float
    """Length of the day from the gangway to the last window, by movements and window length."""
    advice: tuple[str, ...]
    """What to think about, most important first."""
    missing: tuple[str, ...]
    """What the folder lacks, and what it costs."""

    @property
    def ready(self) -> bool:
        """Nothing is missing that the day cannot do without."""
        return not any(line.startswith("needed") for line in self.missing)


def check_plan(folder: Path | str = ".") -> PlanCheck:
    """Check a test folder's plan and tables.

    Raises
    ------
    BadInput with every fault of every file.

    >>> import quietheel
    >>> quietheel.check_plan("demo-day").heel_starboard_deg  # doctest: +SKIP
    3.5
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    tables = read_tables(place, plan)
    marked = state_of_day(EventLog(place.path).read(), plan)
    steps = movements(plan)
    states: tuple[State, ...] = ()
    if steps and (plan.weights or all(step.moment_tm is not None for step in steps)):
        states = window_states(plan, [WindowState(step.label) for step in steps]).states
    displacement = (plan.vessel.displacement_t or math.nan) * TONNE
    gm = plan.vessel.estimated_gm_m or math.nan
    bm = plan.hydrostatics.bm_m or 0.0
    known = math.isfinite(displacement) and math.isfinite(gm)
    planned = tuple(
        PlannedMovement(
            step.label,
            spell(step),
            state.moment / TONNE,
            math.degrees(heel_of(state.moment, displacement, gm, bm)) if known else math.nan,
        )
        for step, state in zip(steps, states, strict=False)
    )
    heels = [p.heel_deg for p in planned]
    starboard, port = max([*heels, 0.0]), -min([*heels, 0.0])
    forecasts = tuple(_forecast(plan, [s.moment for s in states], displacement, gm, d) for d in WINDOW_LENGTHS_S)
    masses = _masses(plan, displacement, gm)
    if marked.imported:
        advice, missing = unscaled(plan), lacks_of_import(plan, tables, marked.windows)
    else:
        advice = advice_on(plan, planned, starboard, port, forecasts, masses, known)
        missing = lacks(plan, tables)
    check = PlanCheck(
        name=plan.test.name,
        movements=planned,
        heel_port_deg=port,
        heel_starboard_deg=starboard,
        forecasts=forecasts if known and len(states) > 1 else (),
        wanted=(displacement, gm),
        weight_for_range_t=masses,
        day_s=len(steps) * (plan.settings.window_s + USUAL_LIFT_S),
        advice=(
            *slips(plan, tables),
            *coarse_offsets(plan, tables),
            *advice,
        ),
        missing=(*refused(plan), *missing),
    )
    return check


def _forecast(plan: Plan, moments: list[float], displacement: float, gm: float, window_s: float) -> Forecast:
    area, lever = windage(plan)
    abeam = abs(math.sin(plan.weather.direction_from_bow_deg * DEGREE))
    density = gust_heel_density(plan.weather.wind_m_s, abeam, area, lever, displacement, gm)
    if any(channel.quantity == "wind_speed" for s in plan.stations for channel in s.channels):
        density *= LEFT_BY_WIND_MEASURED**2
    heel_stations = [s for s in plan.stations if any(c.quantity == "heel" for c in s.channels)]
    scales = [relative_u(s.calibration.scale_u95_percent, 0.5) for s in heel_stations]
    scale_u = math.sqrt(1.0 / sum(1.0 / max(u, 1e-6) ** 2 for u in scales)) if scales else relative_u(None, 0.5)
    if plan.hydrostatics.source == "values":
        mass, u95 = plan.vessel.displacement_t, plan.vessel.displacement_u95_t
        displacement_u = relative_u(100.0 * u95 / mass if mass and u95 is not None else 0.0, 0.0)
    else:
        displacement_u = relative_u(None, DRAUGHT_SURVEY_PERCENT)
    weight_u = math.hypot(*_weight_relative_u(plan))
    return forecast(
        moments,
        displacement,
        gm,
        window_s=window_s,
        density=density,
        station_u=STATION_U_DEG * DEGREE,
        scale_u=scale_u,
        displacement_u=displacement_u,
        moment_u=weight_u,
    )


def _weight_relative_u(plan: Plan) -> tuple[float, float]:
    """Relative standard uncertainties of the sum of masses and of the distances moved."""
    if not plan.weights:
        return 0.0, 0.0
    total = sum(w.mass_t for w in plan.weights) * TONNE
    mass = math.sqrt(sum((w.mass_u95_kg or 0.0) ** 2 for w in plan.weights)) / total / COVERAGE_95
    distance = sum(abs(w.starboard_m[1] - w.port_m[1]) for w in plan.weights)
    u = math.sqrt(sum(2.0 * (w.position_u95_m or 0.0) ** 2 for w in plan.weights)) / COVERAGE_95
    return mass, u / distance if distance else 0.0


def _masses(plan: Plan, displacement: float, gm: float) -> tuple[float, float]:
    levers = [(abs(w.port_m[1]) + abs(w.starboard_m[1])) / 2.0 for w in plan.weights]
    if not levers or not math.isfinite(displacement * gm):
        return math.nan, math.nan
    bm = plan.hydrostatics.bm_m or 0.0

    def mass(heel_deg: float) -> float:
        tangent = math.tan(heel_deg * DEGREE)
        return displacement * tangent * (gm + 0.5 * bm * tangent**2) / sum(levers) / TONNE

    return mass(plan.limits.heel_min_deg), mass(plan.limits.heel_max_deg)
