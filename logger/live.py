"""What is going on just now: one object the service writes and the live view, the health page and the tests read."""

from __future__ import annotations

from collections import deque
from dataclasses import asdict, dataclass, field

from logger.byte_queue import QueueStatistics
from logger.clock import SECOND
from logger.records import Quantity, Reading


@dataclass(frozen=True)
class Notice:
    """Something worth saying aloud, on screen and in the record."""

    host_ns: int
    station: str
    """Station, or the name of a part of the logger such as ``broker`` or ``disk``."""
    kind: str
    """One word or two: ``silent``, ``reading again``, ``source lost``, ``connected``, ``clock step`` ..."""
    text: str
    """A line for people."""
    data: dict[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class ChannelNow:
    """One channel at this moment."""

    quantity: Quantity
    value: float
    unit: str
    host_ns: int
    """Arrival of the last reading."""
    sequence: int
    rate_hz: float
    """Over the last seconds."""


@dataclass(frozen=True)
class StationNow:
    """One station at this moment."""

    name: str
    source: str
    state: str
    """``starting``, ``reading``, ``silent``, ``lost`` or ``ended``."""
    said: str
    """The last notice about it."""
    readings: int
    last_ns: int | None
    """Arrival of the last reading, host time."""
    no_readings: int
    """Frames that were no reading."""
    no_reading_bytes: int
    others: int
    """Frames in order that hold nothing for this station."""
    duplicates: int
    """Redelivered messages recognised and not recorded twice."""
    queue: QueueStatistics | None
    channels: tuple[ChannelNow, ...]


@dataclass(frozen=True)
class Now:
    """The whole logger at this moment."""

    host_ns: int
    run: str
    """Name of the run's folder."""
    started_ns: int
    rows: int
    """Readings taken in."""
    rows_safe: int
    """Of these on disk."""
    disk_hours_left: float | None
    """Hours until the disk is full at the present rate; None before it is known."""
    disk_trouble: str
    """Empty while rows can be written."""
    clock_steps: int
    stations: tuple[StationNow, ...]
    notices: tuple[Notice, ...]
    """The last ones, oldest first."""

    @property
    def without_readings(self) -> tuple[StationNow, ...]:
        """Stations that were to be read and have not given one reading."""
        return tuple(station for station in self.stations if not station.readings)

    def as_dict(self) -> dict[str, object]:
        """Plain values, ready for JSON."""
        return asdict(self)


class RateMeter:
    """Readings a second over the last few seconds, in buckets of a second."""

    __slots__ = ("_buckets",)

    def __init__(self, seconds: int = 10) -> None:
        self._buckets: deque[list[int]] = deque(maxlen=seconds + 1)

    def count(self, host_ns: int, readings: int = 1) -> None:
        """Count readings that arrived."""
        second = host_ns // SECOND
        buckets = self._buckets
        if buckets and buckets[-1][0] == second:
            buckets[-1][1] += readings
        else:
            buckets.append([second, readings])

    def rate(self, host_ns: int) -> float:
        """Readings a second over the whole buckets still within reach."""
        now = host_ns // SECOND
        oldest = now - (self._buckets.maxlen or 1)
        whole = [b for b in self._buckets if oldest < b[0] < now]
        if not whole:
            return 0.0
        return sum(b[1] for b in whole) / (now - whole[0][0])


class ChannelMeter:
    """Keeps the last reading and the rate of one channel."""

    __slots__ = ("_rate", "last", "unit")

    def __init__(self, unit: str) -> None:
        self.unit = unit
        self.last: Reading | None = None
        self._rate = RateMeter()

    def take(self, last: Reading, readings: int = 1) -> None:
        """Note readings that arrived together, by the last of them."""
        self.last = last
        self._rate.count(last.host_ns, readings)

    def now(self, host_ns: int) -> ChannelNow | None:
        """The channel at this moment; None before its first reading."""
        last = self.last
        if last is None:
            return None
        return ChannelNow(last.quantity, last.value, self.unit, last.host_ns, last.sequence, self._rate.rate(host_ns))
