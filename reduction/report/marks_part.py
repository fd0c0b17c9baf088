"""Annex: the marks of the day as they were made, voided ones struck but there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from config.plan import Plan
from config.words import listed
from logger.marks import marked_windows
from reduction.report.document import Cell, Column, Mark, Paragraph, Section, Table
from reduction.report.numbers import significant
from reduction.report.words import CONFIRMATIONS, clock, zone_words

if TYPE_CHECKING:
    from logger.events import Event


def voided_in_words(events: Sequence[Event], plan: Plan) -> tuple[str, ...]:
    """Windows that a person voided after they were closed: they are in no table, so who, when and why is said."""
    return tuple(
        f"Window {w.label} ({clock(w.start_ns, plan.test.utc_offset_h, with_seconds=False)}) voided by "
        f"{w.voided_by or 'hand'}: {w.reason or 'no reason given'}. It is not among the windows."
        for w in marked_windows(events, plan)
        if w.voided and w.stop_ns is not None
    )


def marks_section(events: Sequence[Event], plan: Plan) -> Section | None:
    """Every mark in the order of the file; None where none were handed over.

    Parameters
    ----------
    events : from `logger.events`, voids among them.
    plan : for the local time.
    """
    if not events:
        return None
    voided = {e.data.get("event"): e.number for e in events if e.kind == "void"}
    offset = plan.test.utc_offset_h
    rows: list[tuple[Cell, ...]] = []
    for event in events:
        if not event.intact:
            mark = Mark("altered", "rejected")
        elif event.number in voided:
            mark = Mark(f"voided by {voided[event.number]}", "caution")
        else:
            mark = Mark("stands", "fine")
        rows.append((str(event.number), clock(event.at_ns, offset), mark_in_words(event), event.by or "–", mark))
    columns = (
        Column("no.", "right"),
        Column(f"at, {zone_words(offset)}", "right"),
        Column("mark", weight=1),
        Column("by"),
        Column(""),
    )
    note = "Nothing is changed or deleted; a mistake is undone by a later mark. Each line of the file carries the "
    note += "digest of the line before: a line that does not is shown as altered."
    altered = sum(1 for e in events if not e.intact)
    warning = (Paragraph(f"{altered} marks do not carry the digest of the line before them."),) if altered else ()
    table = Table("Marks of the day", columns, tuple(rows), note, small=True)
    return Section("marks", "Annex D. Marks of the day", (*warning, table))


def mark_in_words(event: Event) -> str:
    """Say what a mark means.

    >>> from logger.events import Event
    >>> mark_in_words(Event(3, 0, "confirm", "AN", {"what": ["lines", "crane"], "window": "5"}))
    'window 5 confirmed: lines slack and drooping and crane stowed'
    >>> mark_in_words(Event(4, 0, "void", "AN", {"event": 3, "reason": "wrong window"}))
    'void mark 3: wrong window'
    """
    data = event.data
    window = f"window {data['window']}" if data.get("window") else "window"
    if event.kind == "confirm":
        what = data.get("what") or []
        names = [what] if isinstance(what, str) else [str(w) for w in what]
        return f"{window} confirmed: {listed([CONFIRMATIONS.get(n, n) for n in names])}"
    if event.kind == "void":
        target = f"mark {data['event']}" if data.get("event") else window
        return f"void {target}: {data.get('reason', '')}"
    simple = {
        "gangway": lambda: f"gangway {data.get('state', '')}",
        "movement": lambda: f"movement {data.get('movement', '')} made",
        "window_open": lambda: f"{window} opened",
        "window_close": lambda: f"{window} closed",
        "note": lambda: str(data.get("text", "")),
        "people": lambda: f"{data.get('person', '')} {_place(data)}",
        "reading": lambda: f"{window}, read at {data.get('station', '')}: {_values(data.get('deflections_mm'))} mm",
        "density": lambda: f"density {data.get('value_kg_m3', '')} kg/m³ {data.get('place', '')}".rstrip(),
        "waterline": lambda: f"{data.get('kind', '')} {data.get('mark', '')}: {data.get('value_m', '')} m",
        "overrule": lambda: f"{window} taken as {data.get('verdict', '')}: {data.get('reason', '')}",
    }
    return simple[event.kind]() if event.kind in simple else event.kind.replace("_", " ")


def _place(data: Any) -> str:
    if data.get("ashore"):
        return "went ashore"
    return f"at {data.get('place') or _values(data.get('position_m')) or 'another place'}"


def _values(values: object) -> str:
    if isinstance(values, (list, tuple)):
        return ", ".join(significant(float(v)) for v in values if isinstance(v, (int, float)))
    return "" if values is None else str(values)
