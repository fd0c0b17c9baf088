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
from typing import Any, TypeGuard

from config.errors import BadInput, bad
from logger.chain import Line, append_line, read_lines
from logger.clock import UtcClock
from logger.mark_form import CONFIRMATIONS, KINDS, check

__all__ = ["CONFIRMATIONS", "KINDS", "ChainReport", "Event", "EventLog", "check", "effective", "rfc3339"]

LATEST_NS = 2**63 - 1
"""No mark is later, UTC ns: what fits the record's time columns."""


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

    def __init__(self, folder: Path, clock: UtcClock | None = None) -> None:
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
        checked = check(kind, by, data or {})
        entered = self._clock.utc_ns()
        happened = entered if at_ns is None else at_ns
        if not _is_time(happened):
            raise bad("mark", "at", happened, "a time after 1970, in ns")
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


def _event(line: Line) -> Event | None:
    """The mark that a line holds; None where it could not have been written by `EventLog.append`."""
    entry = line.data
    if entry is None:
        return None
    at, entered, data = entry.get("at_ns"), entry.get("entered_ns"), entry.get("data")
    if not _is_time(at) or not isinstance(data, dict):
        return None
    try:
        checked = check(entry.get("kind"), entry.get("by"), data)
    except BadInput:
        return None
    entered = entered if _is_time(entered) else at
    return Event(line.number, at, str(entry["kind"]), str(entry["by"]), checked, entered, line.intact)


def _is_time(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= LATEST_NS


def _file_digest(path: Path) -> str:
    from config.files import digest

    return digest(path) if path.is_file() else ""
