"""Marks of the day: ``events.jsonl``, append-only, each line carrying the SHA-256 of the line before.

Nothing is ever changed or deleted: a mistake is undone by a later ``void`` that names the line and the reason.
Several people, each at their own machine or window, may mark at once; every mark stands.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.errors import bad
from logger.archive.layout import Clock
from logger.chain import Line, append_line, read_lines

KINDS = {
    "gangway": "state: pulled or back",
    "movement": "movement: label of the movement whose weights are now in place",
    "window_open": "window, movement: both may be left out for the movement the day is at",
    "window_close": "window: may be left out for the one that is open",
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
LONGEST_TEXT = 4000
"""Characters in one text of a mark."""


@dataclass(frozen=True)
class Event:
    """One mark."""

    number: int
    """Its line in the file, from 1; what a ``void`` names."""
    at_ns: int
    """When it happened, UTC ns."""
    kind: str
    by: str
    """Who says so."""
    data: Mapping[str, Any] = field(default_factory=dict)
    entered_ns: int = 0
    """When it was written down, UTC ns; later than ``at_ns`` where it was typed in afterwards."""
    intact: bool = True
    """False where the line does not carry the digest of the line before: something was changed."""


@dataclass(frozen=True)
class ChainReport:
    """Whether the marks are as they were written."""

    lines: int
    faults: tuple[str, ...]
    """What is wrong, line by line; empty if nothing."""
    last_digest: str
    """SHA-256 of the whole file, to be noted elsewhere; empty where there is none."""

    @property
    def intact(self) -> bool:
        """True where nothing is wrong."""
        return not self.faults


class _SystemClock:
    def utc_ns(self) -> int:
        return time.time_ns()


class EventLog:
    """The marks of one test folder.

    Parameters
    ----------
    folder : the test folder.
    clock : gives UTC ns; the system's if left out. Hand in the run's clock where one records in this process.

    Example
    -------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     log = EventLog(Path(folder))
    ...     mark = log.append("gangway", "mate", {"state": "pulled"}, at_ns=1_778_743_800_000_000_000)
    ...     (mark.number, [event.kind for event in log.read()], log.verify().intact)
    (1, ['gangway'], True)
    """

    def __init__(self, folder: Path, clock: Clock | None = None) -> None:
        self.path = folder / "events.jsonl"
        self._clock = clock or _SystemClock()

    def append(self, kind: str, by: str, data: Mapping[str, Any] | None = None, at_ns: int | None = None) -> Event:
        """Write a mark down, on the disk when this returns.

        Parameters
        ----------
        kind : one of `KINDS`.
        by : who says so.
        data : as `KINDS` says.
        at_ns : when it happened, UTC ns; now if left out.

        Raises
        ------
        BadInput for an unknown kind or lacking data; OSError where the disk refuses.
        """
        checked = check(kind, by, dict(data or {}))
        entered = self._clock.utc_ns()
        happened = entered if at_ns is None else at_ns
        number, _ = append_line(
            self.path,
            lambda _: {
                "at": rfc3339(happened),
                "at_ns": happened,
                "kind": kind,
                "by": by,
                "data": checked,
                "entered_ns": entered,
            },
        )
        return Event(number, happened, kind, by, checked, entered)

    def read(self) -> list[Event]:
        """All marks in the order in which they were written; lines that are no marks are left to `verify`."""
        return [event for event in map(_event, read_lines(self.path)) if event is not None]

    def verify(self) -> ChainReport:
        """Check the chain and every line."""
        lines = read_lines(self.path)
        faults = [line.problem for line in lines if line.problem]
        faults += [f"line {line.number} is no mark" for line in lines if not line.problem and _event(line) is None]
        return ChainReport(len(lines), tuple(f"events.jsonl: {fault}" for fault in faults), _file_digest(self.path))


def check(kind: str, by: str, data: dict[str, Any]) -> dict[str, Any]:
    """Check a mark before it is written; returns its data. Raises BadInput."""
    if kind not in KINDS:
        raise bad("mark", "kind", kind, f"one of {', '.join(KINDS)}")
    if not by.strip():
        raise bad("mark", "by", None, "who says so")
    for key in _NEEDED.get(kind, ()):
        if data.get(key) in (None, "", [], ()):
            raise bad("mark", f"{kind}, {key}", None, KINDS[kind])
    if kind == "gangway" and data["state"] not in ("pulled", "back"):
        raise bad("mark", "gangway, state", data["state"], "pulled or back")
    if kind == "confirm":
        what = [data["what"]] if isinstance(data["what"], str) else list(data["what"])
        for one in what:
            if one not in CONFIRMATIONS:
                raise bad("mark", "confirm, what", one, f"one of {', '.join(CONFIRMATIONS)}")
        data["what"] = what
    if kind == "void" and not ({"event", "window"} & data.keys()):
        raise bad("mark", "void", None, "event (number of a line) or window (label)")
    if kind == "overrule" and data["verdict"] not in ("fine", "caution", "rejected"):
        raise bad("mark", "overrule, verdict", data["verdict"], "fine, caution or rejected")
    if kind == "reading":
        data["deflections_mm"] = [_number(value, "reading, deflections_mm") for value in data["deflections_mm"]]
    for key, value in (*data.items(), ("by", by)):
        if isinstance(value, str) and len(value) > LONGEST_TEXT:
            raise bad("mark", key, value, f"at most {LONGEST_TEXT} characters")
    return data


CONFIRMATIONS = {
    "lines": "lines slack and drooping",
    "muster": "all mustered",
    "crane": "crane stowed",
    "clear": "tug, fenders and small craft clear",
    "quiet": "decks quiet, services off",
}
"""What is confirmed for each window, and how it is said."""


def rfc3339(ns: int) -> str:
    """UTC with milliseconds.

    >>> rfc3339(1_778_743_800_120_000_000)
    '2026-05-14T07:30:00.120Z'
    """
    return f"{datetime.fromtimestamp(ns // 1_000_000_000, UTC):%Y-%m-%dT%H:%M:%S}.{ns // 1_000_000 % 1000:03d}Z"


def effective(events: Iterable[Event]) -> tuple[list[Event], dict[int, Event]]:
    """Sort marks by when they happened and find which lines are void.

    Returns
    -------
    All marks in order of time, and for each voided line the ``void`` that did it. A void can itself be voided: then
    the line it named stands again.
    """
    written = sorted(events, key=lambda event: event.number)
    voids: dict[int, Event] = {}
    for event in reversed(written):
        if event.kind == "void" and event.number not in voids:
            named = event.data.get("event")
            if isinstance(named, int) and named < event.number:
                voids.setdefault(named, event)
    return sorted(written, key=lambda event: (event.at_ns, event.number)), voids


def _number(value: object, where: str) -> float:
    try:
        number = float(str(value).replace(",", "."))
    except ValueError:
        number = float("nan")
    if not abs(number) < 1e6:
        raise bad("mark", where, value, "a number in mm")
    return number


def _event(line: Line) -> Event | None:
    entry = line.data
    if entry is None:
        return None
    at, kind, by, data, entered = (entry.get(key) for key in ("at_ns", "kind", "by", "data", "entered_ns"))
    if not (isinstance(at, int) and isinstance(kind, str) and kind in KINDS and isinstance(data, dict)):
        return None
    return Event(line.number, at, kind, str(by), data, entered if isinstance(entered, int) else at, line.intact)


def _file_digest(path: Path) -> str:
    from config.folder import digest

    return digest(path) if path.is_file() else ""
