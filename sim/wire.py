r"""What devices put on the wire, written from the descriptions of the formats and of the plan's stations.

NMEA 0183 style sentences: ``$`` talker and formatter, fields between commas, ``*`` and the exclusive-or of all
characters between them as two hexadecimal digits, carriage return and line feed (IEC 61162-1, from memory); XDR gives
transducer type, value, unit and name four by four, MWV wind angle, reference, speed, unit and status. A TAG block
``\c:<ms since 1970>*hh\`` before a sentence carries the device's time (IEC 61162-450, from memory). SenML is RFC 8428.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from config.errors import bad
from config.stations import ChannelMap, LineFormat, Station
from config.units import ANGLE, DEGREE, FORCE, SPEED
from logger.records import CANONICAL_UNIT, Quantity
from sim.frames import Frame
from sim.sensors import Signal

SECOND = 1_000_000_000


@dataclass(frozen=True)
class _Row:
    time_ns: int
    device_ns: int | None
    values: tuple[tuple[ChannelMap, float], ...]
    """What the device sends for each channel, in the unit as sent."""


def frames(station: Station, signals: Sequence[Signal], gather_s: float = 2.0) -> list[Frame]:
    r"""Write all messages of one station.

    Parameters
    ----------
    station : dialect, channels and units as the plan describes them.
    signals : those of this station; others are passed over.
    gather_s : SenML only: records of so many seconds go into one pack, if the device stamps them.

    Raises
    ------
    BadInput where the dialect cannot be written.

    Examples
    --------
    >>> aft = Station(name="aft", dialect="nmea", channels=[{"quantity": "heel", "field": "HEEL"}])
    >>> from logger.records import Quantity
    >>> one = Signal("aft", Quantity.HEEL, np.array([0]), np.array([1.25]), None)
    >>> frames(aft, [one])[0].data
    b'$HEXDR,A,1.2500,D,HEEL*5A\r\n'
    """
    if station.dialect not in _WRITERS:
        raise bad("plan.toml", f"stations, {station.name}, dialect", station.dialect, f"one of {', '.join(_WRITERS)}")
    rows = _rows(station, [s for s in signals if s.station == station.name])
    if station.dialect == "senml":
        return _senml(rows, gather_s)
    write = _WRITERS[station.dialect]
    return [Frame(row.time_ns, write(station, row)) for row in rows]


def _rows(station: Station, signals: Sequence[Signal]) -> list[_Row]:
    """Bring values to the unit as sent; what was sampled together goes into one message."""
    sent: list[tuple[ChannelMap, Signal, list[float]]] = []
    for channel in station.channels:
        for signal in signals:
            if signal.quantity == channel.quantity:
                sent.append((channel, signal, _as_sent(channel, signal)))
    groups: list[list[tuple[ChannelMap, Signal, list[float]]]] = []
    for entry in sent:
        for group in groups:
            if np.array_equal(group[0][1].time_ns, entry[1].time_ns):
                group.append(entry)
                break
        else:
            groups.append([entry])
    rows = []
    for group in groups:
        signal = group[0][1]
        stamps = [None] * signal.time_ns.size if signal.device_time_ns is None else signal.device_time_ns.tolist()
        columns = zip(*(values for _, _, values in group), strict=True)
        maps = [channel for channel, _, _ in group]
        for time, stamp, values in zip(signal.time_ns.tolist(), stamps, columns, strict=True):
            rows.append(_Row(time, stamp, tuple(zip(maps, values, strict=True))))
    rows.sort(key=lambda row: row.time_ns)
    return rows


def _as_sent(channel: ChannelMap, signal: Signal) -> list[float]:
    value = signal.value
    unit = channel.unit or CANONICAL_UNIT[signal.quantity]
    if unit in ANGLE:
        value = value * DEGREE / ANGLE[unit]
    elif unit in SPEED:
        value = value / SPEED[unit]
    elif unit in FORCE:
        value = value * 1e3 / FORCE[unit]
    elif unit == "K":
        value = value + 273.15
    if channel.positive in ("port", "bow"):
        value = -value
    value = (value - channel.offset) / channel.factor
    sent: list[float] = value.tolist()
    return sent


def _digits(channel: ChannelMap, value: float) -> str:
    unit = channel.unit or CANONICAL_UNIT[Quantity(channel.quantity)]
    finer = 3 if unit == "rad" else 0
    finer += max(0, math.ceil(math.log10(abs(1.0 / channel.factor)))) * -1 if channel.factor != 1.0 else 0
    return f"{value:.{max(4 + finer, 0)}f}"


def sum_of(body: str) -> int:
    """Exclusive-or of all characters.

    >>> f"{sum_of('GPGLL,5300.97914,N,00259.98174,E,125926,A'):02X}"
    '28'
    """
    return reduce(lambda total, character: total ^ ord(character), body, 0)


def _sentence(body: str, device_ns: int | None) -> bytes:
    text = f"${body}*{sum_of(body):02X}\r\n"
    if device_ns is not None:
        tag = f"c:{device_ns // 1_000_000}"
        text = f"\\{tag}*{sum_of(tag):02X}\\{text}"
    return text.encode("ascii")


_XDR = {
    "heel": ("A", "D"),
    "trim": ("A", "D"),
    "temperature": ("C", "C"),
    "line_tension": ("N", "N"),
    "voltage": ("U", "V"),
}
_XDR_NAME = {"heel": "HEEL", "trim": "TRIM", "temperature": "AIR", "line_tension": "LINE", "voltage": "SUPPLY"}


def _nmea(station: Station, row: _Row) -> bytes:
    values = {channel.quantity: (channel, value) for channel, value in row.values}
    out = b""
    if "wind_speed" in values or "wind_direction" in values:
        speed = f"{values['wind_speed'][1]:.1f}" if "wind_speed" in values else ""
        angle = f"{values['wind_direction'][1]:.1f}" if "wind_direction" in values else ""
        letter = {"kn": "N", "km/h": "K"}.get(values["wind_speed"][0].unit if "wind_speed" in values else "", "M")
        out += _sentence(f"WIMWV,{angle},R,{speed},{letter},A", row.device_ns)
    quads = []
    for channel, value in row.values:
        if channel.field == "HRM":
            # heel, roll period, roll amplitude port and starboard, status, then peak-hold fields left empty
            out += _sentence(f"HEHRM,{_digits(channel, value)},,,,A,,,,", row.device_ns)
        elif channel.quantity in _XDR:
            kind, unit = _XDR[channel.quantity]
            unit = "R" if channel.unit == "rad" else unit
            name = channel.field or _XDR_NAME[channel.quantity]
            quads.append(f"{kind},{_digits(channel, value)},{unit},{name}")
    if quads:
        out += _sentence(f"HEXDR,{','.join(quads)}", row.device_ns)
    return out


def _lines(station: Station, row: _Row) -> bytes:
    form = station.line_format or LineFormat()
    wanted = {channel.field: _digits(channel, value) for channel, value in row.values}
    names = list(form.columns)
    if not names:
        numbers = [int(field) for field in wanted if field.isdigit()]
        names = [str(number) for number in range(1, max([*numbers, 1]) + 1)]
        if form.time_column and form.time_column not in names:
            names.insert(0, form.time_column)
    free = iter(value for field, value in wanted.items() if field not in names)
    cells = []
    for name in names:
        if name == form.time_column:
            cells.append(str(_stamp(row.device_ns if row.device_ns is not None else row.time_ns, form.time_format)))
        else:
            cell = wanted.get(name) or next(free, "0")
            cells.append(cell.replace(".", ",") if form.decimal_comma else cell)
    delimiter = " " if form.delimiter.isspace() or not form.delimiter else form.delimiter
    lead = f"{form.prefix}{delimiter}" if form.prefix else ""
    return f"{lead}{delimiter.join(cells)}\r\n".encode("ascii")


def _json(station: Station, row: _Row) -> bytes:
    if len(row.values) == 1 and not row.values[0][0].field and not station.time_field:
        return json.dumps(round(row.values[0][1], 6)).encode()
    message: dict[str, object] = {}
    if station.time_field:
        moment = row.device_ns if row.device_ns is not None else row.time_ns
        _put(message, station.time_field, _stamp(moment, station.time_format))
    for channel, value in row.values:
        _put(message, channel.field or channel.quantity, round(value, 6))
    return json.dumps(message, separators=(",", ":")).encode()


def _put(message: dict[str, object], path: str, value: object) -> None:
    *parents, last = path.split(".")
    for name in parents:
        message = message.setdefault(name, {})  # type: ignore[assignment]
    message[last] = value


def _stamp(ns: int, form: str) -> object:
    if form == "rfc3339":
        whole = dt.datetime.fromtimestamp(ns // SECOND, dt.UTC)
        return f"{whole:%Y-%m-%dT%H:%M:%S}.{ns % SECOND // 1000:06d}Z"
    if form == "unix_s":
        return f"{ns // SECOND}.{ns % SECOND // 1_000_000:03d}"
    return ns // {"unix_ms": 1_000_000, "unix_us": 1_000, "unix_ns": 1}[form]


def _senml(rows: Sequence[_Row], gather_s: float) -> list[Frame]:
    """Write packs: base time in the first record, the others' times relative to it (RFC 8428 section 4.5)."""
    found: list[Frame] = []
    pack: list[_Row] = []
    for row in rows:
        if pack and (row.device_ns is None or row.time_ns - pack[0].time_ns >= gather_s * SECOND):
            found.append(_pack(pack))
            pack = []
        pack.append(row)
    if pack:
        found.append(_pack(pack))
    return found


def _pack(rows: Sequence[_Row]) -> Frame:
    records: list[dict[str, object]] = []
    base = rows[0].device_ns
    for row in rows:
        for channel, value in row.values:
            record: dict[str, object] = {}
            if base is not None and not records:
                record["bt"] = round(base / SECOND, 3)
            record["n"] = channel.field or channel.quantity
            if channel.unit:
                record["u"] = channel.unit
            record["v"] = round(value, 6)
            if base is not None and row.device_ns is not None and row.device_ns != base:
                record["t"] = round((row.device_ns - round(round(base / SECOND, 3) * SECOND)) / SECOND, 4)
            records.append(record)
    return Frame(rows[-1].time_ns, json.dumps(records, separators=(",", ":")).encode())


def _one_pack(station: Station, row: _Row) -> bytes:
    del station
    return _pack([row]).data


_WRITERS = {"nmea": _nmea, "lines": _lines, "json": _json, "senml": _one_pack}
