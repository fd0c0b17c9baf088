"""What is odd about a mark that may stand all the same: said when it is made, so that a slip is undone at once."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from config.folder import TestFolder
from config.plan import Plan
from config.sequence import movements
from logger.clock import SECOND
from logger.daystate import DayState, state_of_day
from logger.events import Event, EventLog, effective
from logger.hand_read import swing_mean
from logger.marks import window_at
from quietheel.jobs.window_notes import closed, opened

STEEPEST_DEG = 10.0
"""A hand reading beyond this is no reading in mm of a test that wants 1 to 4 degrees."""
FUTURE_S = 60.0


def notes_on(folder: Path | str, event: Event, *, timed: bool = False) -> tuple[str, ...]:
    """Say what is odd about a mark just made.

    Parameters
    ----------
    folder : the test folder.
    event : the mark as written.
    timed : whether a person typed its time.
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    events = EventLog(place.path).read()
    before = [one for one in events if one.number < event.number]
    then, now = state_of_day(before, plan), state_of_day(events, plan)
    found = [*_of_kind(plan, event, before, then, now), *(_time(plan, event) if timed else ())]
    found += new_remarks(then, now)
    if found:
        found.append(f'a slip is undone by: quietheel mark void "why" --event {event.number}')
    return tuple(found)


def new_remarks(then: DayState, now: DayState) -> tuple[str, ...]:
    """What is odd about the marks and was not before: each is said once; `quietheel mark next` lists them all."""
    return tuple(remark for remark in now.remarks if remark not in then.remarks)


def _of_kind(plan: Plan, event: Event, before: Sequence[Event], then: DayState, now: DayState) -> Iterator[str]:
    steps = [step.label for step in movements(plan)] if plan.weights or plan.movements else []
    if event.kind == "movement" and steps:
        made = str(event.data["movement"])
        due = steps[min(steps.index(then.movement) + 1, len(steps) - 1)] if then.movement in steps else steps[0]
        if made == then.movement and then.moved_ns is not None:
            yield f"movement {made} was marked before"
        elif made not in (due, then.movement):
            yield f"movement {made} follows movement {then.movement} here; in the plan it is movement {due}"
    if event.kind == "window_open":
        yield from opened(plan, event, steps, now)
    if event.kind == "window_close":
        yield from closed(plan, event, now)
    if event.kind == "reading":
        yield from _reading(plan, event, before, then)


def _reading(plan: Plan, event: Event, before: Sequence[Event], then: DayState) -> Iterator[str]:
    name, values = str(event.data["station"]), list(event.data["deflections_mm"])
    length = next((s.length_m for s in plan.stations if s.name == name), None) or math.nan
    _, voids = effective(before)
    earlier = [e for e in before if e.kind == "reading" and e.number not in voids and e.data.get("station") == name]
    # As in the marks: without its own zero a reading counts from that of the first one of the day, or from that one.
    first = (earlier or [event])[0].data
    given = next((z for z in (event.data.get("zero_mm"), first.get("zero_mm")) if z is not None), None)
    zero = swing_mean(first["deflections_mm"], 0.0)[0] if given is None else float(given)
    steep = math.degrees(math.atan(max(abs(value - zero) for value in values) / 1000.0 / length))
    if steep > STEEPEST_DEG:
        yield f"{name} at {steep:.0f} deg of heel: its readings are mm, to starboard positive"
    label = window_of(event, then)
    if not label:
        yield f"{name} was read before any window was opened: it counts in none"
    again = [e for e in earlier if label and window_of(e, then) == label]
    if again:
        yield f"{name} was read in window {label} before, line {again[-1].number}: this one takes its place"


def window_of(reading: Event, day: DayState) -> str:
    """Label of the window that a reading by hand counts in: named, or the last one opened before it; empty if none."""
    window = window_at(day.windows, reading.at_ns)
    return str(reading.data.get("window") or (window.label if window else ""))


def _time(plan: Plan, event: Event) -> Iterator[str]:
    offset = dt.timezone(dt.timedelta(hours=plan.test.utc_offset_h))
    day = dt.datetime.fromtimestamp(event.at_ns / SECOND, offset).date()
    today = dt.datetime.fromtimestamp(event.entered_ns / SECOND, offset).date()
    wanted = plan.test.date or today
    if day != wanted:
        yield f"{day} is not the day of the {'plan' if plan.test.date else 'marking'}, {wanted}"
    elif day == today and event.at_ns - event.entered_ns > FUTURE_S * SECOND:
        yield f"its time is {(event.at_ns - event.entered_ns) / SECOND / 60:.0f} min in the future"
