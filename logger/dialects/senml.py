"""SenML in JSON (RFC 8428): packs of records with base fields."""

from __future__ import annotations

from dataclasses import dataclass

from config.errors import bad
from config.stations import Station
from logger.devicetime import device_time, in_range
from logger.dialects.decoder import gauges
from logger.dialects.json import MOST_IN_A_BATCH, parse
from logger.framing import NoReading
from logger.gauge import Gauge
from logger.records import Reading

_VERSION = 10
"""RFC 8428 section 4.4: the version a reader understands."""
_ABSOLUTE_FROM = 2**28
"""RFC 8428 section 4.5.3: times below 2**28 s are relative to now."""
_KNOWN = frozenset(("bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"))


@dataclass(frozen=True)
class Resolved:
    """One record with its base fields worked in (RFC 8428 section 4.6)."""

    name: str
    unit: str
    value: float
    time_s: float
    """Seconds: since 1970 if 2**28 or more, else relative to now."""
    text: str
    """Value as it was written."""


def resolve(pack: object) -> list[Resolved]:
    """Work the base fields into the records of a pack; records without a numeric value are left out.

    Raises ValueError where the pack is none, wants a newer version, or holds a field that must be understood and
    is not (a name ending in an underscore, section 4.4).

    >>> resolve([{"bn": "aft:", "bu": "deg", "bt": 1.9e9, "n": "roll", "v": 1.5}, {"n": "roll", "v": 1.6, "t": 1}])[1]
    Resolved(name='aft:roll', unit='deg', value=1.6, time_s=1900000001.0, text='1.6')
    """
    if not isinstance(pack, list) or len(pack) > MOST_IN_A_BATCH:
        raise ValueError(f"no array of at most {MOST_IN_A_BATCH} records")
    base_name = base_unit = ""
    base_time = base_value = 0.0
    resolved: list[Resolved] = []
    for record in pack:
        if not isinstance(record, dict):
            raise ValueError("a record is no object")
        for key in record:
            if key.endswith("_") and key not in _KNOWN:
                raise ValueError(f"field {key[:20]!r} must be understood and is not")
        version = record.get("bver", _VERSION)
        if isinstance(version, bool) or not isinstance(version, int) or version > _VERSION:
            raise ValueError(f"version {version!r:.20}, above {_VERSION}")
        base_name = _text(record, "bn", base_name)
        base_unit = _text(record, "bu", base_unit)
        base_time = _number(record, "bt", base_time)
        base_value = _number(record, "bv", base_value)
        if "v" not in record:
            continue
        resolved.append(
            Resolved(
                base_name + _text(record, "n", ""),
                _text(record, "u", base_unit),
                base_value + _number(record, "v", 0.0),
                base_time + _number(record, "t", 0.0),
                str(record["v"]),
            )
        )
    return resolved


def _text(record: dict[str, object], key: str, default: str) -> str:
    value = record.get(key, default)
    if not isinstance(value, str):
        raise ValueError(f"{key} is no text")
    return value


def _number(record: dict[str, object], key: str, default: float) -> float:
    value = record.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f"{key} is no number")
    try:
        return float(value)
    except OverflowError:
        raise ValueError(f"{key} is out of range") from None


class SenmlDecoder:
    """Decodes the packs of one station.

    A channel's ``field`` is the record's full name (base name and name) or its last part; empty takes every record,
    for a station with one channel.
    """

    def __init__(self, station: Station) -> None:
        self.gauges = gauges(station)
        if len(self.gauges) > 1 and any(not g.channel.field for g in self.gauges):
            raise bad(
                "plan.toml", f"stations, {station.name}, channels", None, "a field (record name) for each channel"
            )

    def decode(self, frame: bytes, host_ns: int) -> list[Reading] | NoReading:
        """See `logger.dialects.decoder.Decoder`."""
        try:
            records = resolve(parse(frame))
        except (ValueError, RecursionError) as error:
            return NoReading(frame, f"not SenML: {str(error)[:80]}")
        readings: list[Reading] = []
        wrong = ""
        for record in records:
            gauge = self._gauge(record.name)
            if gauge is None:
                continue
            if record.time_s >= _ABSOLUTE_FROM:
                device_ns = device_time(record.time_s, "unix_s")
            else:
                # "Now" is when it arrived: a time relative to now orders the records of a pack.
                near = abs(record.time_s) < _ABSOLUTE_FROM and record.time_s != 0
                device_ns = in_range(host_ns + round(record.time_s * 1e9)) if near else None
            reading = gauge.reading(record.value, record.text, record.unit, host_ns, device_ns)
            if reading is None:
                wrong = f"no value of {gauge.quantity} in {record.unit[:12]!r}"
            else:
                readings.append(reading)
        return readings if readings or not wrong else NoReading(frame, wrong)

    def _gauge(self, name: str) -> Gauge | None:
        for gauge in self.gauges:
            field = gauge.channel.field
            if not field or name == field or (name.endswith(field) and name[-len(field) - 1] in ":/.-_"):
                return gauge
        return None
