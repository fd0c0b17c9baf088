"""Draughts and freeboards to displacement, before or without the rest of the day."""

from __future__ import annotations

from pathlib import Path

from config.errors import bad
from config.folder import TestFolder
from config.tables import read_tables
from logger.events import EventLog
from quietheel.jobs.facts import with_marked
from reduction.day import reduce_day
from reduction.inputs import DayInputs
from reduction.types import Answer


def waterline(folder: Path | str = ".") -> Answer:
    """Fit the waterline of a folder and read displacement from the hydrostatics.

    Returns
    -------
    An answer without heel; ``waterline`` and ``floating`` hold what was found, or the reason why not.

    Raises
    ------
    BadInput with every fault of plan and tables, or that there is no waterline.csv.
    """
    place = TestFolder(Path(folder))
    plan = place.plan()
    tables = read_tables(place, plan)
    if tables.waterline is None:
        found = "no line filled in" if (place.path / "waterline.csv").is_file() else "no such file"
        wanted = "draughts and freeboards, one a line; `quietheel new` writes a file to fill in"
        raise bad("waterline.csv", "whole file", found, wanted)
    tables, said = with_marked(tables, EventLog(place.path).read())
    return reduce_day(DayInputs(plan=plan, tables=tables, said=said))
