"""Time of the record: intervals from a monotonic clock, UTC from one anchor, every step of the system clock noted.

A run's host time is ``anchor.utc_ns + (monotonic - anchor.monotonic_ns)``. It never steps. Where the system clock says
otherwise later on (somebody set it, the network set it, the laptop slept), that is noted as a `ClockStep` or a new
`Anchor` in the record and changes no interval. Sleep and clock are arguments everywhere, so that tests never wait.
"""

from __future__ import annotations

import asyncio
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

SECOND = 1_000_000_000
"""ns."""
STEP_LIMIT_NS = 100_000_000
"""ns. A jump of the system clock by more than this between two looks is a step; less is ordinary slewing
(from memory: a network time daemon slews up to about 0.5 ms/s and steps from 128 ms)."""


COARSE_S = 0.001
"""A system clock that ticks more slowly than this is waited for when an anchor is taken."""


@dataclass(frozen=True)
class Anchor:
    """One moment on both clocks."""

    monotonic_ns: int
    utc_ns: int
    doubt_ns: int = 0
    """Half the time that passed between the two readings of the monotonic clock around the one of the system clock."""

    def utc_at(self, monotonic_ns: int) -> int:
        """UTC of a moment on the monotonic clock, carried from this anchor.

        >>> Anchor(monotonic_ns=500, utc_ns=9_000).utc_at(700)
        9200
        """
        return self.utc_ns + (monotonic_ns - self.monotonic_ns)


@dataclass(frozen=True)
class ClockStep:
    """The system clock jumped against the monotonic one. Host time did not."""

    host_ns: int
    """When it was noticed, host time."""
    step_ns: int
    """By how much; positive if the system clock was put forward."""
    offset_ns: int
    """System clock minus host time after the step."""


class UtcClock(Protocol):
    """What record and marks need of time."""

    def utc_ns(self) -> int:
        """UTC now, ns; of a run its host time."""


class Clock(UtcClock, Protocol):
    """What the logger needs of time."""

    @property
    def speed(self) -> float:
        """How much faster than the wall this clock runs; 1 for real."""

    @property
    def anchor(self) -> Anchor:
        """The anchor of the run."""

    def monotonic_ns(self) -> int:
        """Count ns from an arbitrary start; never steps."""

    def system_utc_ns(self) -> int:
        """What the system clock says now, UTC ns; may step."""

    def host_ns(self, monotonic_ns: int | None = None) -> int:
        """UTC ns carried on the monotonic clock, now or at a moment of it."""

    async def sleep(self, seconds: float) -> None:
        """Wait on this clock."""


def _choose_monotonic() -> Callable[[], int]:
    """Pick the clock that goes on while the machine sleeps and is the same in all processes.

    Linux: CLOCK_BOOTTIME. macOS: CLOCK_MONOTONIC by clock_gettime (the one behind time.monotonic stands still in
    sleep). Windows: the performance counter (time.monotonic ticks every 15.6 ms on CPython before 3.13).
    """
    if sys.platform == "win32":
        return time.perf_counter_ns
    identity = getattr(time, "CLOCK_BOOTTIME", time.CLOCK_MONOTONIC)
    return lambda: time.clock_gettime_ns(identity)


monotonic_ns: Callable[[], int] = _choose_monotonic()
"""ns since the machine started; the same in every process, so a mark made elsewhere lands in the run's host time."""


def wall_s() -> float:
    """Seconds on the same clock, for short intervals: ``time.monotonic`` is too coarse for them on Windows.

    >>> before = monotonic_ns() / SECOND
    >>> 0.0 <= wall_s() - before < 1.0
    True
    """
    return monotonic_ns() / SECOND


TICK_S = time.get_clock_info("time").resolution
"""Of the system clock. 15.6 ms on Windows with CPython before 3.13, next to nothing elsewhere."""


def take_anchor(
    monotonic: Callable[[], int] = monotonic_ns,
    system: Callable[[], int] = time.time_ns,
    tries: int = 9,
    tick_s: float = TICK_S,
) -> Anchor:
    """Read both clocks together; the tightest of several tries is kept. A coarse system clock is read at its tick."""
    if tick_s > COARSE_S:
        said, end = system(), monotonic() + round(2 * tick_s * SECOND)
        while system() == said and monotonic() < end:
            pass
    best: Anchor | None = None
    for _ in range(tries):
        before = monotonic()
        utc = system()
        after = monotonic()
        doubt = (after - before) // 2
        if best is None or doubt < best.doubt_ns:
            best = Anchor(before + doubt, utc, doubt)
    assert best is not None
    return best


