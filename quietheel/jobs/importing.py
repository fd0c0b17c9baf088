"""Make a record of someone else's measurement, so that it is reduced like one of our own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from config.csvtext import LARGEST_NUMBER
from config.errors import BadInput, Fault, bad
from config.files import digest
from config.folder import TestFolder
from config.load import parse_settings
from config.plan import Plan
from config.words import first_of
from logger.archive.durable import make_folder, write_whole
from logger.archive.writer import RunWriter
from logger.clock import StoppedClock
from logger.events import EventLog, rfc3339
from logger.records import Channel, Quantity, Reading, Series
from quietheel.jobs.imported_tables import (
    ImportedReadings,
    ImportedWindow,
    read_readings,
    read_windows,
    windows_without,
)
from quietheel.jobs.plan import check_plan

_AT_ONCE = 100_000
"""Readings handed to the writer at a time."""
LEFT_OUT = "left-out.csv"
"""Beside the run's readings: rows of the table that are no readings of the record, as they stand there."""
FIRST_SHOWN = 5
"""Of the rows left out, so many are told; all are kept."""


@dataclass(frozen=True)
class Imported:
    """What an import made."""

    run: str
    """Name of the run under record/."""
    rows: int
    blank: int
    repeated: int
    stations: tuple[str, ...]
    windows: int
    plan_made: bool
    """Whether a small plan was written because there was none."""
    unzoned: int
    """Rows whose time says no zone; taken as UTC."""
    empty_windows: tuple[str, ...]
    """Windows in which no reading of heel falls."""
    unplanned: tuple[str, ...]
    """Sensors that the plan does not know; their calibration is assumed."""
    left_out: str = ""
    """Where the rows that are blank or repeated are kept, relative to the folder; empty if there are none."""
    first_left_out: tuple[str, ...] = ()
    """The first few of them: file, line, value and why."""
    rewritten: tuple[str, ...] = ()
    """Units that were written another way than here."""
    needed: tuple[str, ...] = ()
    """What plan and tables still need before the folder can be reduced to a GM; with file, line or key."""
    again: tuple[str, ...] = ()
    """Movements with more than one window, and what these are called, as sentences."""


def import_readings(
    folder: Path | str,
    readings: Path | str,
    windows: Path | str,
    *,
    displacement_t: float | None = None,
    bm_m: float | None = None,
    km_m: float | None = None,
) -> Imported:
    """Write the record and the marks of a test folder from two CSV tables.

    Parameters
    ----------
    folder : made if it is not there. Without a plan.toml a small one is written, with one station a heel sensor and
        the figures given here; what it lacks can be filled in later.
    readings : ``time,sensor,quantity,value,unit``.
    windows : ``movement,start,stop,moment_tm``, and ``moment_u95_tm`` where the moments' intervals are known.

    Raises
    ------
    BadInput where a table cannot be used, or where the folder has windows or a run already; nothing is written then.

    Example
    -------
    >>> import quietheel
    >>> quietheel.import_readings("elsewhere", "readings.csv", "windows.csv",
    ...                           displacement_t=2000, bm_m=3.2)  # doctest: +SKIP
    """
    place = TestFolder(Path(folder))
    place.check_name()
    table = read_readings(Path(readings))
    marked = read_windows(Path(windows))
    empty = windows_without(table, marked)
    if marked and len(empty) == len(marked):
        raise BadInput(list(_outside(Path(windows).name, marked, table)))
    if place.record.is_dir() and any(place.record.glob("*/start.json")):
        raise bad(
            "record", "this test folder", place.path.name, "a folder without a record; choose a new one to import into"
        )
    given = {"displacement_t": displacement_t, "bm_m": bm_m, "km_m": km_m}
    if any(event.kind == "window_open" for event in EventLog(place.path).read()):
        raise bad("events.jsonl", "this test folder", "marked windows", "a folder without marks; choose a new one")
    for name, value in given.items():
        if value is not None and not 0 < value < LARGEST_NUMBER:
            raise bad("command line", f"--{name.replace('_', '-')}", value, "a number above 0 and under 1e9")
    plan_made = not place.plan_file.exists()
    if plan_made:
        text = _small_plan(place.path.resolve().name, table, given)
        parse_settings(
            text, Plan
        )  # before anything is written: a half-made folder would stand in the next attempt's way
        make_folder(place.path)
        write_whole(place.plan_file, text.encode())
    elif any(value is not None for value in given.values()):
        raise bad("command line", "--displacement-t, --bm-m, --km-m", None, "these in plan.toml, since there is one")
    plan = place.plan()
    run = _write(place, table, Path(readings))
    _mark(place, marked)
    stations = tuple(dict.fromkeys(s.station for s in table.series))
    known = {station.name for station in plan.stations}
    return Imported(
        run=run,
        rows=table.rows,
        blank=table.blank,
        repeated=table.repeated,
        stations=stations,
        windows=len(marked),
        plan_made=plan_made,
        unzoned=table.unzoned,
        empty_windows=empty,
        unplanned=tuple(name for name in stations if name not in known),
        left_out=f"record/{run}/{LEFT_OUT}" if len(table.left) else "",
        first_left_out=tuple(_left_out(Path(readings).name, table)),
        rewritten=table.rewritten,
        needed=_needed(place.path),
        again=tuple(_again(marked)),
    )


