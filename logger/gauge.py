"""One channel of a station: unit, sign and running number, done once and here only."""

from __future__ import annotations

import math
from dataclasses import dataclass

from config.stations import ChannelMap, Station
from config.units import ANGLE, DEGREE, FORCE, SPEED, STANDARD_GRAVITY, TEMPERATURE, named
from logger.records import CANONICAL_UNIT, Flag, Quantity, Reading

_KELVIN_AT_ICE_POINT = 273.15
"""K at 0 degC. Exact by definition."""

_ACCELERATION = {"m/s2": 1.0, "g_n": STANDARD_GRAVITY}
_VOLTAGE = {"V": 1.0, "mV": 1e-3}
_TO_SI: dict[Quantity, dict[str, float]] = {
    Quantity.HEEL: ANGLE,
    Quantity.TRIM: ANGLE,
    Quantity.WIND_DIRECTION: ANGLE,
    Quantity.WIND_SPEED: SPEED,
    Quantity.LINE_TENSION: FORCE,
    Quantity.TEMPERATURE: TEMPERATURE,
    Quantity.ACCELERATION: _ACCELERATION,
    Quantity.VOLTAGE: _VOLTAGE,
}
_SI_OF_CANONICAL = {"deg": DEGREE, "kN": 1e3}
_NOTHING = Flag.NONE
_REVERSED = {"port", "bow"}
"""This side (or end) down reads positive on the device; the record counts starboard and stern as positive."""


@dataclass(frozen=True)
class Conversion:
    """``value = factor * sent + offset``."""

    factor: float
    offset: float


def conversion(channel: ChannelMap, unit: str) -> Conversion | None:
    """Work out how a value as sent becomes one in the canonical unit, signs as the trade has them.

    Parameters
    ----------
    channel : factor and offset (in the unit as sent) and the side that reads positive.
    unit : unit as sent; empty is the canonical one.

    Returns
    -------
    Conversion, or None if the unit does not belong to the quantity.

    >>> conversion(ChannelMap(quantity="heel", positive="port"), "mrad").factor
    -0.057295779513082325
    """
    quantity = Quantity(channel.quantity)
    canonical = CANONICAL_UNIT[quantity]
    name = named(unit) or canonical
    table = _TO_SI[quantity]
    if name not in table:
        return None
    scale = 1.0 if name == canonical else table[name] / _SI_OF_CANONICAL.get(canonical, 1.0)
    shift = -_KELVIN_AT_ICE_POINT if name == "K" and quantity is Quantity.TEMPERATURE else 0.0
    sign = -1.0 if channel.positive in _REVERSED else 1.0
    return Conversion(sign * channel.factor * scale, sign * (channel.offset * scale + shift))


def units_of(quantity: str) -> tuple[str, ...]:
    """Units in which a quantity may come, by their names here."""
    return tuple(_TO_SI[Quantity(quantity)])


