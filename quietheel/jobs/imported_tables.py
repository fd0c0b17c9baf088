"""Read someone else's measurement: a table of readings and a table of windows, every fault with its line.

readings: ``time,sensor,quantity,value,unit`` - time RFC 3339 (UTC), quantity heel, trim, wind_speed, wind_direction,
line_tension, temperature, acceleration or voltage; heel positive starboard side down, trim positive by the stern,
wind direction where it comes from, clockwise from the bow.
windows: ``movement,start,stop,moment_tm`` - moment t m, positive to starboard; and, where it is known,
``moment_u95_tm`` - half width of the moment's interval at 95 %, t m; an empty cell: not known.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any, cast

import numpy as np
import pandas as pd

from config import units
from config.csvtext import LARGEST_NUMBER
from config.errors import BadInput, Fault, bad
from config.model import LONGEST_NAME, NAME_PATTERN, NAME_WANTED
from config.words import shortened
from logger.mark_form import LARGEST_NUMBER as LARGEST_MARKED
from logger.records import CANONICAL_UNIT, Quantity, Series

READING_COLUMNS = ("time", "sensor", "quantity", "value", "unit")
WINDOW_COLUMNS = ("movement", "start", "stop", "moment_tm")
MOMENT_U95 = "moment_u95_tm"
"""Column of a table of windows that may be left out."""
_NUMBERS = ("value", "moment_tm", MOMENT_U95)
"""Columns of figures that may have decimals."""
_COMMA = "; with commas between the cells, decimals are written with a point"
_DECIMAL_COMMA = "; decimal commas are read in a table with ; between the cells"
_ZONED = r"(?:Z|[+-]\d{2}:?\d{2})$"
Array = np.ndarray[Any, np.dtype[Any]]
FAULTS_SHOWN = 20
"""Of each kind of fault, so many are named; the rest are counted."""
_BOUNDS: dict[Quantity, tuple[float, float, str]] = {
    Quantity.HEEL: (-90.0, 90.0, "an angle within 90 degrees either way, or nothing for a gap"),
    Quantity.TRIM: (-90.0, 90.0, "an angle within 90 degrees either way, or nothing for a gap"),
    Quantity.WIND_SPEED: (0.0, LARGEST_NUMBER, "a speed of 0 or more, or nothing for a gap"),
    Quantity.WIND_DIRECTION: (
        -360.0,
        360.0,
        "from -360 to 360 degrees, clockwise from the bow, or nothing for a gap",
    ),
}
"""Least and most of a quantity in its canonical unit, and what would be right."""

_UNITS: dict[Quantity, dict[str, float]] = {
    Quantity.HEEL: units.ANGLE,
    Quantity.TRIM: units.ANGLE,
    Quantity.WIND_DIRECTION: units.ANGLE,
    Quantity.WIND_SPEED: units.SPEED,
    Quantity.LINE_TENSION: units.FORCE,
    Quantity.TEMPERATURE: units.TEMPERATURE,
    Quantity.ACCELERATION: {"m/s2": 1.0, "g_n": units.STANDARD_GRAVITY},
    Quantity.VOLTAGE: {"V": 1.0, "mV": 1e-3},
}


LEFT_COLUMNS = ("line", *READING_COLUMNS, "why")
"""Columns of the table of what an import leaves out."""


@dataclass(frozen=True)
class ImportedWindow:
    """One window as somebody else marked it."""

    label: str
    """Movement, made unique: the second window of movement 3 is ``3 again``, the third ``3 again 2``."""
    movement: str
    start_ns: int
    stop_ns: int
    moment_tm: float
    moment_u95_tm: float | None = None
    """Half width at 95 %, t m; None: not known."""
    line: int = 0
    """Of the table; 0 where it came from none."""


@dataclass(frozen=True)
class ImportedReadings:
    """All channels of a table of readings."""

    series: tuple[Series, ...]
    rows: int
    blank: int
    """Rows without a value: a gap, counted and left out."""
    repeated: int
    """Rows of a channel with a time that it had already; the first one is kept."""
    unzoned: int = 0
    """Rows whose time has neither Z nor an offset; taken as UTC."""
    left: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(LEFT_COLUMNS)), compare=False)
    """Rows that are blank or repeated, as they stand in the table, in the order of their lines; `LEFT_COLUMNS`."""
    rewritten: tuple[str, ...] = ()
    """Units that were written another way, such as ``kt, taken as kn``."""


def read_readings(path: Path) -> ImportedReadings:
    """Read a table of readings.

    Raises
    ------
    BadInput naming lines, values and what would be right.
    """
    table = _read(path, READING_COLUMNS)
    line = table.index.to_numpy() + 2
    faults: list[Fault] = []
    time_ns = _times(table["time"], line, path.name, "time", faults)
    value = pd.to_numeric(table["value"], errors="coerce").to_numpy(dtype=np.float64)
    blank = table["value"].str.lower().isin(["", "nan", "na", "null"]).to_numpy()
    wild = ~(np.abs(value) < LARGEST_NUMBER) & ~blank
    _each(faults, path.name, line, "value", table["value"], wild, "a number under 1e9, or nothing for a gap")
    # Every reading of a sensor has the same name: its first line tells of it.
    named = table["sensor"].map(lambda name: len(name) <= LONGEST_NAME and bool(re.match(NAME_PATTERN, name)))
    nameless = ~named.to_numpy(dtype=bool) & ~table["sensor"].duplicated().to_numpy()
    _each(faults, path.name, line, "sensor", table["sensor"], nameless, NAME_WANTED)
    known = table["quantity"].isin([q.value for q in Quantity]).to_numpy()
    _each(faults, path.name, line, "quantity", table["quantity"], ~known, "one of " + ", ".join(Quantity))
    why = np.where(blank, "no value: a gap", "").astype(object)
    series, rewritten = _channels(path.name, table, time_ns, value, blank, why, faults)
    if faults:
        raise BadInput(faults)
    if not any(len(s) for s in series):
        raise bad(path.name, "whole file", "no readings", "at least one reading")
    unzoned = int((~table["time"].str.upper().str.contains(_ZONED)).sum())
    left = table.assign(line=line, why=why)[list(LEFT_COLUMNS)][why != ""]
    blanks = int(blank.sum())
    return ImportedReadings(_joined(series), len(table), blanks, len(left) - blanks, unzoned, left, rewritten)


def _channels(
    file: str, table: pd.DataFrame, time_ns: Array, value: Array, blank: Array, why: Array, faults: list[Fault]
) -> tuple[list[Series], tuple[str, ...]]:
    """Readings by sensor, quantity and unit, and the units that were rewritten; repeated rows are noted in ``why``."""
    line = table.index.to_numpy() + 2
    series: list[Series] = []
    rewritten: dict[str, None] = {}
    unit_wanted: dict[int, str] = {}
    out_of_bounds: dict[int, str] = {}
    for channel, members in table.groupby(["sensor", "quantity", "unit"], sort=False).indices.items():
        sensor, quantity, unit = (str(part) for part in cast("tuple[object, ...]", channel))
        rows = np.asarray(members, dtype=np.int64)
        if quantity not in list(Quantity):
            continue
        which = Quantity(quantity)
        name = units.named(unit)
        if name not in _UNITS[which]:
            wanted = f"for {quantity}: one of {', '.join(_UNITS[which])}{units.meant_by(unit)}"
            unit_wanted |= dict.fromkeys(rows.tolist(), wanted + (_COMMA if unit.isdigit() else ""))
            continue
        if name != unit:
            rewritten[f"{unit}, taken as {name}"] = None
        factor = _UNITS[which][name] / _UNITS[which][CANONICAL_UNIT[which]]
        shift = -273.15 if name == "K" else 0.0
        rows = rows[~blank[rows]]
        rows = rows[np.argsort(time_ns[rows], kind="stable")]
        first = np.ones(rows.size, dtype=bool)
        first[1:] = np.diff(time_ns[rows]) > 0
        kept = rows[first][np.cumsum(first) - 1]
        why[rows[~first]] = [f"line {number} has this channel and time: kept" for number in line[kept[~first]]]
        rows = rows[first]
        history = (f"imported from {file}: {rows.size} readings in {unit}",)
        scaled = value[rows] * factor + shift
        least, most, wanted = _BOUNDS.get(which, (-np.inf, np.inf, ""))
        outside = (scaled < least) | (scaled > most)  # what is no number at all is told already
        out_of_bounds |= dict.fromkeys(rows[outside].tolist(), f"for {quantity}: {wanted}")
        flags = np.zeros(rows.size, dtype=np.uint16)
        series.append(Series(str(sensor), which, time_ns[rows], scaled, CANONICAL_UNIT[which], flags, history))
    _told(faults, file, line, "unit", table["unit"], unit_wanted)
    if not any(", value" in fault.where for fault in faults):
        _told(faults, file, line, "value", table["value"], out_of_bounds)
    return series, tuple(rewritten)


def read_windows(path: Path) -> tuple[ImportedWindow, ...]:
    """Read a table of windows, in order of time; see the module for its columns.

    Raises
    ------
    BadInput naming lines, values and what would be right.
    """
    table = _read(path, WINDOW_COLUMNS, (MOMENT_U95,))
    line = table.index.to_numpy() + 2
    faults: list[Fault] = []
    start = _times(table["start"], line, path.name, "start", faults)
    stop = _times(table["stop"], line, path.name, "stop", faults)
    moment = pd.to_numeric(table["moment_tm"], errors="coerce").to_numpy(dtype=np.float64)
    wild = ~(np.abs(moment) < LARGEST_MARKED)
    _each(faults, path.name, line, "moment_tm", table["moment_tm"], wild, "a number under 1e6, t m to starboard")
    interval = pd.to_numeric(table[MOMENT_U95], errors="coerce").to_numpy(dtype=np.float64)
    unknown = table[MOMENT_U95].eq("").to_numpy()
    wild = ~((interval >= 0) & (interval < LARGEST_MARKED)) & ~unknown
    wanted = "a half width at 95 %, t m, from 0 to 1e6, or nothing where it is not known"
    _each(faults, path.name, line, MOMENT_U95, table[MOMENT_U95], wild, wanted)
    nameless = ~table["movement"].map(lambda name: bool(name) and name.isprintable()).to_numpy(dtype=bool)
    _each(faults, path.name, line, "movement", table["movement"], nameless, "a label, in letters that print")
    if not faults:
        _each(faults, path.name, line, "stop", table["stop"], stop <= start, "a time after start")
    order = np.argsort(start, kind="stable")
    for before, after in pairwise(order):
        if not faults and start[after] < stop[before]:
            wanted = (
                f"a start after {table['stop'].iloc[before]}, the stop on line {line[before]}: windows do not overlap"
            )
            faults.append(Fault(path.name, f"line {line[after]}, start", str(table["start"].iloc[after]), wanted))
    if faults:
        raise BadInput(faults)
    seen: dict[str, int] = {}
    windows = []
    for row in order:
        movement = str(table["movement"].iloc[row])
        seen[movement] = seen.get(movement, 0) + 1
        again = "" if seen[movement] == 1 else " again" if seen[movement] == 2 else f" again {seen[movement] - 1}"
        u95 = None if unknown[row] else float(interval[row])
        label = movement + again
        windows.append(
            ImportedWindow(label, movement, int(start[row]), int(stop[row]), float(moment[row]), u95, int(line[row]))
        )
    return tuple(windows)


def windows_without(readings: ImportedReadings, windows: Sequence[ImportedWindow]) -> tuple[str, ...]:
    """Labels of the windows in which no reading of heel falls: another day, another time zone, or a gap."""
    heels = [series.time_ns for series in readings.series if series.quantity is Quantity.HEEL]
    return tuple(
        window.label
        for window in windows
        if not any(int(np.searchsorted(t, window.stop_ns)) > int(np.searchsorted(t, window.start_ns)) for t in heels)
    )


def _read(path: Path, columns: tuple[str, ...], optional: tuple[str, ...] = ()) -> pd.DataFrame:
    """Read the columns wanted, as text, whatever the spreadsheet made of the rest; the index counts lines from 2.

    A column of ``optional`` that is not there is empty.
    """
    wanted = f"a CSV table with the columns {','.join(columns)}"
    wanted += f" and, if known, {','.join(optional)}" if optional else ""
    if not path.is_file():
        raise bad(str(path), "whole file", None, f"this file should exist: {wanted}")
    raw = path.read_bytes()
    text = raw.decode("utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig", errors="replace")
    if not text.strip():
        raise bad(path.name, "whole file", "nothing in it", wanted)
    heading = text.partition("\n")[0]
    delimiter = "," if "," in heading else ";" if ";" in heading else "\t"
    try:
        table = pd.read_csv(
            io.StringIO(text),
            sep=delimiter,
            dtype=str,
            keep_default_na=False,
            skip_blank_lines=False,
            index_col=False,
            usecols=lambda name: _name(name) in (*columns, *optional),
        )
    except (pd.errors.ParserError, ValueError) as error:
        raise _not_a_table(path.name, str(error), wanted) from None
    table.columns = pd.Index([_name(name) for name in table.columns])
    absent = [name for name in columns if name not in table.columns]
    if absent:
        found = ",".join(_name(name) for name in heading.split(delimiter))
        raise bad(path.name, f"line 1, no column {', '.join(absent)}", "".join(filter(str.isprintable, found)), wanted)
    twice = table.columns[table.columns.duplicated()]
    if len(twice):
        raise bad(path.name, "line 1", str(twice[0]), f"each column once: {wanted}")
    table = table.reindex(columns=[*columns, *optional], fill_value="").fillna("")
    table = table.apply(lambda column: column.str.strip())
    if delimiter != ",":  # a sheet saved with semicolons or tabs writes decimal commas
        for name in set(_NUMBERS) & set(table.columns):
            table[name] = table[name].str.replace(",", ".", regex=False)
    return cast("pd.DataFrame", table[~table.eq("").all(axis=1)])


def _name(heading: str) -> str:
    return heading.strip().strip('"').lower()


def _not_a_table(file: str, words: str, wanted: str) -> BadInput:
    """Say in a person's words why the reader of tables gave up."""
    quote = re.search(r"inside string starting at row (\d+)", words)
    if quote:
        return bad(file, f"line {int(quote[1]) + 1}", "a quote that is never closed", wanted)
    return bad(file, "whole file", words.strip().splitlines()[-1], wanted)


