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
    found = [*_of_kind(plan, event, before, state_of_day(before, plan)), *(_time(plan, event) if timed else ())]
    if found:
        found.append(f'a slip is undone by: quietheel mark void "why" --event {event.number}')
    return tuple(found)


def _of_kind(plan: Plan, event: Event, before: Sequence[Event], then: DayState) -> Iterator[str]:
    steps = [step.label for step in movements(plan)] if plan.weights or plan.movements else []
    if event.kind == "movement" and steps:
        made = str(event.data["movement"])
        due = steps[min(steps.index(then.movement) + 1, len(steps) - 1)] if then.movement in steps else steps[0]
        if made == then.movement and then.moved_ns is not None:
            yield f"movement {made} was marked before"
        elif made not in (due, then.movement):
            yield f"movement {made} follows movement {then.movement} here; in the plan it is movement {due}"
    if event.kind == "window_open":
        label = str(event.data.get("window") or "")
        if label in steps and label != then.movement and not event.data.get("movement"):
            yield (
                f"window {label} is opened in the state of movement {then.movement}, and its moment is that one's: "
                f"mark movement {label} before its window"
            )
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
    window = event.data.get("window") or (then.open_window or (then.windows[-1] if then.windows else None))
    label = str(getattr(window, "label", window or ""))
    again = [e for e in earlier if _in(e, label, then)]
    if again:
        yield f"{name} was read in window {label} before, line {again[-1].number}: this one takes its place"


def _in(reading: Event, label: str, then: DayState) -> bool:
    """Whether a reading belongs to a window: by name, or as the last one opened before it."""
    if reading.data.get("window"):
        return str(reading.data["window"]) == label
    opened = [w for w in then.windows if w.start_ns <= reading.at_ns]
    return bool(opened) and opened[-1].label == label


def _time(plan: Plan, event: Event) -> Iterator[str]:
    offset = dt.timezone(dt.timedelta(hours=plan.test.utc_offset_h))
    day = dt.datetime.fromtimestamp(event.at_ns / SECOND, offset).date()
    today = dt.datetime.fromtimestamp(event.entered_ns / SECOND, offset).date()
    wanted = plan.test.date or today
    if day != wanted:
        yield f"{day} is not the day of the {'plan' if plan.test.date else 'marking'}, {wanted}"
    elif day == today and event.at_ns - event.entered_ns > FUTURE_S * SECOND:
        yield f"its time is {(event.at_ns - event.entered_ns) / SECOND / 60:.0f} min in the future"
