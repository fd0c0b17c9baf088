"""Who stands where, and the moment that makes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from config.model import Point
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
    at_m: Point | None = None
    """Where that is; None ashore and where the place is not known."""

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
        place, at = person.muster_station, home
        mass_there = person.mass_kg
        if event is not None:
            place, at = _place(event, places)
            mass_there = 0.0 if place == "ashore" else person.mass_kg
        moment = 0.0
        if place != person.muster_station:
            home_y = home[1] if home else float("nan")
            there = 0.0 if not mass_there else at[1] if at else float("nan")
            moment = (mass_there * there - person.mass_kg * home_y) / 1000.0
        found.append(Whereabouts(person.name, person.duty, person.mass_kg, person.muster_station, place, moment, at))
    for name, event in latest.items():
        # Somebody not in the plan who came aboard: the mark says where and, if known, how heavy.
        place, at = _place(event, places)
        said = event.data.get("mass_kg")
        mass = 75.0 if said is None else float(said)
        moment = 0.0 if place == "ashore" else mass * (at[1] if at else float("nan")) / 1000.0
        found.append(Whereabouts(name, "not in the plan", mass, "ashore", place, moment, at))
    return tuple(found)


def _place(event: Event, places: dict[str, Point]) -> tuple[str, Point | None]:
    data = event.data
    if data.get("ashore"):
        return "ashore", None
    position = data.get("position_m")
    name = str(data.get("place") or "")
    if isinstance(position, (list, tuple)) and len(position) == 3:
        at = (float(position[0]), float(position[1]), float(position[2]))
        return name or f"at {at[0]:g}, {at[1]:g}, {at[2]:g} m", at
    return name or "unknown", places.get(name)


def people_moment(people: Sequence[Whereabouts]) -> float:
    """Moment of everyone who is away from the muster station, t m to starboard; unknown places count nothing."""
    return float(sum(person.moment_tm for person in people if person.moment_tm == person.moment_tm))
