"""Marks on the live view: the next one and the others, those already made in words, and new ones written down."""

from __future__ import annotations

import math
from collections import OrderedDict
from collections.abc import Sequence
from typing import Any

from config.errors import bad
from config.plan import Plan
from config.sequence import movements, spell
from logger.daystate import DayState, state_of_day
from logger.events import CONFIRMATIONS, LATEST_NS, Event, EventLog, effective
from logger.marks import MarkedWindow
from quietheel.jobs.mark_notes import new_remarks
from quietheel.jobs.marking import bound, sensible, standing_void
from quietheel.page.words import heel_words

MOST_SHOWN = 60
"""Marks listed on the page, newest first; all stand in events.jsonl."""
_SHORT = {
    "lines": "Lines slack",
    "muster": "All mustered",
    "crane": "Crane stowed",
    "clear": "Tug, fenders clear",
    "quiet": "Decks quiet",
}
_RULED = {"gangway", "movement", "people", "note"}
"""Kinds of marks that are ruled across the paper roll."""


def next_section(
    plan: Plan, state: DayState, expected_deg: float | None, events: Sequence[Event], *, by_plan: bool = True
) -> dict[str, Any]:
    """What comes next: ``sentence``, ``then``, ``action`` (the one large button, or None) and ``others``.

    ``by_plan`` : whether ``expected_deg`` rests on the plan's estimates rather than on the GM so far.
    """
    sentence = state.next[:1].upper() + state.next[1:] + "."
    then = ""
    if expected_deg is not None and state.to_come:
        then = f"Expect {heel_words(expected_deg, 2)}, by {'the plan' if by_plan else 'GM so far'}."
    odd = _odd(plan, state, events)
    if odd:
        then = f"{then} Odd: {odd}.".strip()
    return {
        "sentence": sentence,
        "then": then,
        "action": _action(plan, state, events),
        "others": _others(plan, state),
    }


def _odd(plan: Plan, state: DayState, events: Sequence[Event]) -> str:
    """What is odd since the last mark; what was before has been said, but for a line that was changed."""
    if not state.remarks:
        return ""
    last = max(event.number for event in events)
    before = state_of_day([event for event in events if event.number < last], plan)
    return next(iter((*new_remarks(before, state), *state.altered)), "")


def _action(plan: Plan, state: DayState, events: Sequence[Event]) -> dict[str, Any] | None:
    steps = [step.label for step in movements(plan)] if plan.weights or plan.movements else []
    if state.open_window is not None:
        label = state.open_window.label
        needs = _needs(state, events, label) if state.missing else []
        return {"kind": "window_close", "label": label, "button": f"Close window {label}", "needs": needs}
    if state.imported:
        return None
    if not state.to_come and steps:
        if state.gangway == "back":
            return None
        return {"kind": "gangway", "label": "back", "button": "Gangway back", "needs": []}
    if state.gangway != "pulled":
        return {"kind": "gangway", "label": "pulled", "button": "Gangway pulled", "needs": []}
    if state.movement in state.to_come or not steps:
        return {
            "kind": "window_open",
            "label": state.movement,
            "button": f"Open window {state.movement}",
            "needs": _needs(state, events, ""),
        }
    label = state.to_come[0]
    return {"kind": "movement", "label": label, "button": f"Movement {label} made", "needs": []}


def _needs(state: DayState, events: Sequence[Event], window: str) -> list[dict[str, Any]]:
    """The five confirmations, each with the line that gave it, if any, so that a tick can be taken back by voiding."""
    ordered, voids = effective(events)
    given: dict[str, int] = {}
    for event in ordered:
        if event.number in voids:
            continue
        if event.kind in ("movement", "window_close") or (event.kind == "window_open" and not window):
            given.clear()
        elif event.kind == "confirm":
            given.update(dict.fromkeys(event.data["what"], event.number))
    return [
        {"code": code, "says": _SHORT[code], "done": code in state.confirmed, "number": given.get(code)}
        for code in CONFIRMATIONS
    ]


def _others(plan: Plan, state: DayState) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    steps = movements(plan) if plan.weights or plan.movements else ()
    if state.open_window is None and state.movement in state.done and not state.imported:
        found.append(
            {
                "kind": "window_open",
                "label": state.movement,
                "button": f"Window {state.movement} again",
                "says": "A further window in the same state of the weights.",
            }
        )
    if steps:
        choices = [{"label": step.label, "says": spell(step).capitalize()} for step in steps]
        found.append({"kind": "movement", "button": "Movement", "choices": choices, "says": "Which movement is made?"})
    hand = [station.name for station in plan.stations if station.kind in ("pendulum", "u_tube")]
    if hand and state.windows:
        found.append({"kind": "reading", "button": "Reading", "stations": hand})
    if state.imported:
        return found
    turn = "back" if state.gangway == "pulled" else "pulled"
    found.append({"kind": "gangway", "label": turn, "button": f"Gangway {turn}"})
    return found


def marks_section(events: Sequence[Event], windows: Sequence[MarkedWindow] = ()) -> list[dict[str, Any]]:
    """Marks in words, newest first: ``id``, ``at_ms``, ``says``, ``by``, ``void`` (reason or None), ``voidable``.

    ``void_id`` is the line of the void, to be voided itself where the mark shall stand again.
    """
    ordered, voids = effective(events)
    opens = {window.number: window.label for window in windows}
    closes = {window.stop_ns: window.label for window in windows if window.stop_ns is not None}
    struck = {window.number: standing_void(window, events) for window in windows if window.voided}
    found = []
    for event in ordered:
        if event.kind == "void":
            continue
        void = struck.get(event.number) or voids.get(event.number)
        found.append(
            {
                "id": event.number,
                "at_ms": event.at_ns // 1_000_000,
                "says": in_words(event, opens.get(event.number) or closes.get(event.at_ns, "")),
                "by": event.by,
                "void": str(void.data.get("reason", "")) if void else None,
                "void_id": void.number if void else None,
                "voidable": True,
            }
        )
    return found[::-1][:MOST_SHOWN]


