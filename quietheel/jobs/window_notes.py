"""What is odd about opening or closing a window, beside what other windows and the plan say."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from config.plan import Plan
from config.words import first_of
from logger.clock import SECOND
from logger.daystate import DayState
from logger.events import Event
from logger.marks import MarkedWindow

NAMED = 3
"""Windows named one by one in a sentence."""
LEAST_S = 20.0
"""A shorter window is none, nor one shorter than `LEAST_PERIODS` of roll: as the check ``short`` has it."""
LEAST_PERIODS = 4.0
LONGEST_S = 6 * 3600.0
"""No vessel lies still for longer; a time was mistyped."""


def opened(plan: Plan, event: Event, steps: Sequence[str], now: DayState) -> Iterator[str]:
    """Say what is odd about a window just opened.

    Parameters
    ----------
    steps : labels of the plan's movements.
    now : where the day stands after the mark.
    """
    mine = next((window for window in now.windows if window.number == event.number), None)
    if mine is None:
        return
    if steps and not event.data.get("movement"):
        yield from _named(mine, steps)
    others = _others(mine, now)
    after = next((other for other in others if other.start_ns > mine.start_ns), None)
    if after is not None:
        yield (
            f"window {mine.label} is opened before window {after.label}, {_span(plan, after)}: close it with --at "
            "before that"
        )
    for other in others:
        if other.start_ns > mine.start_ns:
            break
        if other.stop_ns is None:
            yield (
                f"window {mine.label} is opened while window {other.label} is, {_span(plan, other)}: `quietheel mark "
                f"close {other.label}` closes that one"
            )
        elif other.stop_ns > mine.start_ns:
            yield f"window {mine.label} is opened inside window {other.label}, {_span(plan, other)}"


def closed(plan: Plan, event: Event, now: DayState) -> Iterator[str]:
    """Say what is odd about a window just closed."""
    mine = next((window for window in now.windows if window.number == event.data.get("opened")), None)
    if mine is None or mine.stop_ns != event.at_ns:
        return
    length = (mine.stop_ns - mine.start_ns) / SECOND
    periods = LEAST_PERIODS * (plan.vessel.estimated_period_s or 0.0)
    least = max(LEAST_S, periods)
    if length < least:
        rolls = f", {LEAST_PERIODS:.0f} periods of roll" if periods > LEAST_S else ""
        yield f"window {mine.label} was open for {length:.0f} s; {least:.0f} s is the least{rolls}"
    if length > LONGEST_S:
        yield f"window {mine.label} would be {length / 3600.0:,.0f} h long: the time of one of its marks is wrong"
    both = [
        f"window {other.label}, {_span(plan, other)}"
        for other in _others(mine, now)
        if other.start_ns < mine.stop_ns and (other.stop_ns is None or other.stop_ns > mine.start_ns)
    ]
    if both:
        yield f"window {mine.label}, {_span(plan, mine)}, overlaps {first_of(both, NAMED)}"


def _others(mine: MarkedWindow, now: DayState) -> list[MarkedWindow]:
    """The other windows that stand, in order of opening."""
    return [window for window in now.windows if window.number != mine.number and not window.voided]


def _named(mine: MarkedWindow, steps: Sequence[str]) -> Iterator[str]:
    """Say where the name of a window is not that of its state of the weights."""
    label = mine.label
    # Movement 5 taken again is 5b, and at last 5-123.
    again = label.rpartition("-")[0] or (label[:-1] if label[-1:].isalpha() else "")
    named = next((one for one in (label, again) if one in steps), None)
    if named is None:
        yield (
            f"window {label} is named after no movement of the plan, and its moment is that of movement "
            f"{mine.movement}; there are {', '.join(steps)}"
        )
    elif named != mine.movement:
        yield (
            f"window {label} is opened in the state of movement {mine.movement}, and its moment is that one's: "
            f"mark movement {named} before its window"
        )


def _span(plan: Plan, window: MarkedWindow) -> str:
    since = _clock(plan, window.start_ns)
    return f"open since {since}" if window.stop_ns is None else f"{since} to {_clock(plan, window.stop_ns)}"


def _clock(plan: Plan, ns: int) -> str:
    zone = dt.timezone(dt.timedelta(hours=plan.test.utc_offset_h))
    return f"{dt.datetime.fromtimestamp(ns // SECOND, zone):%H:%M:%S}"
