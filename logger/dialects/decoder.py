"""What every dialect gives, and the few helpers they share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from config.stations import Station
from logger.framing import NoReading
from logger.gauge import Gauge
from logger.records import Reading


class Decoder(Protocol):
    """Turns one frame into readings. It never raises on any bytes whatever."""

    @property
    def gauges(self) -> Sequence[Gauge]:
        """The station's channels, in the order of the plan."""

    def decode(self, frame: bytes, host_ns: int) -> list[Reading] | NoReading:
        """Read one frame.

        Returns
        -------
        Readings; an empty list where the frame is in order but holds nothing for this station; NoReading with the
        reason where it is none.
        """


def gauges(station: Station) -> tuple[Gauge, ...]:
    """Make the gauges of a station, one a channel."""
    return tuple(Gauge(station, channel) for channel in station.channels)


def number(text: str | bytes) -> float | None:
    """Read a decimal number; None for what is none, NaN and infinity included.

    >>> number("-1.25"), number("1_0"), number("nan"), number("0x1")
    (-1.25, None, None, None)
    """
    if len(text) > 40:
        return None
    try:
        value = float(text)
    except ValueError:
        return None
    if value - value != 0.0 or (b"_" in text if isinstance(text, bytes) else "_" in text):
        return None
    return value
