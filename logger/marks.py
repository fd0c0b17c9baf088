"""What the marks come to: the windows of the day."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field, replace

from config.plan import Plan
from config.sequence import movements
from logger.events import CONFIRMATIONS, Event, effective
from logger.hand_read import half_swing, hand_heel
from logger.muster import people_moment, whereabouts

__all__ = ["CONFIRMATIONS", "MarkedWindow", "free_label", "marked_windows", "window_at"]


@dataclass(frozen=True)
class MarkedWindow:
    """One window as marked."""

    label: str
    movement: str
    """State of the weights it was taken in."""
    start_ns: int
    """UTC ns."""
    stop_ns: int | None
    """UTC ns; None while it is open."""
    confirmed: frozenset[str] = frozenset()
    """Which of `CONFIRMATIONS` were given before it was closed."""
    voided: bool = False
    reason: str = ""
    """Why it was voided."""
    voided_by: str = ""
    moved_ns: int | None = None
    """When the last weight of this state came to rest, if marked, UTC ns."""
    moment_tm: float | None = None
    """t m to starboard, where the mark itself gives the moment (an imported record)."""
    moment_u95_tm: float | None = None
    """Half width at 95 % of ``moment_tm``, where it is known."""
    imported: bool = False
    hand_readings: tuple[tuple[str, float, float], ...] = ()
    """(station, heel rad, u rad) read by a person."""
    people_moment_tm: float = 0.0
    """t m to starboard, of people who stood away from their muster stations."""
    overruled: str = ""
    """Verdict that a person put in place of the computed one."""
    overrule_reason: str = ""
    overruled_by: str = ""
    remarks: tuple[str, ...] = ()
    """What was odd about its marks."""
    number: int = 0
    """Line of the mark that opened it."""

    @property
    def missing(self) -> tuple[str, ...]:
        """Confirmations not given; none are asked of an imported window."""
        return () if self.imported else tuple(what for what in CONFIRMATIONS if what not in self.confirmed)


@dataclass
class _Walk:
    """State while the marks are gone through in order of time."""

    plan: Plan
    now: str
    moved_ns: int | None = None
    pending: set[str] = field(default_factory=set)
    windows: dict[str, MarkedWindow] = field(default_factory=dict)
    open: list[str] = field(default_factory=list)
    early: list[Event] = field(default_factory=list)

    def last(self) -> MarkedWindow | None:
        return self.windows[self.open[-1]] if self.open else None

    def change(self, label: str, **changes: object) -> None:
        self.windows[label] = replace(self.windows[label], **changes)  # type: ignore[arg-type]


def marked_windows(events: Sequence[Event], plan: Plan) -> list[MarkedWindow]:
    """Gather the windows of the day from its marks, voided ones included, in order of opening.

    A confirmation counts for the window that is open, or else for the next one opened before any further movement.
    A closing without the line that opened its window or a label closes the last one open at its time.
    Void marks are passed over. A second opening of a window that is open stands as a remark. A hand reading without
    the name of its window belongs to the window it falls into, or to the last one before it.
    """
    ordered, voids = effective(events)
    steps = movements(plan) if plan.weights or plan.movements else ()
    walk = _Walk(plan, now=steps[0].label if steps else "0")
    for event in ordered:
        void = voids.get(event.number)
        if void is None or event.kind == "window_open":
            _take(walk, event, void)
    early, walk.early = walk.early, []
    for event in early:
        _judge(walk, event)
    _hand_readings(walk, [event for event in ordered if event.number not in voids and event.kind == "reading"])
    roster = [event for event in ordered if event.number not in voids and event.kind == "people"]
    for label, window in list(walk.windows.items()):
        stop = window.stop_ns if window.stop_ns is not None else 2**63 - 1
        moment = people_moment(whereabouts(plan, roster, stop))
        walk.change(label, people_moment_tm=moment)
    return sorted(walk.windows.values(), key=lambda window: (window.start_ns, window.number))


def _take(walk: _Walk, event: Event, void: Event | None) -> None:
    data = event.data
    if event.kind == "movement":
        walk.now, walk.moved_ns = str(data["movement"]), event.at_ns
        walk.pending.clear()
        for label in walk.open:
            _remark(walk, label, f"still open when movement {walk.now} was made")
    elif event.kind == "window_open":
        _open(walk, event, void)
    elif event.kind == "window_close":
        _close(walk, event)
    elif event.kind == "confirm":
        what = [one for one in _listed(data.get("what")) if one in CONFIRMATIONS]
        named = _named(walk, data.get("window"))
        window = named or walk.last()
        if window is None:
            walk.pending.update(what)
        else:
            walk.change(window.label, confirmed=window.confirmed | set(what))
    elif event.kind in ("void", "overrule") and data.get("window"):
        _judge(walk, event)


def _judge(walk: _Walk, event: Event) -> None:
    """A person's word on a whole window; kept for later where its time lies before the window's opening."""
    window = _named(walk, event.data.get("window"))
    if window is None:
        walk.early.append(event)
    elif event.kind == "void":
        walk.change(window.label, voided=True, reason=str(event.data.get("reason", "")), voided_by=event.by)
        if window.label in walk.open:
            walk.open.remove(window.label)
    else:
        walk.change(
            window.label,
            overruled=str(event.data["verdict"]),
            overrule_reason=str(event.data["reason"]),
            overruled_by=event.by,
        )


def _open(walk: _Walk, event: Event, void: Event | None) -> None:
    data = event.data
    movement = str(data.get("movement") or walk.now)
    wanted = str(data.get("window") or "")
    current = walk.last()
    if (
        current is not None
        and void is None
        and (wanted == current.label or (not wanted and movement == current.movement))
    ):
        _remark(walk, current.label, f"opened again by {event.by}, line {event.number}")
        return
    label = free_label(walk.windows, wanted or movement)
    moment, interval = data.get("moment_tm"), data.get("moment_u95_tm")
    walk.windows[label] = MarkedWindow(
        label=label,
        movement=movement,
        start_ns=event.at_ns,
        stop_ns=None,
        confirmed=frozenset(walk.pending) | frozenset(_listed(data.get("confirm"))) & CONFIRMATIONS.keys(),
        voided=void is not None,
        reason=str(void.data.get("reason", "")) if void else "",
        voided_by=void.by if void else "",
        moved_ns=walk.moved_ns if movement == walk.now else None,
        moment_tm=float(moment) if isinstance(moment, (int, float)) else None,
        moment_u95_tm=abs(float(interval)) if isinstance(interval, (int, float)) else None,
        imported=bool(data.get("imported", False)),
        number=event.number,
    )
    walk.pending.clear()
    if void is None:
        walk.open.append(label)


def _close(walk: _Walk, event: Event) -> None:
    """Close the window that the line named opened; failing that the one of the label, or the last one still open."""
    label, opened = event.data.get("window"), event.data.get("opened")
    window = next((one for one in walk.windows.values() if one.number == opened), None)
    window = window or _named(walk, label) or (None if label else walk.last())
    if window is None or window.stop_ns is not None or event.at_ns <= window.start_ns:
        return
    walk.change(window.label, stop_ns=event.at_ns)
    if window.label in walk.open:
        walk.open.remove(window.label)


def _remark(walk: _Walk, label: str, text: str) -> None:
    walk.change(label, remarks=(*walk.windows[label].remarks, text))


def _named(walk: _Walk, label: object) -> MarkedWindow | None:
    return walk.windows.get(str(label)) if label not in (None, "") else None


def free_label(taken: Collection[str], wanted: str) -> str:
    """A window taken again gets a letter.

    >>> free_label(("5", "5b"), "5")
    '5c'
    """
    label, letter = wanted, ord("b")
    while label in taken:
        label = f"{wanted}{chr(letter)}" if letter <= ord("z") else f"{wanted}-{letter}"
        letter += 1
    return label


def _listed(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    return [str(one) for one in value] if isinstance(value, (list, tuple)) else []


def _hand_readings(walk: _Walk, readings: Sequence[Event]) -> None:
    stations = {station.name: station for station in walk.plan.stations}
    zeros: dict[str, float] = {}
    once: dict[tuple[str, str], int] = {}
    swings: dict[str, list[list[float]]] = {}
    for event in readings:
        swings.setdefault(str(event.data["station"]), []).append(event.data["deflections_mm"])
    for event in readings:
        station = stations.get(str(event.data["station"]))
        window = _named(walk, event.data.get("window")) or window_at(walk.windows.values(), event.at_ns)
        if station is None or station.kind not in ("pendulum", "u_tube") or window is None:
            continue
        deflections = [float(value) for value in event.data["deflections_mm"]]
        one_leg = bool(event.data.get("one_leg", False))
        zero = event.data.get("zero_mm")
        if zero is None:
            # The first reading of the day counts as upright; each fit gives the station its own offset anyway.
            zero = zeros.get(station.name, hand_heel(station, deflections).mean_mm)
        zeros.setdefault(station.name, float(zero))
        swing = half_swing(station, swings[station.name])
        found = hand_heel(station, deflections, zero_mm=float(zero), one_leg=one_leg, swing_mm=swing)
        kept = tuple(one for one in walk.windows[window.label].hand_readings if one[0] != station.name)
        walk.change(window.label, hand_readings=(*kept, (station.name, found.heel, found.u)))
        once.pop((window.label, station.name), None)
        if len(deflections) == 1:
            once[window.label, station.name] = event.number
    for (label, name), number in once.items():
        _remark(
            walk,
            label,
            f"{name} was read once, line {number}: it may be the end of a swing, and is uncertain by half of one; "
            "read several ends in turn",
        )


def window_at(windows: Iterable[MarkedWindow], at_ns: int) -> MarkedWindow | None:
    """The window that what happened at ``at_ns`` belongs to: the last one opened before, voided ones aside."""
    before = [window for window in windows if window.start_ns <= at_ns and not window.voided]
    return max(before, key=lambda window: window.start_ns, default=None)