def _left_out(file: str, table: ImportedReadings) -> Iterator[str]:
    """The first few rows left out, in words."""
    for row in table.left.head(FIRST_SHOWN).to_dict("records"):
        yield f"{file}, line {row['line']}, {row['sensor']} {row['quantity']}: value {row['value']!r}; {row['why']}"


def _needed(folder: Path) -> tuple[str, ...]:
    """What `quietheel reduce` would refuse or could not do without."""
    try:
        return tuple(line for line in check_plan(folder).missing if line.startswith("needed"))
    except BadInput as error:
        return tuple(str(fault) for fault in error.faults)


def _outside(file: str, windows: Sequence[ImportedWindow], table: ImportedReadings) -> Iterator[Fault]:
    """The first windows of which none holds a reading of heel."""
    wanted = f"windows within the readings of heel, {_span(table)}"
    for window in windows[:FIRST_SHOWN]:
        found = f"{rfc3339(window.start_ns)} to {rfc3339(window.stop_ns)}"
        yield Fault(file, f"line {window.line}, start, stop", found, wanted)
    if len(windows) > FIRST_SHOWN:
        yield Fault(file, "start, stop", f"{len(windows) - FIRST_SHOWN} more lines like that", wanted)


def _again(windows: Sequence[ImportedWindow]) -> Iterator[str]:
    """Movements with several windows, and what these are called."""
    by_movement: dict[str, list[str]] = {}
    for window in windows:
        by_movement.setdefault(window.movement, []).append(window.label)
    for movement, labels in by_movement.items():
        if len(labels) > 1:
            yield f"movement {movement} has {len(labels)} windows, called {first_of(labels, FIRST_SHOWN)}"


def _span(table: ImportedReadings) -> str:
    """From when to when heel was read."""
    heels = [s.time_ns for s in table.series if s.quantity is Quantity.HEEL and len(s)]
    if not heels:
        return "of which there are none: no row has the quantity heel"
    first, last = min(int(t[0]) for t in heels), max(int(t[-1]) for t in heels)
    return f"which run from {rfc3339(first)} to {rfc3339(last)}"


