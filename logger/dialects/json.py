"""JSON payloads: an object, or an array of objects that were gathered before they were sent."""

from __future__ import annotations

import json

from config.errors import bad
from config.stations import Station
from logger.devicetime import device_time
from logger.dialects.decoder import gauges, number
from logger.framing import NoReading
from logger.gauge import Gauge
from logger.records import Reading

MOST_IN_A_BATCH = 10_000
"""Readings of one payload."""


class JsonDecoder:
    """Decodes the payloads of one station.

    A channel's ``field`` is a key path such as ``tilt.roll`` or ``samples.0.x``; empty means the payload is the bare
    number. The station's ``time_field`` is a key path too. A path that meets an array takes all its elements, value by
    value with the times beside them.
    """

    def __init__(self, station: Station) -> None:
        self.gauges = gauges(station)
        self._paths: list[tuple[Gauge, list[str]]] = [(g, _path(g.channel.field)) for g in self.gauges]
        if len(self.gauges) > 1 and any(not path for _, path in self._paths):
            raise bad("plan.toml", f"stations, {station.name}, channels", None, "a field (key path) for each channel")
        self._time_path = _path(station.time_field) if station.time_field else None
        self._time_format = station.time_format

    def decode(self, frame: bytes, host_ns: int) -> list[Reading] | NoReading:
        """See `logger.dialects.decoder.Decoder`."""
        try:
            message = parse(frame)
        except (ValueError, RecursionError):
            return NoReading(frame, "not JSON")
        readings: list[Reading] = []
        wrong = "nothing at the key paths of the plan"
        for one in message if isinstance(message, list) else [message]:
            times = [] if self._time_path is None else values_at(one, self._time_path)
            for gauge, path in self._paths:
                values = values_at(one, path)
                if len(readings) + len(values) > MOST_IN_A_BATCH:
                    return NoReading(frame, f"more than {MOST_IN_A_BATCH} readings in one payload")
                for at, sent in enumerate(values):
                    stamp = times[0] if len(times) == 1 and len(values) == 1 else times[at] if at < len(times) else None
                    value = _number(sent)
                    device_ns = None if self._time_path is None else device_time(stamp, self._time_format)
                    if value is None or (self._time_path is not None and device_ns is None):
                        wrong = "no number" if value is None else "no time at time_field"
                        continue
                    reading = gauge.reading(value, str(sent), "", host_ns, device_ns)
                    if reading is None:
                        wrong = f"no value of {gauge.quantity}"
                    else:
                        readings.append(reading)
        return readings or NoReading(frame, wrong)


def parse(data: bytes) -> object:
    """Parse strict JSON in UTF-8; NaN and infinity are none. Raises ValueError or RecursionError."""
    return _STRICT.decode(data.decode("utf-8"))


def _no_constant(word: str) -> object:
    raise ValueError(f"{word} is not JSON")


_STRICT = json.JSONDecoder(parse_constant=_no_constant)
"""Made once: making it costs as much as decoding a short payload."""


def _path(field: str) -> list[str]:
    return field.split(".") if field else []


def values_at(message: object, path: list[str]) -> list[object]:
    """Return what stands at a key path: nothing, one value, or all of an array that the path meets.

    >>> values_at({"s": [{"x": 1}, {"x": 2}]}, ["s", "x"]), values_at({"s": [5, 6]}, ["s", "1"])
    ([1, 2], [6])
    """
    found = [message]
    for key in path:
        following: list[object] = []
        for one in found:
            if isinstance(one, dict):
                if key in one:
                    following.append(one[key])
            elif isinstance(one, list):
                if key.isascii() and key.isdigit():
                    following += one[int(key) : int(key) + 1] if len(key) < 6 else []
                else:
                    following += [inner[key] for inner in one if isinstance(inner, dict) and key in inner]
        found = following
    if len(found) == 1 and isinstance(found[0], list):
        return found[0]
    return found


def _number(sent: object) -> float | None:
    if isinstance(sent, bool):
        return None
    if isinstance(sent, int | float):
        try:
            return float(sent)
        except OverflowError:
            return None
    return number(sent) if isinstance(sent, str) and len(sent) < 40 else None
