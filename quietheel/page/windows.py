"""The windows of the day, newest first, each with its heel, its verdict and the reason in a sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from config.units import DEGREE
from dsp.types import Check, WindowHeel
from logger.events import CONFIRMATIONS, Event
from logger.marks import MarkedWindow
from quietheel.jobs.marking import standing_void
from quietheel.jobs.windows import half_width_deg
from quietheel.page.still import Still
from quietheel.page.words import number_or_none, span_words, with_signs
from reduction.types import WindowPoint

Found = Mapping[int, tuple[WindowHeel | None, WindowPoint | None]]


def windows_section(
    windows: Sequence[MarkedWindow], found: Found, still: Still, now_ns: int, busy: bool, events: Sequence[Event]
) -> list[dict[str, Any]]:
    """One entry a window: ``id``, ``label``, times, moment, heel, interval, ``verdict``, ``words``, ``void`` (reason).

    ``void_id`` is the line of the void, to be voided itself where the window shall stand again.
    """
    made = []
    for window in reversed(windows):
        void = standing_void(window, events) if window.voided else None
        entry = _entry(window, *found[window.number], still, now_ns, busy)
        made.append({**entry, "void_id": void.number if void is not None else None})
    return made


def _entry(
    window: MarkedWindow, heel: WindowHeel | None, point: WindowPoint | None, still: Still, now_ns: int, busy: bool
) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "id": window.number,
        "label": window.label,
        "start_ms": window.start_ns // 1_000_000,
        "stop_ms": None if window.stop_ns is None else window.stop_ns // 1_000_000,
        "moment_tm": round(point.moment / 1000.0, 3) if point is not None else window.moment_tm,
        "heel_deg": None,
        "u95_deg": None,
        "verdict": None,
        "void": window.reason or "no reason given" if window.voided else None,
    }
    if window.voided:
        entry["words"] = f"Void: {entry['void']}" + (f" ({window.voided_by})" if window.voided_by else "")
    elif window.stop_ns is None:
        entry["heel_deg"], entry["u95_deg"] = still.heel_deg, still.u95_deg
        entry["words"] = f"Open for {span_words((now_ns - window.start_ns) * 1e-9)}. {still.more}".strip()
        entry["words"] += f" So far: {still.warning}" if still.warning else ""
    elif heel is None:
        entry["words"] = "Being worked out." if busy else "Not worked out."
    else:
        entry["heel_deg"] = _degrees(heel.heel)
        entry["u95_deg"] = number_or_none(round(half_width_deg(heel), 6)) if math.isfinite(heel.u) else None
        entry["verdict"] = point.verdict if point is not None else window.overruled or heel.verdict
        entry["words"] = _reason(window, heel, point)
    return entry


def _reason(window: MarkedWindow, heel: WindowHeel, point: WindowPoint | None) -> str:
    checks: tuple[Check, ...] = point.checks if point is not None else heel.checks
    reasons = point.reasons if point is not None else heel.reasons
    if point is not None and point.overruled:
        return f"Overruled: {point.overruled}"
    if point is None and window.overruled:
        return f"Overruled: {window.overrule_reason} ({window.overruled_by}; the checks said {heel.verdict})"
    against = sorted((c for c in checks if c.verdict != "fine"), key=lambda c: c.verdict != "rejected")
    if against:
        more = len(against) - 1
        return _sentence(against[0].says) + (f" And {more} more." if more else "")
    if reasons:
        return _sentence(", ".join(reasons).replace("_", " "))
    given = len(CONFIRMATIONS) - len(window.missing)
    if window.imported:
        return "All checks passed."
    return f"All checks passed; {given} of {len(CONFIRMATIONS)} confirmed."


def _sentence(text: str) -> str:
    text = with_signs(text[:1].upper() + text[1:])
    return text if text.endswith((".", "!", "?")) else text + "."


def _degrees(angle: float) -> float | None:
    return number_or_none(round(angle / DEGREE, 6)) if math.isfinite(angle) else None
