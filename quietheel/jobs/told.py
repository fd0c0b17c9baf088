"""The day as people told it: which stations are left out, and which windows were taken under one moment."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from config.errors import bad
from config.plan import Plan
from config.sequence import movements
from config.shifts_table import ShiftRow
from config.units import STANDARD_GRAVITY, TONNE
from dsp.types import Day, Trace, WindowSpan
from logger.marks import MarkedWindow
from reduction.moments import planned_states

ALIKE = 2e-4
"""Moments that differ by less than this share of the largest count as one: of 3 degrees, less than a thousandth."""

GYRATION = (0.30, 0.50)
"""Radius of gyration in roll, added mass included, over breadth: wider than the 0.35 to 0.45 of common practice."""
ESTIMATED = 1.3
"""A period estimated beforehand may be off by this factor either way (judgement)."""


def as_told(day: Day, plan: Plan, windows: Sequence[MarkedWindow], shifts: Sequence[ShiftRow] = ()) -> Day:
    """The day without the stations of ``settings.leave_out``, with the state of the weights as each window's group.

    States count as one if they have the same moment: in the customary sequence the zeros do where all weights are
    equal. A window in which somebody or something else is known to have stood elsewhere is a state of its own, and so
    is one whose moment cannot be told. Where moments, displacement and breadth tell the natural roll, `roll_between`.

    Parameters
    ----------
    windows : as marked, by label. shifts : of ``shifts.csv``.

    Raises
    ------
    BadInput where ``settings.leave_out`` names no heel station, or all of them.
    """
    day = _without(day, plan)
    planned = {label: state.moment for label, state in planned_states(plan, {}).items()} if plan.weights else {}
    planned |= {m.label: m.moment_tm * TONNE for m in movements(plan) if m.moment_tm is not None}
    shifted = {label for row in shifts for label in row.windows}

    def moment_of(window: MarkedWindow) -> float | None:
        if window.label in shifted or window.people_moment_tm:
            return None
        if window.moment_tm is not None:
            return window.moment_tm * TONNE
        return planned.get(window.movement or window.label)

    moments = {window.label: moment_of(window) for window in windows}
    known = sorted({moment for moment in moments.values() if moment is not None})
    step = ALIKE * max((abs(moment) for moment in known), default=0.0)
    names: dict[float, str] = {}
    last = 0.0
    for number, moment in enumerate(known):
        names[moment] = names[last] if number and moment - last <= step else f"{moment / TONNE:.6g} t m"
        last = moment
    day = replace(day, roll_between=roll_between(day, plan, moments))
    groups = {label: "" if moment is None else names[moment] for label, moment in moments.items()}
    return replace(day, windows=tuple(replace(span, group=groups.get(span.label, "")) for span in day.windows))


def roll_between(day: Day, plan: Plan, moments: Mapping[str, float | None]) -> tuple[float, float] | None:
    """The natural period (s) that is likely, shortest and longest; None where nothing tells.

    ``T = 2 pi k / sqrt(g GM)``, with a radius of gyration ``k`` of `GYRATION` times the breadth and GM as the heel
    answered the moments, here by medians: it is to tell roll from chop, no more. Else the plan's estimate.

    Parameters
    ----------
    moments : kg m, by label of window; None where it cannot be told.
    """
    vessel = plan.vessel
    known = [(span, moment) for span in day.windows if (moment := moments.get(span.label)) is not None]
    slopes = [slope for trace in day.heel if (slope := abs(_slope(trace, known))) > 0.0]
    if vessel.breadth_m and vessel.displacement_t and slopes:
        gm = 1.0 / (vessel.displacement_t * TONNE * float(np.median(slopes)))
        unit = 2.0 * math.pi * vessel.breadth_m / math.sqrt(STANDARD_GRAVITY * gm)
        return GYRATION[0] * unit, GYRATION[1] * unit
    estimate = vessel.estimated_period_s
    return (estimate / ESTIMATED, estimate * ESTIMATED) if estimate else None


def _slope(trace: Trace, known: Sequence[tuple[WindowSpan, float]]) -> float:
    """Heel per moment (rad per kg m) of one station by its medians; 0 where it tells nothing."""
    pairs = []
    for span, moment in known:
        first, last = np.searchsorted(trace.time, [span.start, span.stop])
        if last > first:
            pairs.append((moment, float(np.median(trace.value[first:last]))))
    if len({moment for moment, _ in pairs}) < 2:
        return 0.0
    moment, heel = np.array(pairs).T
    away = moment - moment.mean()
    return float(away @ heel / (away @ away))


def _without(day: Day, plan: Plan) -> Day:
    """The day without the stations that are not to be used; their readings stay in the record."""
    gone = plan.settings.leave_out
    if not gone:
        return day
    read = {name for span in day.windows for name, _, _ in span.hand_readings}
    known = sorted({trace.station for trace in day.heel} | read)
    for name in gone:
        if name not in known:
            raise bad(
                "plan.toml or --set",
                "settings.leave_out",
                name,
                f"heel stations of this day, with commas between several: {', '.join(known) or 'none'}",
            )
    if set(known) <= set(gone):
        wanted = f"at least one heel station has to be left, of {', '.join(known)}"
        raise bad("plan.toml or --set", "settings.leave_out", ", ".join(gone), wanted)
    spans = tuple(
        replace(span, hand_readings=tuple(one for one in span.hand_readings if one[0] not in gone))
        for span in day.windows
    )
    return replace(day, heel=tuple(t for t in day.heel if t.station not in gone), windows=spans, left_out=gone)