def _times(column: pd.Series[str], line: Array, file: str, name: str, faults: list[Fault]) -> Array:
    # RFC 3339 lets T and Z be small; nanoseconds since 1970 hold no more than these years.
    stamps = pd.to_datetime(column.str.upper(), utc=True, format="ISO8601", errors="coerce")
    wrong = ~stamps.dt.year.between(1971, 2199).to_numpy()
    _each(faults, file, line, name, column, wrong, "a time such as 2030-05-14T09:30:00.125Z, from 1971 to 2199")
    stamps = stamps.where(~wrong, pd.Timestamp(0, tz="UTC"))
    return stamps.dt.tz_localize(None).to_numpy().astype("datetime64[ns]").astype(np.int64)


def _each(
    faults: list[Fault], file: str, line: Array, name: str, column: pd.Series[str], wrong: Array, wanted: str
) -> None:
    _told(faults, file, line, name, column, dict.fromkeys(np.flatnonzero(wrong).tolist(), wanted))


def _told(
    faults: list[Fault], file: str, line: Array, name: str, column: pd.Series[str], wanted: dict[int, str]
) -> None:
    """Tell the first rows of a column that are wrong, each with what would be right, and count the others."""
    rows = sorted(wanted)
    for row in rows[:FAULTS_SHOWN]:
        cell = str(column.iloc[row])
        hint = _DECIMAL_COMMA if name in _NUMBERS and re.fullmatch(r"[+-]?\d*,\d+", cell) else ""
        faults.append(Fault(file, f"line {line[row]}, {name}", repr(shortened(cell, 60)), wanted[row] + hint))
    if len(rows) > FAULTS_SHOWN:
        more = f"{len(rows) - FAULTS_SHOWN} more lines like that"
        faults.append(Fault(file, name, more, wanted[rows[FAULTS_SHOWN]]))


def _joined(series: list[Series]) -> tuple[Series, ...]:
    """Join channels that were sent in two units."""
    by_channel: dict[tuple[str, Quantity], list[Series]] = {}
    for one in series:
        by_channel.setdefault((one.station, one.quantity), []).append(one)
    joined = []
    for parts in by_channel.values():
        time_ns = np.concatenate([p.time_ns for p in parts])
        order = np.argsort(time_ns, kind="stable")
        joined.append(
            parts[0].step(
                "units joined" if len(parts) > 1 else "one unit",
                time_ns=time_ns[order],
                value=np.concatenate([p.value for p in parts])[order],
                flags=np.concatenate([p.flags for p in parts])[order],
            )
        )
    return tuple(joined)