class Gauge:
    """Turns values as sent into readings of one channel, numbers them and says what is known against them.

    Late means: this came at least ``LATE_AFTER_NS`` longer after its device time than the quickest of the last
    minutes did, so a device clock that is wrong by hours makes nothing late. A duplicate has the device time and the
    value of one not long before it, on a clock that tells samples apart.
    """

    __slots__ = (
        "_conversions",
        "_default_unit",
        "_limit",
        "_recent",
        "_stamps",
        "_stamps_again",
        "channel",
        "delay",
        "next_flags",
        "quantity",
        "sequence",
        "standing_flags",
        "station",
        "untimed_flags",
    )

    def __init__(self, station: Station, channel: ChannelMap) -> None:
        self.station = station.name
        self.channel = channel
        self.quantity = Quantity(channel.quantity)
        self.sequence = 0
        """Running number of the next reading."""
        self.next_flags = 0
        """Flags for the next reading only."""
        self.standing_flags = 0
        """Flags for every reading from now on."""
        self.untimed_flags = 0
        """Flags for readings without a device time, from now on."""
        self._default_unit = channel.unit
        self._conversions: dict[str, Conversion] = {}
        self.delay = QuickestDelay()
        self._recent: dict[int, float] = {}
        self._stamps = self._stamps_again = 0
        reach = station.calibration.range_deg
        self._limit = math.inf if reach is None or self.quantity not in (Quantity.HEEL, Quantity.TRIM) else reach

    def reading(
        self, raw: float, text: str, unit: str, host_ns: int, device_ns: int | None, flags: int = 0
    ) -> Reading | None:
        """Make the next reading.

        Parameters
        ----------
        raw : value as sent. text : the same as it was written.
        unit : unit as the message says; the plan's unit goes before it, empty takes the canonical one.
        host_ns, device_ns : see `Reading`.
        flags : what the message itself says against it.

        Returns
        -------
        Reading, or None where the value is no finite number or the unit is not one of the quantity.
        """
        unit = self._default_unit or unit
        known = self._conversions.get(unit)
        if known is None:
            known = conversion(self.channel, unit)
            if known is None:
                return None
            if len(self._conversions) < 32:
                self._conversions[unit] = known
        value = known.factor * raw + known.offset
        # False for NaN too.
        if not -1e12 < value < 1e12:
            return None
        flags |= self.standing_flags | self.next_flags
        if abs(value) >= self._limit:
            flags |= Flag.SATURATED.value
        if device_ns is None:
            flags |= self.untimed_flags
        else:
            flags |= self._against_device_time(device_ns, host_ns, value)
        self.next_flags = 0
        number = self.sequence
        self.sequence = number + 1
        sent = f"{text} {unit}" if unit else text
        known_flags = Flag(flags) if flags else _NOTHING
        # Past the named tuple's own `__new__`, which takes a third of the time of all this.
        return tuple.__new__(
            Reading, (self.station, self.quantity, host_ns, device_ns, value, sent, known_flags, number)
        )

    def lost(self, readings: int) -> None:
        """Say that about so many readings were dropped: the running number jumps, the next reading is flagged."""
        self.sequence += max(1, readings)
        self.next_flags |= Flag.DROPPED_BEFORE.value

    def _against_device_time(self, device_ns: int, host_ns: int, value: float) -> int:
        flags = Flag.LATE.value if self.delay.late(host_ns, device_ns) else 0
        recent = self._recent
        self._stamps += 1
        if device_ns in recent:
            self._stamps_again += 1
            # A clock that moves on in whole seconds stamps many samples alike; they are no duplicates.
            if recent[device_ns] == value and self._stamps_again < MOST_STAMPS_AGAIN * self._stamps:
                return flags | Flag.DUPLICATE.value
        recent[device_ns] = value
        if len(recent) > RECENT:
            del recent[next(iter(recent))]
        if self._stamps > 2 * RECENT:
            self._stamps //= 2
            self._stamps_again //= 2
        return flags


MOST_STAMPS_AGAIN = 0.3
"""Share of device times seen before from which the device's clock does not tell samples apart."""
RECENT = 4096
"""Device times kept to know a duplicate again, also out of order after a redelivery."""
LATE_AFTER_NS = 2_000_000_000
_DELAY_SPAN_NS = 300_000_000_000


class QuickestDelay:
    """The smallest host-minus-device time of the last five to ten minutes."""

    __slots__ = ("_before", "_now", "_since", "limit_ns")

    def __init__(self, limit_ns: int = LATE_AFTER_NS) -> None:
        self.limit_ns = limit_ns
        """How much longer than the quickest is late."""
        self._now = self._before = 2**62
        self._since: int | None = None

    def late(self, host_ns: int, device_ns: int) -> bool:
        """Take one pair in and say whether it came late."""
        delay = host_ns - device_ns
        if self._since is None:
            self._since = host_ns
        elif host_ns - self._since > _DELAY_SPAN_NS:
            self._before, self._now, self._since = self._now, delay, host_ns
        if delay < self._now:
            self._now = delay
        return delay - min(self._now, self._before) > self.limit_ns
