"""Everything between as inclined and lightship: the survey, test weights, people and tanks, with totals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from config.plan import Plan
from config.sequence import positions
from config.survey_table import SurveyRow
from config.units import COVERAGE_95, TONNE
from config.words import first_of
from reduction.moments import PERSON_U, PLACE_U, mass_name
from reduction.types import SurveyItem
from reduction.water.tanks import CENTRE_U95, FREE_SURFACE_U95, Liquid

ITEM_MASS_U95 = 0.10
"""Relative interval taken for the mass of a survey item that has none (judgement)."""
ITEM_PLACE_U95 = 0.5
"""m, interval taken for the centre of a survey item that has none (judgement)."""
NAMED = 6
"""So many items are named in a sentence; more are counted."""
MISSING_LIMIT = 0.02
SURPLUS_LIMIT = 0.04
"""Fractions of lightship mass: IACS Recommendation 31."""


@dataclass(frozen=True)
class Survey:
    """All items and what must be said about them."""

    items: tuple[SurveyItem, ...]
    assumptions: tuple[str, ...]
    not_surveyed: tuple[str, ...] = ()
    """Spaces still to be seen."""
    unconfirmed: tuple[str, ...] = ()
    """Items of survey.csv that nobody has confirmed, where some are."""
    common: dict[str, str] | None = None
    """Item name -> name of the common input its mass is (a test weight's mass is in the moments too)."""


@dataclass(frozen=True)
class Totals:
    """Sums of the survey, kg."""

    off: float
    """Surplus: to come off, liquid ballast, test weights and people apart."""
    on: float
    """Missing: to go on."""
    moved: float
    ballast: float
    """Liquid ballast to come off."""


def gather(plan: Plan, rows: Sequence[SurveyRow] | None, liquids: Sequence[Liquid]) -> Survey:
    """Bring together what has to come off, go on and be moved.

    Parameters
    ----------
    rows : survey.csv; None where there is none.
    liquids : tanks as reduced.

    Returns
    -------
    Survey; test weights and people stand where the first state of the weights has them. People who were aboard in some
    windows only are not taken off here; they are in the moments.
    """
    items: list[SurveyItem] = []
    notes: list[str] = []
    common: dict[str, str] = {}
    for row in rows or ():
        if row.action in ("off", "on", "move"):
            items.append(_of_row(row))
    guessed = [r.item for r in rows or () if r.action in ("off", "on", "move") and r.mass_u95_t is None]
    placed = [r.item for r in rows or () if r.action in ("off", "on", "move") and r.position_u95_m is None]
    if guessed:
        notes.append(f"{_listed(guessed)}: mass taken as known to {100 * ITEM_MASS_U95:g} % at 95 %.")
    if placed:
        notes.append(f"{_listed(placed)}: centre taken as known to {ITEM_PLACE_U95:g} m at 95 %.")
    notes.extend(_on_surfaces(items))
    for item, name in _weights(plan):
        items.append(item)
        common[item.name] = name
    people, said = _people(plan)
    items.extend(people)
    notes.extend(said)
    for tank in liquids:
        notes.extend(tank.notes)
        if tank.part_of == "to_stay" and tank.mass > 0:
            notes.append(
                f"Contents of {tank.name} ({tank.mass / TONNE:.4g} t) stay, as the plan says, and are counted in the "
                "lightship."
            )
        if tank.part_of == "to_come_off" and tank.mass > 0:
            items.append(
                SurveyItem(
                    name=tank.name,
                    action="off",
                    mass=tank.mass,
                    x=tank.centre[0],
                    y=tank.centre[1],
                    z=tank.centre[2],
                    mass_u=tank.mass_u,
                    position_u=CENTRE_U95 / COVERAGE_95,
                    group="tanks",
                    free_surface=tank.free_surface,
                    ballast=tank.ballast,
                )
            )
    confirmed = [r for r in rows or () if r.confirmed]
    return Survey(
        tuple(items),
        tuple(notes),
        tuple(r.space or r.item for r in rows or () if r.action == "not surveyed"),
        tuple(r.item for r in rows or () if not r.confirmed and r.action in ("off", "on", "move")) if confirmed else (),
        common,
    )


def totals(items: Sequence[SurveyItem]) -> Totals:
    """Sum up what the survey lists; test weights, people and tanks that are no ballast are aboard for the test only."""
    own = [i for i in items if i.group == "survey"]
    off = sum(i.mass for i in own if i.action == "off" and not i.ballast)
    on = sum(i.mass for i in own if i.action == "on")
    moved = sum(i.mass for i in own if i.action == "move")
    ballast = sum(i.mass for i in items if i.action == "off" and i.ballast)
    return Totals(off, on, moved, ballast)


def aboard_surfaces(items: Sequence[SurveyItem]) -> tuple[tuple[SurveyItem, float], ...]:
    """Lines of survey.csv with a free surface that was aboard during the test, each with its u (kg m).

    What goes on afterwards was not there; the tanks of the plan carry their own.
    """
    there = (i for i in items if i.group == "survey" and i.action != "on" and i.free_surface > 0)
    return tuple((item, FREE_SURFACE_U95 / COVERAGE_95 * item.free_surface) for item in there)


def _on_surfaces(items: Sequence[SurveyItem]) -> list[str]:
    notes = [
        f"Free surface of {item.name} ({item.free_surface / TONNE:g} t m, survey) was counted as aboard: interval "
        f"taken as {100 * FREE_SURFACE_U95:g} % at 95 %."
        for item, _ in aboard_surfaces(items)
    ]
    later = [i.name for i in items if i.action == "on" and i.free_surface > 0]
    if later:
        notes.append(f"{_listed(later)}: goes on after the test, so its free surface was not counted.")
    return notes


def outsized(items: Sequence[SurveyItem], lightship: float) -> tuple[str, ...]:
    """Lines of survey.csv that are each heavier than the surplus that all together may be, in words; ballast apart.

    Nearly always kilograms typed for tonnes. ``lightship``: kg, found or estimated.
    """
    return tuple(
        f"{i.name} ({i.mass / TONNE:g} t, {100.0 * i.mass / lightship:.3g} % of lightship)"
        for i in items
        if i.group == "survey" and not i.ballast and i.mass > SURPLUS_LIMIT * lightship > 0.0
    )


def _of_row(row: SurveyRow) -> SurveyItem:
    mass = row.mass_t * TONNE
    u95 = row.mass_u95_t * TONNE if row.mass_u95_t is not None else ITEM_MASS_U95 * mass
    place = row.position_u95_m if row.position_u95_m is not None else ITEM_PLACE_U95
    return SurveyItem(
        name=row.item,
        action=row.action,
        mass=mass,
        x=row.position_m[0],
        y=row.position_m[1],
        z=row.position_m[2],
        mass_u=u95 / COVERAGE_95,
        position_u=place / COVERAGE_95,
        to=row.to_m,
        space=row.space,
        surveyed_by=row.surveyed_by,
        group="survey",
        free_surface=row.free_surface_tm * TONNE,
        ballast=row.ballast,
    )


def _weights(plan: Plan) -> list[tuple[SurveyItem, str]]:
    sides = next(iter(positions(plan).values()), None) or {w.name: str(w.start) for w in plan.weights}
    found = []
    for weight in plan.weights:
        at = weight.port_m if sides.get(weight.name, weight.start) == "port" else weight.starboard_m
        item = SurveyItem(
            name=f"test weight {weight.name}",
            action="off",
            mass=weight.mass_t * TONNE,
            x=at[0],
            y=at[1],
            z=at[2],
            mass_u=(weight.mass_u95_kg or 0.0) / COVERAGE_95,
            position_u=(weight.position_u95_m or 0.0) / COVERAGE_95,
            group="test weights",
        )
        found.append((item, mass_name(weight)))
    return found


def _people(plan: Plan) -> tuple[list[SurveyItem], list[str]]:
    places = {m.name: m.position_m for m in plan.muster_stations}
    items, lost = [], []
    for person in plan.people:
        at = places.get(person.muster_station)
        if at is None:
            lost.append(person.name)
            continue
        items.append(
            SurveyItem(
                name=person.name,
                action="off",
                mass=person.mass_kg,
                x=at[0],
                y=at[1],
                z=at[2],
                mass_u=PERSON_U,
                position_u=PLACE_U,
                space=person.muster_station,
                group="people",
            )
        )
    notes = []
    if items:
        notes.append(f"Mass of each person taken as known to {PERSON_U * COVERAGE_95:.0f} kg at 95 %.")
    if lost:
        notes.append(f"{_listed(lost)}: no position of the muster station, so not taken off to reach lightship.")
    return items, notes


def _listed(names: Sequence[str]) -> str:
    return first_of(list(dict.fromkeys(names)), NAMED)
