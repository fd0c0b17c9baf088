"""What a mark must hold: checked before one is written and again when it is read, since a file may have been edited."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from config.errors import bad

KINDS = {
    "gangway": "state: pulled or back",
    "movement": "movement: label of the movement whose weights are now in place",
    "window_open": "window, movement: both may be left out for the movement the day is at",
    "window_close": "window, opened (line that opened it): both may be left out for the one that is open",
    "confirm": "what: one or more of lines, muster, crane, clear, quiet; window: may be left out",
    "void": "event (number of a line) or window (label), reason",
    "note": "text",
    "people": "person; place (muster station) or position_m; ashore: true for one who left",
    "reading": "station, deflections_mm; window, zero_mm and one_leg may be left out",
    "density": "value_kg_m3; place and depth_m may be left out",
    "waterline": "mark, kind, value_m",
    "overrule": "window, verdict, reason",
}
"""Kinds of marks and what their data hold."""
CONFIRMATIONS = {
    "lines": "lines slack and drooping",
    "muster": "all mustered",
    "crane": "crane stowed",
    "clear": "tug, fenders and small craft clear",
    "quiet": "decks quiet, services off",
}
"""What is confirmed for each window, and how it is said."""
LARGEST_NUMBER = 1e6
"""A number of a mark is smaller, in its unit."""
LONGEST_TEXT = 4000
"""Characters in one text of a mark."""
_NEEDED = {
    "gangway": ("state",),
    "movement": ("movement",),
    "confirm": ("what",),
    "void": ("reason",),
    "note": ("text",),
    "people": ("person",),
    "reading": ("station", "deflections_mm"),
    "density": ("value_kg_m3",),
    "waterline": ("mark", "kind", "value_m"),
    "overrule": ("window", "verdict", "reason"),
}
_CHOICES = {
    ("gangway", "state"): ("pulled", "back"),
    ("overrule", "verdict"): ("fine", "caution", "rejected"),
}
_NUMBERS = {
    "zero_mm": "a number in mm",
    "moment_tm": "a number in t m",
    "moment_u95_tm": "a number in t m",
    "mass_kg": "a number in kg",
    "value_kg_m3": "a number in kg/m3",
    "depth_m": "a number in m",
    "value_m": "a number in m",
}
_LISTS = {"deflections_mm": "turning points in mm", "position_m": "three numbers in m: x, y, z"}
_NAMES = ("to_port", "to_starboard")
"""Lists of names of weights, which the simulator adds to its movements."""
_WORDS = {
    "state",
    "movement",
    "window",
    "event",
    "opened",
    "reason",
    "text",
    "person",
    "place",
    "station",
    "mark",
    "kind",
    "verdict",
}
"""Whatever else a mark holds is kept as it is and read by nobody."""
_CONFIRMED = {"what", "confirm"}
_MOST_LISTED = 1000


def check(kind: object, by: object, data: Mapping[str, Any]) -> dict[str, Any]:
    """Check a mark; returns its data with numbers as numbers and confirmations as a list. Raises BadInput.

    >>> check("confirm", "mate", {"what": "lines"})
    {'what': ['lines']}
    """
    if not isinstance(kind, str) or kind not in KINDS:
        raise bad("mark", "kind", kind, f"one of {', '.join(KINDS)}")
    if not isinstance(by, str) or not by.strip():
        raise bad("mark", "by", None, "who says so")
    for key in _NEEDED.get(kind, ()):
        if data.get(key) in (None, "", [], ()):
            raise bad("mark", f"{kind}, {key}", None, KINDS[kind])
    if kind == "void" and not ({"event", "window"} & data.keys()):
        raise bad("mark", "void", None, "event (number of a line) or window (label)")
    checked = {key: _value(kind, str(key), value) for key, value in data.items()}
    for text in (*checked.values(), by):
        if isinstance(text, str) and len(text) > LONGEST_TEXT:
            raise bad("mark", kind, text, f"at most {LONGEST_TEXT} characters")
    return checked


def _value(kind: str, key: str, value: Any) -> Any:
    where = f"{kind}, {key}"
    if value is None:
        return None
    if key in _NUMBERS:
        return _number(value, where, _NUMBERS[key])
    if key in _LISTS:
        most = 3 if key == "position_m" else _MOST_LISTED
        if not isinstance(value, list | tuple) or len(value) > most or (most == 3 and len(value) != 3):
            raise bad("mark", where, value, _LISTS[key])
        return [_number(one, where, _LISTS[key]) for one in value]
    if key in _CONFIRMED and (kind == "confirm" or key == "confirm"):
        return _confirmed(value, where)
    if key in _NAMES:
        if (
            not isinstance(value, list | tuple)
            or len(value) > _MOST_LISTED
            or any(not isinstance(n, str) for n in value)
        ):
            raise bad("mark", where, value, "names of weights")
        return list(value)
    choices = _CHOICES.get((kind, key))
    if choices and value not in choices:
        raise bad("mark", where, value, " or ".join(choices))
    if key in _WORDS and (not isinstance(value, str | int | float) or value != value):
        raise bad("mark", where, value, "a text or a number")
    return value


def _confirmed(value: Any, where: str) -> list[str]:
    what = [value] if isinstance(value, str) else value
    if not isinstance(what, list | tuple | set | frozenset):
        raise bad("mark", where, value, f"one of {', '.join(CONFIRMATIONS)}")
    for one in what:
        if not isinstance(one, str) or one not in CONFIRMATIONS:
            raise bad("mark", where, one, f"one of {', '.join(CONFIRMATIONS)}")
    return list(what)


def _number(value: object, where: str, wanted: str) -> float:
    try:
        number = float(str(value).replace(",", "."))
    except ValueError:
        number = math.nan
    if not abs(number) < LARGEST_NUMBER:
        raise bad("mark", where, value, wanted)
    return number + 0.0  # -0 is 0
