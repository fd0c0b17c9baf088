"""What is recorded: readings, runs and the series that come back out of the archive.

Time is UTC in integer nanoseconds since 1970 at the door and in files; heel is positive starboard side down.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import IntFlag, StrEnum
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Times = NDArray[np.int64]
Values = NDArray[np.float64]


class Quantity(StrEnum):
    """What a channel measures; the word that stands in files."""

    HEEL = "heel"
    TRIM = "trim"
    WIND_SPEED = "wind_speed"
    WIND_DIRECTION = "wind_direction"
    LINE_TENSION = "line_tension"
    TEMPERATURE = "temperature"
    ACCELERATION = "acceleration"
    VOLTAGE = "voltage"


CANONICAL_UNIT = {
    Quantity.HEEL: "deg",
    Quantity.TRIM: "deg",
    Quantity.WIND_SPEED: "m/s",
    Quantity.WIND_DIRECTION: "deg",
    Quantity.LINE_TENSION: "kN",
    Quantity.TEMPERATURE: "degC",
    Quantity.ACCELERATION: "m/s2",
    Quantity.VOLTAGE: "V",
}
"""Unit in which each quantity is stored in an archive's ``value`` column."""


class Flag(IntFlag):
    """What is known against a single reading at the moment it was recorded."""

    NONE = 0
    SUSPECT = 1
    """The device itself marked the value as not valid."""
    LATE = 2
    """Arrived long after its device time (a burst after an outage)."""
    DUPLICATE = 4
    """Same device time and value as the one before, or an MQTT redelivery."""
    CLOCK_STEPPED = 8
    """The system clock had been stepped since the run started; host time continues on the monotonic clock."""
    DROPPED_BEFORE = 16
    """Readings of this channel were dropped just before this one (bounded queue full)."""
    SATURATED = 32
    """Value at the limit of the device's range."""


class Reading(NamedTuple):
    """One value as a station sent it. A tuple: hundreds of thousands are made a second, and taken apart by column."""

    station: str
    """Name of the station in the plan."""
    quantity: Quantity
    """What was measured."""
    host_ns: int
    """Arrival, UTC ns, carried on the monotonic clock from the run's anchor."""
    device_ns: int | None
    """The device's own time stamp, UTC ns, or None where it sends none."""
    value: float
    """Value in the canonical unit of the quantity (``CANONICAL_UNIT``), signs as the trade has them."""
    sent: str
    """Value and unit as sent, e.g. ``"0.123 deg"``; may be empty where it equals ``value``."""
    flags: Flag = Flag.NONE
    """What is known against it."""
    sequence: int = 0
    """Running number of the channel within the run, from 0; a jump is a loss."""


@dataclass(frozen=True)
class Channel:
    """One quantity of one station, with what a reader in ten years needs to know about it."""

    station: str
    quantity: Quantity
    unit: str
    """Canonical unit of the stored values."""
    source: str
    """Where it came from, without credentials, e.g. ``serial:/dev/ttyUSB0@38400`` or ``mqtt:pier/aft``."""
    calibration: dict[str, object] = field(default_factory=dict)
    """Calibration record from the plan at the start of the run."""


@dataclass(frozen=True)
class Series:
    """All readings of one channel in time order, ready for analysis, with the history of what was done to them."""

    station: str
    quantity: Quantity
    time_ns: Times
    """(n,) UTC ns, strictly increasing."""
    value: Values
    """(n,) in ``unit``."""
    unit: str
    flags: NDArray[np.uint16]
    """(n,) ``Flag`` bits."""
    history: tuple[str, ...] = ()
    """One line for each step, in order, appended after it succeeded."""

    def __len__(self) -> int:
        return int(self.time_ns.size)

    def between(self, start_ns: int, stop_ns: int) -> Series:
        """Return the part with ``start_ns <= time < stop_ns`` (views, no copies)."""
        low, high = np.searchsorted(self.time_ns, [start_ns, stop_ns])
        part = slice(int(low), int(high))
        return replace(self, time_ns=self.time_ns[part], value=self.value[part], flags=self.flags[part])

    def step(self, line: str, **changes: object) -> Series:
        """Return a copy with ``changes`` made and ``line`` appended to its history."""
        return replace(self, history=(*self.history, line), **changes)  # type: ignore[arg-type]
