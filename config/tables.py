"""All tables of a test folder at once: which are there, what they hold, and the digest of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from config.csvtext import Column
from config.errors import BadInput, Fault
from config.files import digest
from config.folder import TestFolder
from config.hull_tables import (
    HYDROSTATICS_COLUMNS,
    OFFSETS_COLUMNS,
    TANK_COLUMNS,
    HydrostaticsTable,
    KnTable,
    OffsetsTable,
    TankTable,
    read_hydrostatics,
    read_kn,
    read_offsets,
    read_tank,
)
from config.plan import Plan
from config.shifts_table import ShiftRow, read_shifts
from config.survey_table import SurveyRow, read_survey
from config.waterline_table import ReadingRow, SampleRow, read_density, read_waterline

T = TypeVar("T")


@dataclass(frozen=True)
class Tables:
    """What the folder's tables hold; None or empty where a file is not there."""

    hydrostatics: HydrostaticsTable | None = None
    kn: KnTable | None = None
    offsets: OffsetsTable | None = None
    tanks: dict[str, TankTable] = field(default_factory=dict)
    """By file name as the plan's ``tanks.table`` writes it."""
    survey: tuple[SurveyRow, ...] | None = None
    waterline: tuple[ReadingRow, ...] | None = None
    density: tuple[SampleRow, ...] | None = None
    shifts: tuple[ShiftRow, ...] | None = None
    """People, crane, liquids that stood elsewhere in some windows, as noted in shifts.csv."""
    inputs: tuple[tuple[str, str], ...] = ()
    """(file relative to the folder, SHA-256) of every table read."""


def read_tables(folder: TestFolder, plan: Plan) -> Tables:
    """Read every table the folder has.

    Parameters
    ----------
    folder : the test folder.
    plan : names files that are not called as usual; a file that the plan names must be there.

    Raises
    ------
    BadInput with the faults of all tables.
    """
    faults: list[Fault] = []
    inputs: list[tuple[str, str]] = []
    source = plan.hydrostatics.source
    named = plan.hydrostatics.file

    def read(name: str, reader: Callable[[Path], T], needed_by: str = "", columns: Sequence[Column] = ()) -> T | None:
        try:
            path = folder.inside(name)
            if not path.is_file():
                if needed_by:
                    wanted = f"this file should exist: {needed_by} asks for it; {_heading(columns)}"
                    faults.append(Fault(name, "whole file", "", wanted))
                return None
            found = reader(path)
        except BadInput as error:
            faults.extend(error.faults)
            return None
        inputs.append((name, digest(path)))
        return found

    why = f'hydrostatics.source = "{source}"'
    table_name = named if named and source == "table" else "hydrostatics.csv"
    offsets_name = named if named and source == "offsets" else "offsets.csv"
    hydrostatics = read(table_name, read_hydrostatics, why if source == "table" else "", HYDROSTATICS_COLUMNS)
    offsets = read(offsets_name, read_offsets, why if source == "offsets" else "", OFFSETS_COLUMNS)
    kn = read("kn.csv", read_kn)
    tanks: dict[str, TankTable] = {}
    for tank in plan.tanks:
        if tank.table and tank.table not in tanks:
            found = read(f"tanks/{tank.table.removeprefix('tanks/')}", read_tank, f"tank {tank.name}", TANK_COLUMNS)
            if found is not None:
                tanks[tank.table] = found
    survey = read("survey.csv", read_survey) or None  # a form without a line is as good as none
    waterline = read("waterline.csv", read_waterline) or None
    density = read("density.csv", read_density) or None
    shifts = read("shifts.csv", read_shifts) or None
    if faults:
        raise BadInput(faults)
    return Tables(hydrostatics, kn, offsets, tanks, survey, waterline, density, shifts, tuple(inputs))


def _heading(columns: Sequence[Column]) -> str:
    """Say how the first line of a table reads."""
    more = [c.name for c in columns if not c.needed and c.name != "note"]
    also = f", and if known {','.join(more)}" if more else ""
    return f"its first line: {','.join(c.name for c in columns if c.needed)}{also}"
