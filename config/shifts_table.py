"""``shifts.csv``: everything but the test weights that stood elsewhere during some windows.

Columns ``what,group,windows,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m,mass_u95_t,position_u95_m,from_tank,
from_before_m,from_after_m,to_tank,to_before_m,to_after_m,note``. ``group`` is ``people``, ``crane``, ``tanks`` or
``other``; ``windows`` lists the windows it holds for, by label, separated by spaces or semicolons.

Either a mass that went from ``x_m,y_m,z_m``
to ``to_...`` (leave one of the places blank for something that came aboard or went ashore), or liquid pumped between
two tanks of the plan with sounding tables: their names and soundings before and after.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

from config.csvtext import Column, Row, Table, parse_table, read_table
from config.model import Point

COLUMNS = (
    Column("what", "text", wanted="a name for what moved"),
    Column("group", "text", choices=("people", "crane", "tanks", "other")),
    Column("windows", "text", wanted="labels of the windows it holds for, separated by spaces"),
    Column("mass_t", needed=False, low=0.0),
    Column("x_m", needed=False, low=-1000.0, high=1000.0),
    Column("y_m", needed=False, low=-200.0, high=200.0),
    Column("z_m", needed=False, low=-200.0, high=300.0),
    Column("to_x_m", needed=False, low=-1000.0, high=1000.0),
    Column("to_y_m", needed=False, low=-200.0, high=200.0),
    Column("to_z_m", needed=False, low=-200.0, high=300.0),
    Column("mass_u95_t", needed=False, low=0.0),
    Column("position_u95_m", needed=False, low=0.0, high=100.0),
    Column("from_tank", "text", needed=False),
    Column("from_before_m", needed=False, low=0.0, high=100.0),
    Column("from_after_m", needed=False, low=0.0, high=100.0),
    Column("to_tank", "text", needed=False),
    Column("to_before_m", needed=False, low=0.0, high=100.0),
    Column("to_after_m", needed=False, low=0.0, high=100.0),
    Column("note", "text", needed=False),
)


@dataclass(frozen=True)
class Pumped:
    """Soundings (m) of two tanks before and after liquid went from one to the other."""

    from_tank: str
    from_before: float
    from_after: float
    to_tank: str
    to_before: float
    to_after: float


@dataclass(frozen=True)
class ShiftRow:
    """One line of shifts.csv, in the units of the file."""

    line: int
    what: str
    group: str
    windows: tuple[str, ...]
    mass_t: float
    """NaN where liquid was pumped: soundings say how much."""
    start_m: Point | None
    stop_m: Point | None
    mass_u95_t: float | None
    position_u95_m: float | None
    pumped: Pumped | None = None


def read_shifts(path: Path) -> tuple[ShiftRow, ...]:
    """Read ``shifts.csv``; BadInput names every line that cannot be used."""
    return read_table(path, COLUMNS).each(_row)


def parse_shifts(text: str, file: str = "shifts.csv") -> tuple[ShiftRow, ...]:
    """Check the text of a table of shifts.

    >>> text = "what,group,windows,mass_t,x_m,y_m,z_m,to_x_m,to_y_m,to_z_m\\nboom,crane,3 4,1.5,10,0,8,10,2,8\\n"
    >>> parse_shifts(text)[0].windows
    ('3', '4')
    """
    return parse_table(text, COLUMNS, file).each(_row)


def _row(table: Table, row: Row) -> ShiftRow:
    pumped = _pumped(table, row)
    mass = row.number("mass_t")
    start, stop = _place(table, row, ""), _place(table, row, "to_")
    faulted = any(f.where.startswith(f"line {row.line},") for f in table.faults)
    if pumped is None and not faulted:
        if math.isnan(mass):
            table.fault(row, "mass_t", None, "a mass, or soundings of from_tank and to_tank")
        elif start is None and stop is None:
            table.fault(row, "x_m, to_x_m", None, "where it stood before, where it stood then, or both")
    u95, place = row.number("mass_u95_t"), row.number("position_u95_m")
    return ShiftRow(
        line=row.line,
        what=row.text("what"),
        group=row.text("group"),
        windows=tuple(w for w in re.split(r"[\s;]+", row.text("windows")) if w),
        mass_t=mass,
        start_m=start,
        stop_m=stop,
        mass_u95_t=None if math.isnan(u95) else u95,
        position_u95_m=None if math.isnan(place) else place,
        pumped=pumped,
    )


def _place(table: Table, row: Row, prefix: str) -> Point | None:
    names = tuple(f"{prefix}{axis}_m" for axis in "xyz")
    x, y, z = (row.number(n) for n in names)
    given = sum(not math.isnan(v) for v in (x, y, z))
    if given not in (0, 3):
        table.fault(row, ", ".join(names), None, "all three of them, or none")
    return (x, y, z) if given == 3 else None


def _pumped(table: Table, row: Row) -> Pumped | None:
    names = ("from_before_m", "from_after_m", "to_before_m", "to_after_m")
    source, target = row.text("from_tank"), row.text("to_tank")
    soundings = [row.number(n) for n in names]
    if not source and not target and all(math.isnan(s) for s in soundings):
        return None
    if not source or not target or any(math.isnan(s) for s in soundings):
        table.fault(row, ", ".join(("from_tank", "to_tank", *names)), None, "both tanks with both soundings each")
        return None
    a, b, c, d = soundings
    return Pumped(source, a, b, target, c, d)
