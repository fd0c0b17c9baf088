"""Time left: windows done and to come, the pace of the day, the time table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from config.plan import Plan
from quietheel.page.words import clock_of, span_words

FEWEST = 2
"""Windows closed before a pace is spoken of."""


def time_section(plan: Plan, closed_ns: Sequence[int], total: int, first_ns: int | None, now_ns: int) -> dict[str, Any]:
    """Say how far the day is.

    Parameters
    ----------
    closed_ns : when each window that counts was closed, rising.
    total : windows the plan asks for.
    first_ns : when the first window was opened.
    """
    hours = plan.test.utc_offset_h
    done, left = len(closed_ns), max(0, total - len(closed_ns))
    local = dt.datetime.fromtimestamp(now_ns / 1e9 + hours * 3600.0, dt.UTC)
    steps = [
        {"at": step.at.strftime("%H:%M"), "what": step.what + (f" ({step.who})" if step.who else ""), "state": "gone"}
        for step in plan.schedule
    ]
    coming = [n for n, step in enumerate(plan.schedule) if step.at > local.time()]
    for n in coming:
        steps[n]["state"] = ""
    if coming and coming[0] > 0:
        steps[coming[0] - 1]["state"] = "now"
    ahead = plan.schedule[coming[0]] if coming else None
    return {"says": _says(plan, closed_ns, done, left, total, first_ns, now_ns, local, ahead), "steps": steps}


def _says(
    plan: Plan,
    closed_ns: Sequence[int],
    done: int,
    left: int,
    total: int,
    first_ns: int | None,
    now_ns: int,
    local: dt.datetime,
    ahead: Any,
) -> str:
    follows = f" Next on the time table: {ahead.at:%H:%M}, {ahead.what}." if ahead else ""
    if first_ns is None or not done:
        return (f"No window of {total} yet." if total else "No window yet.") + follows
    until_ns = now_ns if left else closed_ns[-1]
    says = f"{done} of {total} windows in {span_words((until_ns - first_ns) * 1e-9)}" if total else f"{done} windows"
    if not left:
        return f"{says}: every planned window is there.{follows}"
    if done < FEWEST:
        return f"{says}.{follows}"
    pace_s = (closed_ns[-1] - closed_ns[0]) * 1e-9 / (done - 1)
    ends_ns = max(closed_ns[-1] + int(left * pace_s * 1e9), now_ns)
    says += f"; at this pace the last closes at {clock_of(ends_ns / 1e6, plan.test.utc_offset_h, seconds=False)}"
    if ahead:
        until = dt.datetime.combine(local.date(), ahead.at, dt.UTC)
        spare = (until - local).total_seconds() - (ends_ns - now_ns) * 1e-9
        says += f", {span_words(abs(spare))} {'before' if spare >= 0 else 'after'} {ahead.at:%H:%M} {ahead.what}"
    return says + "."
