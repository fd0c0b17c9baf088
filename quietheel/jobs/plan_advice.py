"""What to think about before the day, and what the folder still lacks; each with its source where it has one."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from config.errors import BadInput
from config.plan import Plan
from config.sequence import positions
from config.tables import Tables
from config.units import DEGREE, TONNE
from logger.marks import MarkedWindow
from reduction.planning.forecast import Forecast
from reduction.water.hull import make_hull
from reduction.water.hydrostatics import FromOffsets
from reduction.water.two_routes import coarse_stations

DRAUGHT_SURVEY_PERCENT = 0.5
"""Accuracy of a good draught survey (Draught surveys, a guide to good practice, 1998: catalogue summary)."""


@dataclass(frozen=True)
class PlannedMovement:
    """One state of the weights with what to expect of it."""

    label: str
    call: str
    """As it is called out on deck."""
    moment_tm: float
    heel_deg: float
    """Expected, steady; NaN without displacement and GM."""


def advice_on(
    plan: Plan,
    planned: tuple[PlannedMovement, ...],
    starboard: float,
    port: float,
    forecasts: tuple[Forecast, ...],
    masses: tuple[float, float],
    known: bool,
) -> Iterator[str]:
    """Say what to think about, most important first, from the expected heels, forecasts and positions."""
    low, high = plan.limits.heel_min_deg, plan.limits.heel_max_deg
    if known and planned:
        for side, heel in (("starboard", starboard), ("port", port)):
            if heel < low:
                yield (
                    f"heel to {side} is only {heel:.2f} deg, below {low:g} deg: at least {masses[0]:.2f} t each, "
                    "or farther out (heel 1 to 4 deg each side: class rules; 2008 IS Code Annex 1, from memory)"
                )
            if heel > high:
                yield (
                    f"heel to {side} reaches {heel:.2f} deg, above {high:g} deg: at most {masses[1]:.2f} t each "
                    "(heel 1 to 4 deg each side: class rules; 2008 IS Code Annex 1, from memory)"
                )
        spread = {round(p.moment_tm, 3) for p in planned}
        if len(planned) < 9:
            yield f"{len(planned)} windows planned; zero and eight are customary (2008 IS Code Part B 8.4.1.2)"
        if len(spread) < 5:
            yield f"only {len(spread)} different moments; more of them show a taut line or free liquid in the plot"
    if not any(s.kind in ("pendulum", "u_tube") for s in plan.stations):
        yield "no pendulum or U-tube; authorities ask for at least one beside electronic sensors (from memory)"
    for station in plan.stations:
        if station.kind == "pendulum" and station.length_m and known:
            deflection = station.length_m * math.tan(max(min(starboard, port), 0.0) * DEGREE)
            if deflection < 0.15:
                wanted = 0.15 / math.tan(max(min(starboard, port), 0.1) * DEGREE)
                yield (
                    f"pendulum {station.name} deflects {1000 * deflection:.0f} mm; 150 mm each side wants "
                    f"{wanted:.1f} m of line (US practice; 2008 IS Code Annex 1 2.4, from memory)"
                )
    yield from unscaled(plan)
    if sum(any(c.quantity == "heel" for c in s.channels) for s in plan.stations) < 2:
        yield "one heel station only; two or three show drift and a fault of one of them"
    if not any(c.quantity == "wind_speed" for s in plan.stations for c in s.channels) and plan.weather.wind_m_s > 3:
        yield f"wind of {plan.weather.wind_m_s:g} m/s expected and none measured: an anemometer pays for itself"
    yield from _reach(plan)
    yield from _longest(plan, forecasts)


def unscaled(plan: Plan) -> Iterator[str]:
    """Name the heel stations whose scale has no interval."""
    for station in plan.stations:
        if any(c.quantity == "heel" for c in station.channels) and station.calibration.scale_u95_percent is None:
            yield f"station {station.name} has no interval of scale: 0.5 % is assumed, and that goes straight into GM"


def _reach(plan: Plan) -> Iterator[str]:
    sides = positions(plan) if plan.weights else {}
    used = {(name, side) for state in sides.values() for name, side in state.items()}
    for weight in plan.weights:
        if plan.vessel.breadth_m:
            for side, point in (("port", weight.port_m), ("starboard", weight.starboard_m)):
                if abs(point[1]) > plan.vessel.breadth_m / 2.0:
                    yield f"weight {weight.name} to {side} stands {abs(point[1]):.2f} m out: beyond the vessel's side"
        if weight.port_m[1] >= weight.starboard_m[1]:
            yield f"weight {weight.name}: its port position is not to port of its starboard one; port is negative y"
        for side, point in (("port", weight.port_m), ("starboard", weight.starboard_m)):
            if plan.cranes and (weight.name, side) in used:
                short = min(
                    math.hypot(point[0] - c.position_m[0], point[1] - c.position_m[1]) - c.outreach_m
                    for c in plan.cranes
                )
                if short > 0:
                    yield f"no crane reaches weight {weight.name} to {side}: {short:.1f} m short"


def _longest(plan: Plan, forecasts: tuple[Forecast, ...]) -> Iterator[str]:
    if not forecasts or not math.isfinite(forecasts[0].gm_u):
        return
    at = min(forecasts, key=lambda f: abs(f.window_s - plan.settings.window_s))
    source, share = max(at.parts, key=lambda part: part[1])
    total = sum(part**2 for _, part in at.parts)
    if total > 0:
        taken = ""
        if source == "displacement" and plan.hydrostatics.source != "values":
            taken = f", taken as known to {DRAUGHT_SURVEY_PERCENT:g} % once draughts are read"
        yield f"largest part of the interval of GM: {source} ({share**2 / total:.0%} of its variance{taken})"


def lacks(plan: Plan, tables: Tables) -> Iterator[str]:
    """Name what plan and folder lack; lines beginning with ``needed`` are things the day cannot do without."""
    if plan.vessel.displacement_t is None and tables.waterline is None:
        yield "needed: vessel.displacement_t, an estimate before the day; without it there is no expected heel"
    if plan.vessel.estimated_gm_m is None:
        yield "needed: vessel.estimated_gm_m; without it there is no expected heel"
    if not plan.stations:
        yield "needed: [[stations]]; nothing would be recorded"
    if not plan.weights and not plan.movements:
        yield "needed: [[weights]] and the sequence; moments are computed from positions"
    yield from _tables_lacking(plan, tables)
    if not plan.people:
        yield "people: who is aboard and where they muster"
    if not plan.moorings:
        yield "moorings: which line could spoil a window, and who tends it"
    yield from _limits_lacking(plan)
    if not plan.schedule:
        yield "schedule: the time table of the day, with shore breaks"


def lacks_of_import(plan: Plan, tables: Tables, windows: Sequence[MarkedWindow]) -> Iterator[str]:
    """Name what the folder of an imported record lacks: its day is over and its windows carry their moments."""
    standing = [window for window in windows if not window.voided]
    if plan.vessel.displacement_t is None and tables.waterline is None:
        yield "needed: vessel.displacement_t as inclined, or waterline.csv with hydrostatics; without it there is no GM"
    if len({window.moment_tm for window in standing}) < 2:
        yield "needed: windows of two different moments; without them there is no GM"
    bare = [window.label for window in standing if window.moment_u95_tm is None]
    if bare:
        which = "of every window" if len(bare) == len(standing) else f"of {', '.join(bare)}"
        yield f"moments: interval {which} (moment_u95_tm in the table of windows); without it taken as given"
    heel = [s for s in plan.stations if any(c.quantity == "heel" for c in s.channels)]
    if not heel:
        yield "stations: no heel station with its calibration; 0.5 % of scale is assumed"
    if any(s.calibration.zero_u95_deg is None for s in heel):
        names = ", ".join(s.name for s in heel if s.calibration.zero_u95_deg is None)
        yield f"stations: interval of the zero of {names} (zero_u95_deg); without it upright is known to 0.5 degrees"
    yield from _tables_lacking(plan, tables)
    yield from _limits_lacking(plan)


def _tables_lacking(plan: Plan, tables: Tables) -> Iterator[str]:
    if plan.hydrostatics.source == "values" and plan.hydrostatics.bm_m is None and tables.offsets is None:
        yield "hydrostatics: without BM or a table GM comes from the straight line alone"
    if plan.hydrostatics.source == "values" and plan.hydrostatics.km_m is None:
        yield "hydrostatics: without KM there is no KG and no lightship"
    if tables.survey is None:
        yield "survey.csv: the deadweight survey; without it there is no lightship"
    if tables.waterline is None:
        yield "waterline.csv: draughts and freeboards of the day; displacement is then as typed"
    if tables.density is None:
        yield "density.csv: water samples of the day"


def _limits_lacking(plan: Plan) -> Iterator[str]:
    if not plan.limits.conditions and plan.limits.min_gm_m is None:
        yield "limits: nothing to hold the lightship against, so no answer to 'did we pass?'"


def coarse_offsets(plan: Plan, tables: Tables) -> Iterator[str]:
    """Say where the stations of offsets.csv are too far apart at the displacement expected, even keel."""
    length, displacement = plan.vessel.length_m, plan.vessel.displacement_t
    if plan.hydrostatics.source != "offsets" or tables.offsets is None or length is None or displacement is None:
        return
    source = FromOffsets(make_hull(tables.offsets, length, plan.hydrostatics.plating))
    try:
        at = source.floating_at(displacement * TONNE, plan.hydrostatics.density_kg_m3)
    except BadInput:
        yield f"offsets.csv: the hull does not float at {displacement:g} t; look at its units, and at displacement_t"
        return
    yield from coarse_stations(plan.hydrostatics, source, at)
