"""Where the live views get their day from: the record as it grows, or a recorded day played again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

from config.plan import Plan
from dsp.types import Day
from logger.events import Event, EventLog
from logger.marks import MarkedWindow
from logger.records import Series


@dataclass(frozen=True)
class StationCount:
    """What the logger itself counted for one station; None where it has not said."""

    garbage: int | None = None
    """Messages that were no reading."""
    said: str = ""
    """The last thing the logger said about it."""


@dataclass(frozen=True)
class LoggerState:
    """How the recording itself is doing."""

    run: str = ""
    """Name of the run being written; empty if none is."""
    recording: bool = False
    says: str = ""
    """One sentence, such as ``run 2 is being written``."""
    counts: dict[str, StationCount] = field(default_factory=dict)
    clock: str = ""
    """State of the clock in words; empty if nobody looked."""
    clock_well: bool = True
    disk_hours: float | None = None
    """Hours of recording that still fit; None if it cannot be said yet."""
    disk_free_gb: float | None = None


@dataclass(frozen=True)
class Beat:
    """Everything new since the beat before."""

    now_ns: int
    """UTC ns on the clock of the source: the wall clock, or the recorded day's."""
    readings: tuple[Series, ...]
    """New readings, a part of each channel that has any, in canonical units, calibration applied."""
    events: tuple[Event, ...]
    """Every mark up to ``now_ns`` (voided ones included), oldest first."""
    logger: LoggerState = LoggerState()
    began_anew: bool = False
    """True where the day started again from the beginning; what was shown so far is to be dropped."""


@dataclass(frozen=True)
class Playing:
    """How a recorded day is being played."""

    speed: float
    """Seconds of the day for each second of the wall clock; 0 while it stands still."""
    paused: bool
    start_ns: int
    stop_ns: int


class LiveSource(Protocol):
    """A day that grows while it is watched.

    `beat` and `day` are called from a worker thread, one call at a time each.
    """

    plan: Plan
    marks: EventLog | None
    """Where new marks go, stamped by the clock of the source; None where the day is over and takes none."""

    @property
    def playing(self) -> Playing | None:
        """How a recorded day is played; None for a day that happens now."""
        ...

    def beat(self) -> Beat:
        """Return what is new."""
        ...

    def day(self, windows: Sequence[MarkedWindow], stop_ns: int) -> Day:
        """Return the whole day up to ``stop_ns`` for the mathematics, with these windows; it may take seconds."""
        ...

    def close(self) -> None:
        """Let go of files."""
        ...


@runtime_checkable
class SteeredSource(Protocol):
    """A source that can be told how to play."""

    def steer(self, *, paused: object = None, factor: object = None, again: bool = False) -> None:
        """Hold or go on (``True``, ``False`` or ``"turn"``), play faster or slower by ``factor``, begin again."""
        ...
