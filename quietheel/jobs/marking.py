"""Marks of the day: what happened when, and who says so. Append-only; undone by voiding, never by deleting.

The command line, the live page and the demo all come through `logger.events.EventLog`; here is the clock to do it by.
"""

from __future__ import annotations

import getpass
import os
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.errors import bad
from config.folder import TestFolder
from logger.archive.layout import Clock
from logger.daystate import DayState, state_of_day
from logger.events import Event, EventLog
from logger.hosttime import host_clock


def mark(
    folder: Path | str,
    kind: str,
    data: Mapping[str, Any] | None = None,
    *,
    by: str = "",
    at_ns: int | None = None,
    clock: Clock | None = None,
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
    place.plan()
    return EventLog(place.path, clock or host_clock(place.record)).append(kind, by or whoever(), data, at_ns)


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
