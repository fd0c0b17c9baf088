"""Host time of a run, for those who write beside it from another process: a mark falls where its readings are."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from logger.archive.layout import list_runs
from logger.clock import Anchor, SystemClock, monotonic_ns

DAMAGED = (ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError)
"""What a line of ``notes.jsonl`` that nobody wrote as it stands may raise; such a line is passed over."""
DOUBT_NS = 12 * 3_600_000_000_000
"""An anchor that puts now further than this from the system clock is from before a restart and is not used."""


def host_clock(record: Path) -> SystemClock:
    """Clock of the run being recorded under ``record``; the system's where nothing is being recorded.

    Where somebody set the system clock after the run began, the run's own time goes on undisturbed, and a mark has to
    be stamped by it. The anchor stands in the run's ``notes.jsonl``; the monotonic clock is the same in all processes.
    """
    runs = list_runs(record) if record.is_dir() else []
    if not runs or (runs[-1].folder / "stop.json").exists():
        return SystemClock()
    return clock_of(last_anchor(runs[-1].folder / "notes.jsonl"))


def clock_of(anchor: Anchor | None) -> SystemClock:
    """Clock that goes on from a run's anchor; the system's without one or with one from before a restart."""
    system = SystemClock()
    if anchor is None or abs(anchor.utc_at(monotonic_ns()) - system.utc_ns()) > DOUBT_NS:
        return system
    return SystemClock(anchor)


def last_anchor(notes: Path) -> Anchor | None:
    """Latest anchor at ordinary speed noted in a run; None where there is none. Damaged lines are passed over."""
    anchor = None
    try:
        lines = notes.read_bytes().splitlines()
    except OSError:
        return None
    for line in lines:
        try:
            entry = json.loads(line)
            if entry["kind"] == "clock":
                anchor = anchor_of(entry["data"]) or anchor
        except DAMAGED:
            continue
    return anchor


def anchor_of(data: Mapping[str, Any]) -> Anchor | None:
    """Anchor held by a note of kind ``clock``; None for that of a clock that runs fast."""
    if float(data.get("speed", 1.0)) != 1.0:
        return None
    given = data["anchor"]
    return Anchor(int(given["monotonic_ns"]), int(given["utc_ns"]), int(given.get("doubt_ns", 0)))
