"""Where the day stands, and what comes next in one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from config.plan import Movement, Plan
from config.sequence import movements, spell
from logger.events import CONFIRMATIONS, Event, effective
from logger.marks import MarkedWindow, marked_windows
from logger.muster import Whereabouts, whereabouts

IMPORTED = (
    "the windows were imported, the day is over: `quietheel mark overrule` or `void` decides on a window, "
    "`quietheel reduce` gives the answer"
)
"""What is said in place of the next step of an imported record."""


@dataclass(frozen=True)
class DayState:
    """The day as far as it is marked."""

    gangway: str
    """``pulled``, ``back``, or empty if nothing was marked."""
    gangway_ns: int | None
    movement: str
    """Label of the state of the weights that the day is at."""
    moved_ns: int | None
    """When its last weight came to rest, UTC ns; None for the starting state."""
    open_window: MarkedWindow | None
    windows: tuple[MarkedWindow, ...]
    """All of them, voided ones included."""
    done: tuple[str, ...]
    """Movements that have at least one closed window that stands."""
    to_come: tuple[str, ...]
    """Movements still without one, in order."""
    confirmed: frozenset[str]
    """Confirmations given for the open or the next window."""
    missing: tuple[str, ...]
    """Those that are not."""
    next: str
    """What comes next, as a sentence."""
    people: tuple[Whereabouts, ...]
    """Everyone, with where they are now."""
    changes: tuple[str, ...]
    """Who is away from the muster station, and the moment that makes, as sentences."""
    remarks: tuple[str, ...]
    """What is odd about the marks."""
    altered: tuple[str, ...] = ()
    """Those of the remarks that say that a line was changed after it was written."""
    imported: bool = False
    """Whether the windows are those of an imported record, which has no running day."""


def state_of_day(events: Sequence[Event], plan: Plan) -> DayState:
    """Work out where the day stands.

    Parameters
    ----------
    events : all marks.
    plan : its movements, people and muster stations.

    Returns
    -------
    DayState; its ``next`` reads such as ``movement 5: weights 1 and 3 to port; then lines slack and drooping, ...``.
    """
    ordered, voids = effective(events)
    standing = [event for event in ordered if event.number not in voids]
    windows = marked_windows(events, plan)
    steps = movements(plan) if plan.weights or plan.movements else ()
    made = [event for event in standing if event.kind == "movement"]
    movement = str(made[-1].data["movement"]) if made else (steps[0].label if steps else "0")
    gangway = [event for event in standing if event.kind == "gangway"]
    opened = [window for window in windows if window.stop_ns is None and not window.voided]
    done = {window.movement for window in windows if window.stop_ns is not None and not window.voided}
    to_come = tuple(step.label for step in steps if step.label not in done)
    open_window = opened[-1] if opened else None
    confirmed = open_window.confirmed if open_window else _pending(standing)
    missing = tuple(what for what in CONFIRMATIONS if what not in confirmed)
    people = whereabouts(plan, [event for event in standing if event.kind == "people"], 2**63 - 1)
    state = str(gangway[-1].data["state"]) if gangway else ""
    altered = tuple(
        f"line {event.number} of events.jsonl does not carry the digest of the line before"
        for event in standing
        if not event.intact
    )
    imported = any(w.imported for w in windows) and all(w.imported for w in windows if not w.voided)
    return DayState(
        gangway=state,
        gangway_ns=gangway[-1].at_ns if gangway else None,
        movement=movement,
        moved_ns=made[-1].at_ns if made else None,
        open_window=open_window,
        windows=tuple(windows),
        done=tuple(step.label for step in steps if step.label in done),
        to_come=to_come,
        confirmed=confirmed,
        missing=missing,
        next=IMPORTED if imported else _next(state, movement, open_window, missing, to_come, steps),
        people=people,
        changes=tuple(_change(person) for person in people if person.away),
        remarks=(*_odd(standing, windows, {step.label for step in steps}), *altered),
        altered=altered,
        imported=imported,
    )


def _pending(standing: Sequence[Event]) -> frozenset[str]:
    """Confirmations given since the last movement or window."""
    given: set[str] = set()
    for event in standing:
        if event.kind in ("movement", "window_open", "window_close"):
            given.clear()
        elif event.kind == "confirm" and not event.data.get("window"):
            given.update(event.data["what"])
    return frozenset(given & CONFIRMATIONS.keys())


def _next(
    gangway: str,
    movement: str,
    open_window: MarkedWindow | None,
    missing: tuple[str, ...],
    to_come: tuple[str, ...],
    steps: Sequence[Movement],
) -> str:
    wanted = _listed([CONFIRMATIONS[what] for what in missing])
    if open_window is not None:
        also = f"; not confirmed yet: {wanted}" if missing else ""
        return f"window {open_window.label} is open: everyone stays still until it is closed{also}"
    if not to_come and steps:
        return "every movement has its window" + ("" if gangway == "back" else "; weights back, then the gangway")
    if gangway != "pulled":
        return f"pull the gangway; then {_first(steps, to_come)}"
    if movement in to_come or not steps:
        if missing:
            return f"movement {movement} stands: {wanted}; then open window {movement}"
        return f"movement {movement} stands and all is confirmed: open window {movement}"
    step = next(step for step in steps if step.label == to_come[0])
    return f"{spell(step)}; then {_listed(list(CONFIRMATIONS.values()))}"


def _first(steps: Sequence[Movement], to_come: tuple[str, ...]) -> str:
    if steps and to_come and to_come[0] == steps[0].label:
        return f"the starting state, movement {to_come[0]}: {_listed(list(CONFIRMATIONS.values()))}"
    return next((spell(step) for step in steps if to_come and step.label == to_come[0]), "open the first window")


def _listed(words: list[str]) -> str:
    return ", ".join(words)


def _change(person: Whereabouts) -> str:
    where = "is ashore" if person.place == "ashore" else f"is at {person.place.removeprefix('at ')}"
    if person.moment_tm != person.moment_tm:
        return f"{person.person} {where}, a place the plan does not know: its moment cannot be told"
    side = "to starboard" if person.moment_tm >= 0 else "to port"
    home = "was not aboard" if person.muster_station == "ashore" else f"not at {person.muster_station}"
    return f"{person.person} {where}, {home}: {abs(person.moment_tm) * 1000:.0f} kg m {side}"


def _odd(standing: Sequence[Event], windows: Sequence[MarkedWindow], labels: set[str]) -> list[str]:
    found = [f"window {window.label}: {remark}" for window in windows for remark in window.remarks]
    for event in standing:
        if event.kind == "movement" and labels and str(event.data["movement"]) not in labels:
            found.append(f"line {event.number}: movement {event.data['movement']} is not in the plan")
    closes = {window.stop_ns for window in windows}
    found += [
        f"line {event.number}: closes no open window"
        for event in standing
        if event.kind == "window_close" and event.at_ns not in closes
    ]
    return found
