"""Who stands where, and the moment that makes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from config.plan import Plan
from logger.events import Event


@dataclass(frozen=True)
class Whereabouts:
    """One person at one moment."""

    person: str
    duty: str
    mass_kg: float
    muster_station: str
    """Where the plan wants this person during windows."""
    place: str
    """Where the person was last said to be; ``ashore`` for one who left."""
    moment_tm: float
    """t m to starboard, against standing at the muster station; NaN where the place is not known."""

    @property
    def away(self) -> bool:
        """Not at the muster station."""
        return self.place != self.muster_station


def whereabouts(plan: Plan, changes: Iterable[Event], until_ns: int) -> tuple[Whereabouts, ...]:
    """Everyone's place at a moment, from the plan and the ``people`` marks up to then.

    Parameters
    ----------
    changes : ``people`` marks that stand, in order of time.
    """
    latest = {str(event.data["person"]): event for event in changes if event.at_ns <= until_ns}
    places = {station.name: station.position_m for station in plan.muster_stations}
    found = []
    for person in plan.people:
        event = latest.pop(person.name, None)
        home = places.get(person.muster_station)
        place, y = person.muster_station, home[1] if home else float("nan")
        mass_there = person.mass_kg
        if event is not None:
            place, y = _place(event, places)
            mass_there = 0.0 if place == "ashore" else person.mass_kg
        moment = 0.0
        if place != person.muster_station:
            home_y = home[1] if home else float("nan")
            moment = (mass_there * (y if mass_there else 0.0) - person.mass_kg * home_y) / 1000.0
        found.append(Whereabouts(person.name, person.duty, person.mass_kg, person.muster_station, place, moment))
    for name, event in latest.items():
        # Somebody not in the plan who came aboard: the mark says where and, if known, how heavy.
        place, y = _place(event, places)
        mass = float(event.data.get("mass_kg", 75.0))
        found.append(
            Whereabouts(name, "not in the plan", mass, "ashore", place, 0.0 if place == "ashore" else mass * y / 1000.0)
        )
    return tuple(found)


def _place(event: Event, places: dict[str, tuple[float, float, float]]) -> tuple[str, float]:
    data = event.data
    if data.get("ashore"):
        return "ashore", 0.0
    position = data.get("position_m")
    name = str(data.get("place") or "")
    if isinstance(position, (list, tuple)) and len(position) == 3:
        return name or f"at {position[0]:g}, {position[1]:g}, {position[2]:g} m", float(position[1])
    known = places.get(name)
    return name or "unknown", known[1] if known else float("nan")


def people_moment(people: Sequence[Whereabouts], plan: Plan) -> float:
    """Moment of everyone who is away from the muster station, t m to starboard; unknown places count nothing."""
    return float(sum(person.moment_tm for person in people if person.moment_tm == person.moment_tm))