def _write(place: TestFolder, table: ImportedReadings, source: Path) -> str:
    channels = [Channel(s.station, s.quantity, s.unit, f"imported:{source.name}") for s in table.series]
    first = min(int(s.time_ns[0]) for s in table.series if len(s))
    writer = RunWriter(place.record, channels, digest(place.plan_file), StoppedClock(first))
    run = writer.start().name
    noted: dict[str, object] = {"file": source.name, "sha256": digest(source), "rows": table.rows}
    if len(table.left):
        kept = place.record / run / LEFT_OUT
        write_whole(kept, table.left.to_csv(index=False, lineterminator="\n").encode())
        noted["left_out"] = {"file": LEFT_OUT, "sha256": digest(kept), "rows": len(table.left)}
    writer.note("imported", noted)
    for part in _in_order(table.series):
        writer.append(part)
        writer.flush(sync=False)
    writer.stop("imported")
    return run


def _in_order(series: Sequence[Series]) -> list[list[Reading]]:
    """Readings of all channels in order of time, in parts."""
    channel = np.concatenate([np.full(len(s), n) for n, s in enumerate(series)])
    time_ns = np.concatenate([s.time_ns for s in series])
    value = np.concatenate([s.value for s in series])
    number = np.concatenate([np.arange(len(s)) for s in series])
    order = np.argsort(time_ns, kind="stable")
    parts = []
    for start in range(0, order.size, _AT_ONCE):
        rows = order[start : start + _AT_ONCE]
        parts.append(
            [
                Reading(series[c].station, Quantity(series[c].quantity), t, None, v, "", sequence=n)
                for c, t, v, n in zip(
                    channel[rows].tolist(),
                    time_ns[rows].tolist(),
                    value[rows].tolist(),
                    number[rows].tolist(),
                    strict=True,
                )
            ]
        )
    return parts


def _mark(place: TestFolder, windows: Sequence[ImportedWindow]) -> None:
    log = EventLog(place.path)
    for window in windows:
        data = {
            "window": window.label,
            "movement": window.movement,
            "moment_tm": window.moment_tm,
            "imported": True,
        }
        if window.moment_u95_tm is not None:
            data["moment_u95_tm"] = window.moment_u95_tm
        log.append("window_open", "import", data, at_ns=window.start_ns)
        log.append("window_close", "import", {"window": window.label}, at_ns=window.stop_ns)


def _small_plan(name: str, table: ImportedReadings, given: dict[str, float | None]) -> str:
    """Write the smallest plan that gives a GM, with the keys still to be filled in as comments."""

    def line(key: str, note: str) -> str:
        value = given[key]
        return f"{key} = {float(value)}" if value is not None else f"# {key} =          # {note}"

    text = [
        "# Written by `quietheel import`. Fill in what is known; every key with u95 is a half width at 95 % coverage.",
        "",
        "[test]",
        f'name = "{_quoted(name)}"',
        "",
        "[vessel]",
        line("displacement_t", "as inclined; needed for GM"),
        "# displacement_u95_t =",
        "# breadth_m =",
        "",
        "[hydrostatics]",
        line("bm_m", "transverse metacentric radius; needed for the true curve"),
        "# bm_u95_m =",
        line("km_m", "transverse metacentre above the baseline; needed for KG"),
        "# km_u95_percent =",
        "",
    ]
    for station in dict.fromkeys(s.station for s in table.series):
        quantities = [s.quantity for s in table.series if s.station == station]
        kind = "inclinometer" if {Quantity.HEEL, Quantity.TRIM} & set(quantities) else "other"
        if Quantity.WIND_SPEED in quantities:
            kind = "anemometer"
        channels = ", ".join(f'{{ quantity = "{quantity}" }}' for quantity in quantities)
        text += [
            "[[stations]]",
            f'name = "{_quoted(station)}"',
            f'kind = "{kind}"',
            f"channels = [{channels}]",
        ]
        if kind == "inclinometer":
            text += [
                "  [stations.calibration]",
                "  # scale_u95_percent =    # left out, 0.5 % is assumed",
                "  # zero_u95_deg =         # its zero is known within this; left out, upright is known to 0.5 degrees",
            ]
        text.append("")
    return "\n".join(text)


def _quoted(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')
