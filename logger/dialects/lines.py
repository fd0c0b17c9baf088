"""Delimited ASCII lines with the format the plan declares."""

from __future__ import annotations

from config.errors import bad
from config.stations import LineFormat, Station
from logger.devicetime import device_time
from logger.dialects.decoder import gauges, number
from logger.framing import NoReading
from logger.gauge import Gauge
from logger.records import Reading


class LinesDecoder:
    """Decodes the lines of one station.

    A channel's ``field`` is a column's name or its number from 1; empty is the first column that is not the time.
    """

    def __init__(self, station: Station) -> None:
        self.gauges = gauges(station)
        form = station.line_format or LineFormat()
        self._form = form
        self._delimiter = None if form.delimiter == " " else form.delimiter
        self._prefix = form.prefix
        self._time = _column(form.time_column, form, station) if form.time_column else None
        first = 0 if self._time != 0 else 1
        columns = [first if not g.channel.field else _column(g.channel.field, form, station) for g in self.gauges]
        self._columns: list[tuple[Gauge, int]] = list(zip(self.gauges, columns, strict=True))
        self._needed = max([*columns, self._time or 0]) + 1

    def decode(self, frame: bytes, host_ns: int) -> list[Reading] | NoReading:
        """See `logger.dialects.decoder.Decoder`."""
        try:
            text = frame.decode("ascii")
        except ValueError:
            return NoReading(frame, "not ASCII")
        if self._prefix:
            if not text.startswith(self._prefix):
                return NoReading(frame, f"does not start with {self._prefix!r}")
            text = text[len(self._prefix) :].lstrip(self._delimiter)
        words = text.split(self._delimiter)
        if len(words) < self._needed:
            return NoReading(frame, f"{len(words)} columns where {self._needed} are needed")
        device_ns = None
        if self._time is not None:
            device_ns = device_time(words[self._time].strip(), self._form.time_format)
            if device_ns is None:
                return NoReading(frame, "no time in the time column")
        readings: list[Reading] = []
        for gauge, column in self._columns:
            word = words[column].strip()
            value = number(word.replace(",", ".") if self._form.decimal_comma else word)
            reading = None if value is None else gauge.reading(value, word, "", host_ns, device_ns)
            if reading is not None:
                readings.append(reading)
        return readings or NoReading(frame, "no number in the columns of the plan")


def _column(name: str, form: LineFormat, station: Station) -> int:
    if name in form.columns:
        return form.columns.index(name)
    if name.isascii() and name.isdigit() and 1 <= int(name) <= 1000:
        return int(name) - 1
    wanted = f"one of {', '.join(form.columns)}" if form.columns else "a column number from 1"
    raise bad("plan.toml", f"stations, {station.name}, line_format or channels", name, wanted)
