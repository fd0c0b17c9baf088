"""Marks of the day: what happened when, and who says so. Append-only; undone by voiding, never by deleting.

The command line, the live page and the demo all come through `logger.events.EventLog`; here is the clock to do it by.
"""

from __future__ import annotations

import getpass
import os
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.errors import bad
from config.folder import TestFolder
from config.plan import Plan
from config.sequence import movements
from logger.clock import UtcClock
from logger.daystate import DayState, state_of_day
from logger.events import Event, EventLog, effective
from logger.hosttime import host_clock
from logger.marks import MarkedWindow, free_label, marked_windows


def mark(
    folder: Path | str,
    kind: str,
    data: Mapping[str, Any] | None = None,
    *,
    by: str = "",
    at_ns: int | None = None,
    clock: UtcClock | None = None,
) -> Event:
    """Write one mark down.

    Parameters
    ----------
    folder : the test folder.
    kind, data : see `logger.events.KINDS`.
    by : who says so; left out, ``QUIETHEEL_BY`` or the name of the account.
    at_ns : when it happened, UTC ns; now if left out, on the clock of the run being recorded.
    clock : stands in for the run's clock.

    Raises
    ------
    BadInput for a mark that cannot be; OSError where the disk refuses.
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    clock = clock or host_clock(place.record)
    log = EventLog(place.path, clock)
    events = log.read()
    given = dict(data or {})
    sensible(kind, given, plan, events)
    given |= bound(kind, given, plan, events, clock.utc_ns() if at_ns is None else at_ns)
    return log.append(kind, by or whoever(), given, at_ns)


def sensible(kind: str, data: Mapping[str, Any], plan: Plan, events: Sequence[Event]) -> None:
    """Refuse a mark that names what is not there: a movement, window, line, person, place or station.

    Raises
    ------
    BadInput with what there is.
    """
    now = state_of_day(events, plan)
    labels = [window.label for window in now.windows]
    steps = [step.label for step in movements(plan)] if plan.weights or plan.movements else []
    if kind == "movement" and steps:
        _one_of("movement", data.get("movement"), steps, "a movement of the plan")
    if kind == "window_close" and data.get("window") is None and now.open_window is None:
        raise bad("mark", "close", None, "no window is open; `quietheel mark open` opens one")
    if kind == "void":
        _voidable(data, now, events)
    if kind == "note" and not str(data.get("text") or "").strip():
        raise bad("mark", "note", None, "some words")
    if kind in ("window_close", "void", "overrule", "confirm", "reading") and data.get("window") is not None:
        _one_of("window", data["window"], labels + (steps if kind == "confirm" else []), "a window that was opened")
    if kind == "density":
        _within("density", data.get("value_kg_m3"), 950.0, 1200.0, "a density of water, 950 to 1200 kg/m3")
    if kind == "waterline":
        _one_of("kind", data.get("kind"), ["draught", "freeboard"], "")
        _within("waterline", data.get("value_m"), -5.0, 60.0, "metres, as read: -5 to 60")
    if kind == "overrule":
        _not_void(str(data.get("window")), now, events)
    if kind == "people":
        if data.get("place") is not None:
            _one_of(
                "place", data["place"], [place.name for place in plan.muster_stations], "a muster station of the plan"
            )
        elif data.get("position_m") is None and not data.get("ashore"):
            raise bad("mark", "people, place", None, "a muster station, a position, or --ashore")
        if plan.people:
            _one_of("person", data.get("person"), [person.name for person in plan.people], "a person of the plan")
    if kind == "reading":
        by_hand = [s.name for s in plan.stations if s.kind in ("pendulum", "u_tube")]
        _one_of("station", data.get("station"), by_hand, "a pendulum or U-tube of the plan")


def bound(kind: str, data: Mapping[str, Any], plan: Plan, events: Sequence[Event], at_ns: int) -> dict[str, Any]:
    """What an opening and a closing hold beside what was typed, so that no later mark changes which window they mean.

    An opening gets the label that no window has yet, a closing the label of its window and the line that opened it:
    left out, that is the last one opened before ``at_ns`` of those still open. A window that is marked afterwards,
    with an earlier time, then takes neither label nor closing from another.
    """
    windows = marked_windows(events, plan)
    if kind == "window_open":
        trial = Event(max((event.number for event in events), default=0) + 1, at_ns, kind, "", data)
        mine = next((one for one in marked_windows([*events, trial], plan) if one.number == trial.number), None)
        if mine is None:  # opened again while it is open: a remark, and no window of its own
            return {}
        return {"window": free_label([one.label for one in windows], str(data.get("window") or mine.movement))}
    if kind != "window_close":
        return {}
    if data.get("window"):
        found = [one for one in windows if one.label == str(data["window"])]
    else:
        still = [one for one in windows if one.stop_ns is None and not one.voided]
        found = [one for one in still if one.start_ns < at_ns] or still
    return {"window": found[-1].label, "opened": found[-1].number} if found else {}


def standing_void(window: MarkedWindow, events: Sequence[Event]) -> Event | None:
    """The last ``void`` that names a window or the line that opened it, and was not voided itself; None without one."""
    ordered, voids = effective(events)
    opening = voids.get(window.number)
    whole = [
        event
        for event in ordered
        if event.kind == "void" and event.number not in voids and str(event.data.get("window") or "") == window.label
    ]
    found = [event for event in (*whole, opening) if event is not None]
    return max(found, key=lambda event: event.number, default=None)


def _voidable(data: Mapping[str, Any], now: DayState, events: Sequence[Event]) -> None:
    """What is voided must be named and must stand; a second void would make the first one hard to take back."""
    if data.get("event") is None and data.get("window") is None:
        raise bad("mark", "void", None, "say what: --window LABEL, or --event with the number that the mark was given")
    if data.get("event") is not None:
        _one_of("event", data["event"], [event.number for event in events], "the number of a mark")
        before = effective(events)[1].get(int(data["event"]))
        if before is not None:
            raise bad(
                "mark", "void, event", data["event"], f"a mark that stands: line {before.number} voids it already"
            )
    for window in now.windows:
        void = standing_void(window, events) if window.label == data.get("window") and window.voided else None
        if void is not None:
            raise bad(
                "mark", "void, window", window.label, f"a window that stands: line {void.number} voids it already"
            )


def _not_void(label: str, now: DayState, events: Sequence[Event]) -> None:
    """A verdict on a void window would change nothing: it is not worked out at all."""
    for window in now.windows:
        void = standing_void(window, events) if window.label == label and window.voided else None
        if void is not None:
            raise bad(
                "mark",
                "overrule, window",
                label,
                f"a window that stands: this one is void ({void.data.get('reason', '')}, {void.by}) and not worked "
                f'out. `quietheel mark void --event {void.number} "why"` lets it stand again',
            )


def _within(what: str, given: object, low: float, high: float, wanted: str) -> None:
    try:
        right = low <= float(str(given).replace(",", ".")) <= high
    except ValueError:
        right = False
    if not right:
        raise bad("mark", what, given, wanted)


def _one_of(what: str, given: object, known: Sequence[object], none: str) -> None:
    if given not in known:
        there = ", ".join(str(name) for name in known)
        raise bad("mark", what, given, f"one of: {there}" if there else f"{none}, and none is there yet")


def state(folder: Path | str) -> DayState:
    """Say where the day stands and what comes next."""
    place = TestFolder(Path(folder))
    return state_of_day(EventLog(place.path).read(), place.plan())


def whoever() -> str:
    """Name put to a mark where none is given."""
    name = os.environ.get("QUIETHEEL_BY", "")
    if name:
        return name
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "somebody"


def moment_of(text: str | None, utc_offset_h: float) -> int | None:
    """Read ``--at``: RFC 3339, or ``HH:MM[:SS]`` of today in the plan's local time.

    >>> moment_of("2030-05-14T08:00:00Z", 2.0)
    1904976000000000000
    """
    if text is None:
        return None
    wanted = "HH:MM, HH:MM:SS (local time of the plan, today) or a time such as 2030-05-14T09:30:00Z"
    try:
        if "T" in text or " " in text.strip():
            when = datetime.fromisoformat(text.replace("Z", "+00:00"))
            if when.tzinfo is None:
                raise bad("command line", "--at", text, "a time with Z or an offset such as +02:00")
        else:
            parts = [int(part) for part in text.split(":")]
            if not 2 <= len(parts) <= 3:
                raise ValueError(text)
            now = datetime.fromtimestamp(datetime.now(UTC).timestamp() + utc_offset_h * 3600.0, UTC)
            local = now.replace(hour=parts[0], minute=parts[1], second=parts[2] if parts[2:] else 0, microsecond=0)
            when = datetime.fromtimestamp(local.timestamp() - utc_offset_h * 3600.0, UTC)
    except ValueError:
        raise bad("command line", "--at", text, wanted) from None
    return round(when.timestamp() * 1e6) * 1000
