"""One station's way from bytes to readings: framing, decoding, counting, keeping what is no reading."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from config.stations import Station
from logger.byte_queue import Chunk
from logger.dialects import DIALECTS, dialect_of
from logger.framing import NoReading, RawStore
from logger.gauge import LATE_AFTER_NS
from logger.live import ChannelMeter
from logger.records import CANONICAL_UNIT, Channel, Flag, Quantity, Reading

DECODER_FAILED = "decoder failed"
"""A fault of ours, kept with the bytes that showed it; the fuzzer looks for it."""
LEAST_REAL_LATENESS_NS = 500_000_000
"""Wall time."""


class Intake:
    """Takes a station's bytes in and gives its readings; holds its counters.

    Parameters
    ----------
    station : as the plan has it.
    source : where it comes from, without credentials, as it stands in the record.
    speed : of the clock; under a fast one the machine's own pauses must not pass for lateness.
    """

    def __init__(self, station: Station, source: str, speed: float = 1.0) -> None:
        self.station = station
        self.source = source
        # What is played back was decoded long ago; its dialect only has to make gauges.
        dialect = dialect_of(station) if station.source.type != "playback" else DIALECTS["nmea"]
        messages = station.source.type in ("mqtt", "modbus")
        self._framer = dialect.message() if messages else dialect.stream()
        self._decoder = dialect.decoder(station)
        self._gauges = self._decoder.gauges
        for gauge in self._gauges:
            gauge.delay.limit_ns = max(LATE_AFTER_NS, round(LEAST_REAL_LATENESS_NS * speed))
        self._meters = {g.quantity: ChannelMeter(CANONICAL_UNIT[g.quantity]) for g in self._gauges}
        self.raw = RawStore()
        """What was no reading."""
        self._untimed_flags = Flag.NONE
        self.readings = 0
        self.others = 0
        """Frames in order that hold nothing for this station."""
        self.last: Reading | None = None

    @property
    def channels(self) -> tuple[Channel, ...]:
        """The station's channels as the record describes them."""
        calibration = self.station.calibration.model_dump(mode="json", exclude_none=True)
        quantities = dict.fromkeys(g.quantity for g in self._gauges)
        return tuple(
            Channel(self.station.name, quantity, CANONICAL_UNIT[quantity], self.source, calibration)
            for quantity in quantities
        )

    @property
    def meters(self) -> Iterable[ChannelMeter]:
        """Last reading and rate of each channel."""
        return self._meters.values()

    def chunk(self, chunk: Chunk, host_ns: int) -> list[Reading]:
        """Take a piece of a stream in: see `logger.byte_queue`."""
        if chunk.resumed or chunk.dropped_bytes:
            held = self._framer.reset()
            if held is not None:
                self.raw.keep(held, host_ns)
        if chunk.dropped_bytes:
            self.dropped(chunk.dropped_lines)
        return self.take(chunk.data, host_ns)

    def dropped(self, readings: int) -> None:
        """Say that about so many readings of this station were dropped before the next."""
        for gauge in self._gauges:
            gauge.lost(readings)

    def clock_stepped(self) -> None:
        """Flag every reading from now on: the system clock no longer agrees with host time."""
        for gauge in self._gauges:
            gauge.standing_flags |= Flag.CLOCK_STEPPED.value

    def take(self, data: bytes, host_ns: int, flags: Flag = Flag.NONE) -> list[Reading]:
        """Take bytes in that arrived at ``host_ns``; return the readings they complete.

        ``flags`` is what is known against those among them that carry no device time: ``Flag.LATE`` after an outage.
        """
        frames, rejected = self._framer.feed(data)
        readings: list[Reading] = []
        if flags is not self._untimed_flags:
            self._untimed_flags = flags
            for gauge in self._gauges:
                gauge.untimed_flags = flags.value
        decode = self._decoder.decode
        for frame in frames:
            try:
                result = decode(frame, host_ns)
            except Exception as error:  # no bytes, however hostile, may stop the other stations
                result = NoReading(frame, f"{DECODER_FAILED}: {type(error).__name__}: {error}"[:200])
            if isinstance(result, NoReading):
                rejected.append(result)
            elif result:
                readings += result
            else:
                self.others += 1
        for one in rejected:
            self.raw.keep(one, host_ns)
        self.note(readings)
        return readings

    def note(self, readings: Sequence[Reading]) -> None:
        """Count readings and keep the last of each channel for the live view."""
        if not readings:
            return
        self.readings += len(readings)
        self.last = readings[-1]
        for quantity, meter in self._meters.items():
            mine = [reading for reading in readings if reading.quantity is quantity]
            if mine:
                meter.take(mine[-1], len(mine))

    def adopt(self, quantity: Quantity, value: float, host_ns: int, flags: Flag = Flag.NONE) -> Reading | None:
        """Number and count a reading that needs no decoding: one played back from a record."""
        gauge = next((g for g in self._gauges if g.quantity is quantity), None)
        if gauge is None:
            self.others += 1
            return None
        flags |= Flag(gauge.standing_flags)
        reading = Reading(self.station.name, quantity, host_ns, None, value, "", flags, gauge.sequence)
        gauge.sequence += 1
        self.note((reading,))
        return reading