class _Anchored:
    """What the clocks that carry UTC on a monotonic clock have in common."""

    def __init__(self, anchor: Anchor) -> None:
        self._anchor = anchor

    @property
    def speed(self) -> float:
        """See `Clock`."""
        return 1.0

    @property
    def anchor(self) -> Anchor:
        """The anchor of the run."""
        return self._anchor

    def monotonic_ns(self) -> int:
        """See `Clock`."""
        return monotonic_ns()

    def host_ns(self, monotonic_ns: int | None = None) -> int:
        """See `Clock`."""
        return self._anchor.utc_at(self.monotonic_ns() if monotonic_ns is None else monotonic_ns)

    def utc_ns(self) -> int:
        """See `Clock`."""
        return self.host_ns()

    async def sleep(self, seconds: float) -> None:
        """See `Clock`."""
        await asyncio.sleep(max(0.0, seconds / self.speed))


class SystemClock(_Anchored):
    """The machine's clocks."""

    def __init__(self, anchor: Anchor | None = None) -> None:
        """Take an anchor now, or go on from that of a run already recording (a mark made in another process)."""
        super().__init__(anchor or take_anchor())

    def system_utc_ns(self) -> int:
        """See `Clock`."""
        return time.time_ns()


class FastClock(_Anchored):
    """A clock that runs ``speed`` times as fast as the wall, for the demo: transports stay real, hours become seconds.

    Parameters
    ----------
    speed : how many seconds pass on this clock in one second on the wall.
    start_utc_ns : what it says at its beginning; empty takes the system clock.
    """

    def __init__(self, speed: float, start_utc_ns: int | None = None) -> None:
        if not 0 < speed <= 100_000:
            raise ValueError(f"speed {speed}: a number above 0 and up to 100 000")
        self._speed = speed
        self._real_start = monotonic_ns()
        super().__init__(Anchor(self._real_start, time.time_ns() if start_utc_ns is None else start_utc_ns))

    @property
    def speed(self) -> float:
        """See `Clock`."""
        return self._speed

    def monotonic_ns(self) -> int:
        """See `Clock`."""
        return self._real_start + round((monotonic_ns() - self._real_start) * self._speed)

    def system_utc_ns(self) -> int:
        """See `Clock`; this clock's system clock never steps."""
        return self.host_ns()


@dataclass(frozen=True)
class StoppedClock:
    """Always the same moment: for a record of what was measured before."""

    ns: int
    """UTC ns."""

    def utc_ns(self) -> int:
        """See `UtcClock`."""
        return self.ns


class ClockWatch:
    """Compares the system clock with host time; finds steps and takes new anchors.

    Call `look` about once a second. Slow disagreement (slewing, a poor oscillator) is no step; a new anchor once every
    ``anchor_every_s`` records it, so that host time can be referred to the system clock afterwards.
    """

    def __init__(self, clock: Clock, anchor_every_s: float = 60.0) -> None:
        self._clock = clock
        self._offset = clock.system_utc_ns() - clock.host_ns()
        self._anchor_every = round(anchor_every_s * SECOND)
        self._last_anchor = clock.monotonic_ns()
        self.stepped = False
        """Whether the system clock was stepped since the run began."""

    def look(self) -> ClockStep | Anchor | None:
        """Return what is new: a step, a fresh anchor when one is due, or None."""
        before = self._clock.monotonic_ns()
        system = self._clock.system_utc_ns()
        after = self._clock.monotonic_ns()
        middle = before + (after - before) // 2
        host = self._clock.host_ns(middle)
        offset = system - host
        # Half of the time between the two looks at the monotonic clock is doubt, not a step.
        change = offset - self._offset
        if abs(change) > STEP_LIMIT_NS * max(1.0, self._clock.speed) + (after - before):
            self._offset = offset
            self.stepped = True
            return ClockStep(host, change, offset)
        self._offset = offset
        if middle - self._last_anchor >= self._anchor_every:
            self._last_anchor = middle
            return Anchor(middle, system, (after - before) // 2)
        return None
