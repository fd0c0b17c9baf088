"""``survey.csv``: the deadweight survey, one line an item or a space.

Columns ``item,space,action,mass_t,x_m,y_m,z_m,mass_u95_t,position_u95_m,to_x_m,to_y_m,to_z_m,ballast,
free_surface_tm,surveyed_by,confirmed,note``. ``action`` is ``off`` (must come off to reach lightship), ``on`` (must go
on), ``move`` (to the place in ``to_...``), ``none`` (space seen, nothing to note) or ``not surveyed`` (space still to
be seen). The last two need no mass.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from config.csvtext import Cell, Column, Row, Table, parse_table, read_table, write_table
from config.model import Point

COLUMNS = (
    Column("item", "text", wanted="a name for the item"),
    Column("space", "text", needed=False),
    Column("action", "text", choices=("off", "on", "move", "none", "not surveyed")),
    Column("mass_t", needed=False, low=0.0),
    Column("x_m", needed=False, low=-1000.0, high=1000.0),
    Column("y_m", needed=False, low=-200.0, high=200.0),
    Column("z_m", needed=False, low=-200.0, high=300.0),
    Column("mass_u95_t", needed=False, low=0.0),
    Column("position_u95_m", needed=False, low=0.0, high=500.0),
    Column("to_x_m", needed=False, low=-1000.0, high=1000.0),
    Column("to_y_m", needed=False, low=-200.0, high=200.0),
    Column("to_z_m", needed=False, low=-200.0, high=300.0),
    Column("ballast", "yes_no", needed=False),
    Column("free_surface_tm", needed=False, low=0.0),
    Column("surveyed_by", "text", needed=False),
    Column("confirmed", "yes_no", needed=False),
    Column("note", "text", needed=False),
)


@dataclass(frozen=True)
class SurveyRow:
    """One line of the survey, in the units of the file."""

    line: int
    item: str
    space: str
    action: str
    """``off``, ``on``, ``move``, ``none`` or ``not surveyed``."""
    mass_t: float
    """NaN for ``none`` and ``not surveyed``."""
    position_m: Point
    mass_u95_t: float | None
    """Half width at 95 %; None where it was not given."""
    position_u95_m: float | None
    to_m: Point | None
    ballast: bool
    """Liquid ballast."""
    free_surface_tm: float
    surveyed_by: str
    confirmed: bool
    note: str = ""


def read_survey(path: Path) -> tuple[SurveyRow, ...]:
    """Read ``survey.csv``; BadInput names every line that cannot be used."""
    return read_table(path, COLUMNS).each(_row)


def parse_survey(text: str, file: str = "survey.csv") -> tuple[SurveyRow, ...]:
    """Check the text of a survey.

    >>> parse_survey("item,action,mass_t,x_m,y_m,z_m\\nscaffolding,off,1.2,20,0,7\\n")[0].mass_t
    1.2
    """
    return parse_table(text, COLUMNS, file).each(_row)


def survey_text(rows: Iterable[SurveyRow], *, blank: bool = False) -> str:
    """Write a survey that `parse_survey` reads back to the same rows; with ``blank``, columns that nobody fills too."""
    return write_table(COLUMNS, [_cells(row) for row in rows], blank=blank)


def _row(table: Table, row: Row) -> SurveyRow:
    action = row.text("action")
    if action in ("off", "on", "move"):
        for name in ("mass_t", "x_m", "y_m", "z_m"):
            if math.isnan(row.number(name)):
                _once(table, row, name, "nothing here; a number, the item's mass or centre")
    to = tuple(row.number(n) for n in ("to_x_m", "to_y_m", "to_z_m"))
    given = [n for n in to if not math.isnan(n)]
    if action == "move" and len(given) < 3:
        _once(table, row, "to_x_m, to_y_m, to_z_m", "all three: the centre after the item has been moved")
    elif action in ("off", "on", "none", "not surveyed") and given:
        _once(
            table, row, "to_x_m, to_y_m, to_z_m", f"blank; an item with action {action} goes nowhere (or action move)"
        )
    return SurveyRow(
        line=row.line,
        item=row.text("item"),
        space=row.text("space"),
        action=action,
        mass_t=row.number("mass_t"),
        position_m=(row.number("x_m"), row.number("y_m"), row.number("z_m")),
        mass_u95_t=_optional(row.number("mass_u95_t")),
        position_u95_m=_optional(row.number("position_u95_m")),
        to_m=(to[0], to[1], to[2]) if len(given) == 3 else None,
        ballast=row.yes("ballast"),
        free_surface_tm=row.number("free_surface_tm", 0.0),
        surveyed_by=row.text("surveyed_by"),
        confirmed=row.yes("confirmed"),
        note=row.text("note"),
    )


def _once(table: Table, row: Row, column: str, wanted: str) -> None:
    """Add a fault unless the cell has already been faulted for what stands in it."""
    where = f"line {row.line}, {column}"
    if not any(f.where == where for f in table.faults):
        table.fault(row, column, None, wanted)


def _optional(value: float) -> float | None:
    return None if math.isnan(value) else value


def _cells(row: SurveyRow) -> dict[str, Cell]:
    to = row.to_m or (None, None, None)
    return {
        "item": row.item,
        "space": row.space or None,
        "action": row.action,
        "mass_t": _optional(row.mass_t),
        "x_m": _optional(row.position_m[0]),
        "y_m": _optional(row.position_m[1]),
        "z_m": _optional(row.position_m[2]),
        "mass_u95_t": row.mass_u95_t,
        "position_u95_m": row.position_u95_m,
        "to_x_m": to[0],
        "to_y_m": to[1],
        "to_z_m": to[2],
        "ballast": True if row.ballast else None,
        "free_surface_tm": row.free_surface_tm or None,
        "surveyed_by": row.surveyed_by or None,
        "confirmed": True if row.confirmed else None,
        "note": row.note or None,
    }