def rules_section(events: Sequence[Event]) -> list[dict[str, Any]]:
    """Marks to be ruled across the paper roll."""
    ordered, voids = effective(events)
    kept = [event for event in ordered if event.kind in _RULED and event.number not in voids]
    return [{"at_ms": event.at_ns // 1_000_000, "says": _shortened(in_words(event), 34)} for event in kept[-40:]]


def in_words(event: Event, label: str = "") -> str:
    """Say one mark; ``label`` is what the window that it opens or closes is called in the end.

    >>> in_words(Event(3, 0, "confirm", "mate", {"what": ["lines", "crane"], "window": "2"}))
    'lines slack and drooping, crane stowed (window 2)'
    """
    data = event.data
    window = label if label and event.kind in ("window_open", "window_close") else data.get("window")
    if event.kind == "gangway":
        return f"gangway {data['state']}"
    if event.kind == "movement":
        return f"movement {data['movement']} made"
    if event.kind == "window_open":
        confirmed = data.get("confirm") or []
        return f"window {window or data.get('movement') or ''} opened".replace("  ", " ") + (
            f", {len(confirmed)} of {len(CONFIRMATIONS)} confirmed" if confirmed else ""
        )
    if event.kind == "window_close":
        return f"window {window} closed" if window else "window closed"
    if event.kind == "confirm":
        words = ", ".join(CONFIRMATIONS[what] for what in data["what"] if what in CONFIRMATIONS)
        return words + (f" (window {window})" if window else "")
    if event.kind == "people":
        where = "ashore" if data.get("ashore") else f"at {data.get('place') or data.get('position_m')}"
        return f"{data['person']} {where}"
    if event.kind == "reading":
        return f"{data['station']}: {', '.join(f'{value:g}' for value in data['deflections_mm'])} mm"
    if event.kind == "overrule":
        return f"window {window} ruled {data['verdict']}: {data['reason']}"
    if event.kind == "note":
        return f"note: {data['text']}"
    if event.kind == "density":
        return f"density {data['value_kg_m3']} kg/m³"
    return f"{event.kind}: " + ", ".join(f"{key} {value}" for key, value in data.items())


class Marker:
    """Writes marks that come from the page; a press that comes twice is written once."""

    KEEP = 500
    """Presses remembered."""

    def __init__(self, log: EventLog, plan: Plan) -> None:
        self._log = log
        self._plan = plan
        self._presses: OrderedDict[str, int] = OrderedDict()

    def mark(self, body: dict[str, Any]) -> dict[str, Any]:
        """Write one mark; returns its line number. Raises BadInput where it makes no sense, OSError from the disk."""
        press = _text(body, "press")
        if press and press in self._presses:
            return {"number": self._presses[press]}
        kind = _text(body, "kind")
        data = self._data(kind, body)
        if kind == "overrule":
            sensible(kind, data, self._plan, self._log.read())
        data |= bound(kind, data, self._plan, self._log.read(), LATEST_NS)
        event = self._log.append(kind, _text(body, "by") or "live page", data)
        if press:
            self._presses[press] = event.number
            while len(self._presses) > self.KEEP:
                self._presses.popitem(last=False)
        return {"number": event.number}

    def _data(self, kind: str, body: dict[str, Any]) -> dict[str, Any]:
        label = _text(body, "label")
        if kind == "gangway":
            return {"state": label}
        if kind == "movement":
            return {"movement": label}
        if kind == "window_open":
            return {"movement": label} if label else {}
        if kind == "window_close":
            return {"window": label} if label else {}
        if kind == "confirm":
            return {"what": [_text(body, "what")]} | ({"window": label} if label else {})
        if kind == "note":
            return {"text": _text(body, "text")}
        if kind == "void":
            number = body.get("event")
            named = {"event": number} if isinstance(number, int) else {"window": label}
            return named | {"reason": _text(body, "reason")}
        if kind == "overrule":
            return {"window": label, "verdict": _text(body, "verdict"), "reason": _text(body, "reason")}
        if kind == "people":
            place = _text(body, "place")
            where: dict[str, Any] = {"ashore": True} if place == "ashore" else {"place": place}
            return {"person": _text(body, "person")} | where
        if kind == "reading":
            return {"station": self._hand_read(_text(body, "station")), "deflections_mm": _numbers(_text(body, "text"))}
        raise bad("mark", "kind", kind, "a kind of mark that the page makes")

    def _hand_read(self, name: str) -> str:
        if not any(s.name == name and s.kind in ("pendulum", "u_tube") for s in self._plan.stations):
            raise bad("mark", "station", name, "a pendulum or U-tube of the plan")
        return name


def _text(body: dict[str, Any], key: str) -> str:
    value = body.get(key, "")
    if not isinstance(value, str):
        raise bad("mark", key, value, "words")
    return "".join(c for c in value if c.isprintable() or c == "\n").strip()


def _numbers(text: str) -> list[float]:
    """Deflections typed with spaces between them; a comma may stand for the point.

    >>> _numbers("143 151,5")
    [143.0, 151.5]
    """
    try:
        found = [float(part.replace(",", ".")) for part in text.replace(";", " ").split()]
    except ValueError:
        found = []
    if not found or not all(math.isfinite(value) and abs(value) < 1e5 for value in found):
        raise bad("mark", "deflections", text, "turning points in mm with spaces between them, such as 143 151 144")
    return found


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"
