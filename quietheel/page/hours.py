"""Time left: windows done and to come, the pace of the day, the time table."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from config.plan import Plan
from quietheel.page.words import clock_of, span_words

FEWEST = 2
"""States with a window before a pace is spoken of."""


def time_section(
    plan: Plan,
    closed: Mapping[str, Sequence[int]],
    total: int,
    first_ns: int | None,
    now_ns: int,
    *,
    spoilt: int = 0,
) -> dict[str, Any]:
    """Say how far the day is.

    Parameters
    ----------
    closed : state of the weights -> when its windows that count were closed, UTC ns; several may be of one state.
    total : states the plan asks a window of.
    first_ns : when the first window was opened.
    spoilt : states of the weights whose windows are all rejected.
    """
    local = _local(now_ns, plan)
    at = _times(plan, local if first_ns is None else _local(first_ns, plan))
    steps = [
        {"at": step.at.strftime("%H:%M"), "what": step.what + (f" ({step.who})" if step.who else ""), "state": "gone"}
        for step in plan.schedule
    ]
    coming = [n for n, when in enumerate(at) if when > local]
    for n in coming:
        steps[n]["state"] = ""
    if coming and coming[0] > 0:
        steps[coming[0] - 1]["state"] = "now"
    if steps and not coming and len([times for times in closed.values() if times]) < total:
        steps[-1]["state"] = ""  # the day is not over before every window is there, whatever the clock says
    ahead = (at[coming[0]], plan.schedule[coming[0]].what) if coming else None
    return {"says": _says(plan, closed, total, first_ns, now_ns, local, ahead, spoilt), "steps": steps}


def _local(ns: int, plan: Plan) -> dt.datetime:
    return dt.datetime.fromtimestamp(ns / 1e9 + plan.test.utc_offset_h * 3600.0, dt.UTC)


def _times(plan: Plan, begun: dt.datetime) -> list[dt.datetime]:
    """When each step of the time table comes, local; a time before that of the step before is of the next day."""
    found: list[dt.datetime] = []
    for step in plan.schedule:
        when = dt.datetime.combine(found[-1].date() if found else begun.date(), step.at, dt.UTC)
        if not found and when - begun > dt.timedelta(hours=12):
            when -= dt.timedelta(days=1)  # begun after midnight, by the evening's time table
        found.append(when + dt.timedelta(days=1) if found and when < found[-1] else when)
    return found


def _says(
    plan: Plan,
    closed: Mapping[str, Sequence[int]],
    total: int,
    first_ns: int | None,
    now_ns: int,
    local: dt.datetime,
    ahead: tuple[dt.datetime, str] | None,
    spoilt: int,
) -> str:
    states = sorted(min(times) for times in closed.values() if times)
    done, count, left = len(states), sum(len(times) for times in closed.values()), max(0, total - len(states))
    follows = f" Next on the time table: {ahead[0]:%H:%M}, {ahead[1]}." if ahead else ""
    if first_ns is None or not done:
        return (f"No window of {total} yet." if total else "No window yet.") + follows
    until_ns = now_ns if left else max(max(times) for times in closed.values() if times)
    lasting = span_words((until_ns - first_ns) * 1e-9)
    if not total:
        says = f"{count} windows"
    elif count == done:
        says = f"{done} of {total} windows in {lasting}"
    else:
        says = f"{count} windows, in {done} of {total} states of the weights, in {lasting}"
    if spoilt:
        says += f", {spoilt} of them rejected" if count == done else f", {spoilt} of the states without one that counts"
    if not left:
        return f"{says}: every planned window {'was taken' if spoilt else 'is there'}.{follows}"
    if done < FEWEST:
        return f"{says}.{follows}"
    pace_s = (states[-1] - states[0]) * 1e-9 / (done - 1)
    ends_ns = max(states[-1] + int(left * pace_s * 1e9), now_ns)
    says += f"; at this pace the last closes at {clock_of(ends_ns / 1e6, plan.test.utc_offset_h, seconds=False)}"
    if ahead:
        spare = (ahead[0] - local).total_seconds() - (ends_ns - now_ns) * 1e-9
        says += f", {span_words(abs(spare))} {'before' if spare >= 0 else 'after'} {ahead[0]:%H:%M} {ahead[1]}"
    return says + "."
