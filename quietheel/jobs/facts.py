"""Facts that people marked on the day, in the shape the reduction takes: who stood elsewhere, who overruled what."""

from __future__ import annotations

from collections.abc import Sequence

from config.plan import Overrule, Plan
from logger.events import Event, effective
from logger.marks import MarkedWindow
from logger.muster import Whereabouts, whereabouts
from reduction.moments import Shift


def shifts(plan: Plan, events: Sequence[Event], windows: Sequence[MarkedWindow]) -> tuple[Shift, ...]:
    """People who stood away from their muster stations, gathered over the windows it holds for."""
    ordered, voids = effective(events)
    changes = [event for event in ordered if event.kind == "people" and event.number not in voids]
    home = {place.name: place.position_m for place in plan.muster_stations}
    found: dict[tuple[str, str, object], tuple[Whereabouts, list[str]]] = {}
    for window in windows:
        for person in whereabouts(plan, changes, window.stop_ns or window.start_ns):
            known = person.place == "ashore" or person.at_m is not None
            if person.away and known and not (person.place == "ashore" and person.muster_station == "ashore"):
                found.setdefault((person.person, person.place, person.at_m), (person, []))[1].append(window.label)
    return tuple(
        Shift(
            what=person.person,
            group="people",
            mass=person.mass_kg,
            start=home.get(person.muster_station),
            stop=person.at_m,
            windows=tuple(labels),
        )
        for person, labels in found.values()
    )


def overrules(windows: Sequence[MarkedWindow]) -> tuple[Overrule, ...]:
    """Decisions on windows that were marked on the day."""
    return tuple(
        Overrule(window=window.label, verdict=window.overruled, reason=window.overrule_reason, by=window.overruled_by)
        for window in windows
        if window.overruled
    )
