"""The day as people told it: which stations are left out, and which windows were taken under one moment."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from config.errors import bad
from config.plan import Plan
from config.sequence import movements
from config.shifts_table import ShiftRow
from config.units import TONNE
from dsp.types import Day
from logger.marks import MarkedWindow
from reduction.moments import planned_states

ALIKE = 2e-4
"""Moments that differ by less than this share of the largest count as one: of 3 degrees, less than a thousandth."""


def as_told(day: Day, plan: Plan, windows: Sequence[MarkedWindow], shifts: Sequence[ShiftRow] = ()) -> Day:
    """The day without the stations of ``settings.leave_out``, and with the state of the weights as each window's group.

    States count as one if they have the same moment: in the customary sequence the zeros do where all weights are
    equal. A window in which somebody or something else is known to have stood elsewhere is a state of its own, and so
    is one whose moment cannot be told.

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
    groups = {label: "" if moment is None else names[moment] for label, moment in moments.items()}
    return replace(day, windows=tuple(replace(span, group=groups.get(span.label, "")) for span in day.windows))


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
