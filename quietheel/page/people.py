"""The roll call as it is shown: the roster by muster station, who changed place, and what moment that made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from config.plan import Plan
from logger.events import Event, effective
from logger.muster import Whereabouts, people_moment, whereabouts
from quietheel.page.words import moment_words


def roll_call_of(plan: Plan, events: Sequence[Event], until_ns: int) -> list[str]:
    """Who stood away from the muster station at one moment, with the moment it made, a sentence each."""
    ordered, voids = effective(events)
    changes = [event for event in ordered if event.kind == "people" and event.number not in voids]
    away = [one for one in whereabouts(plan, changes, until_ns) if one.away]
    if not plan.people and not away:
        return []
    return [
        f"{one.person}: {one.place}, not {one.muster_station}; "
        + ("a moment that cannot be told." if math.isnan(one.moment_tm) else f"{moment_words(one.moment_tm)}.")
        for one in away
    ] or ["Everyone at the muster station."]


def people_section(plan: Plan, people: Sequence[Whereabouts], changes: Sequence[str]) -> dict[str, Any]:
    """``says`` in one or two sentences, ``posts`` with the people who stand there, ``places`` to choose from."""
    places = [station.name for station in plan.muster_stations]
    posts = {name: [one for one in people if one.place == name] for name in places}
    for one in people:
        if one.place not in posts:
            posts[one.place] = [other for other in people if other.place == one.place]
    aboard = [one for one in people if one.place != "ashore"]
    says = f"{len(aboard)} aboard" + (f", {sum(one.mass_kg for one in aboard):.0f} kg" if aboard else "") + "."
    if not people:
        says = "No roster in the plan: name who stays aboard and where they muster."
    elif changes:
        says += f" Away from their places, they make {moment_words(people_moment(people))}."
    return {
        "says": says,
        "changes": [f"{change[:1].upper()}{change[1:]}." for change in changes],
        "places": places,
        "posts": [
            {
                "name": name,
                "people": [
                    {
                        "name": one.person,
                        "duty": one.duty,
                        "mass_kg": one.mass_kg,
                        "from": one.muster_station if one.away else None,
                        "moment_tm": None if math.isnan(one.moment_tm) else round(one.moment_tm, 4),
                    }
                    for one in found
                ],
            }
            for name, found in posts.items()
        ],
    }
