"""``waterline.csv`` and ``density.csv``: where she floats, and in what water.

waterline.csv, one line a reading: ``mark,kind,x_m,y_m,reading_m,reading_u95_m,zero_z_m,plate_mm,read_by,note``.
``kind`` is ``draught`` (read up from the scale's zero) or ``freeboard`` (measured down from a point of the deck edge).
``zero_z_m`` is the height above the moulded baseline of that zero or point; for a draught mark left blank it is the
underside of keel (``vessel.keel_mm`` below the baseline). ``plate_mm`` is added to the height of a freeboard's point:
the thickness of deck plating above the moulded line that ``zero_z_m`` speaks of. y_m is where the water was read, to
starboard; 0 on the centreline.

density.csv, one line a sample: ``sample,place,depth_m,hydrometer_kg_m3,sample_temperature_c,calibration_temperature_c,
correction_kg_m3,water_temperature_c,salinity_g_kg,u95_kg_m3,read_by,note``. A reading of a hydrometer, or salinity and
temperature, or both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from config.csvtext import Cell, Column, Row, Table, parse_table, read_table, write_table

WATERLINE_COLUMNS = (
    Column("mark", "text", wanted="a name for the mark"),
    Column("kind", "text", choices=("draught", "freeboard")),
    Column("x_m", low=-1000.0, high=1000.0),
    Column("y_m", low=-200.0, high=200.0),
    Column("reading_m", low=-5.0, high=60.0, wanted="metres, as read: -5 to 60"),
    Column("reading_u95_m", needed=False, low=0.0001, high=5.0),
    Column("zero_z_m", needed=False, low=-100.0, high=200.0),
    Column("plate_mm", needed=False, low=-200.0, high=200.0),
    Column("read_by", "text", needed=False),
    Column("note", "text", needed=False),
)
DENSITY_COLUMNS = (
    Column("sample", "text", wanted="a name for the sample"),
    Column("place", "text", needed=False),
    Column("depth_m", needed=False, low=0.0, high=200.0),
    Column("hydrometer_kg_m3", needed=False, low=950.0, high=1200.0, wanted="a density of water, 950 to 1200 kg/m3"),
    Column("sample_temperature_c", needed=False, low=-3.0, high=45.0),
    Column("calibration_temperature_c", needed=False, low=0.0, high=40.0),
    Column("correction_kg_m3", needed=False, low=-20.0, high=20.0),
    Column("water_temperature_c", needed=False, low=-3.0, high=45.0),
    Column("salinity_g_kg", needed=False, low=0.0, high=50.0),
    Column("u95_kg_m3", needed=False, low=0.0, high=50.0),
    Column("read_by", "text", needed=False),
    Column("note", "text", needed=False),
)


@dataclass(frozen=True)
class ReadingRow:
    """One draught mark or freeboard, in the units of the file."""

    line: int
    mark: str
    kind: str
    x_m: float
    y_m: float
    reading_m: float
    reading_u95_m: float | None
    zero_z_m: float | None
    plate_mm: float
    read_by: str = ""
    note: str = ""


@dataclass(frozen=True)
class SampleRow:
    """One density sample, in the units of the file; None where it was not taken."""

    line: int
    sample: str
    place: str
    depth_m: float | None
    hydrometer_kg_m3: float | None
    sample_temperature_c: float | None
    calibration_temperature_c: float | None
    correction_kg_m3: float
    water_temperature_c: float | None
    salinity_g_kg: float | None
    u95_kg_m3: float | None
    read_by: str = ""
    note: str = ""


def read_waterline(path: Path) -> tuple[ReadingRow, ...]:
    """Read ``waterline.csv``; BadInput names every line that cannot be used."""
    return _readings(read_table(path, WATERLINE_COLUMNS))


def parse_waterline(text: str, file: str = "waterline.csv") -> tuple[ReadingRow, ...]:
    """Check the text of a table of draught and freeboard readings."""
    return _readings(parse_table(text, WATERLINE_COLUMNS, file))


def read_density(path: Path) -> tuple[SampleRow, ...]:
    """Read ``density.csv``; BadInput names every line that cannot be used."""
    return _samples(read_table(path, DENSITY_COLUMNS))


def parse_density(text: str, file: str = "density.csv") -> tuple[SampleRow, ...]:
    """Check the text of a table of density samples."""
    return _samples(parse_table(text, DENSITY_COLUMNS, file))


def waterline_text(rows: tuple[ReadingRow, ...]) -> str:
    """Write readings that `parse_waterline` reads back to the same rows."""
    return write_table(WATERLINE_COLUMNS, [_plain(row) for row in rows])


def density_text(rows: tuple[SampleRow, ...]) -> str:
    """Write samples that `parse_density` reads back to the same rows."""
    return write_table(DENSITY_COLUMNS, [_plain(row) for row in rows])


def _plain(row: ReadingRow | SampleRow) -> dict[str, Cell]:
    cells: dict[str, Cell] = {}
    for name, value in vars(row).items():
        silent = name in ("plate_mm", "correction_kg_m3") and value == 0.0
        cells[name] = None if value in ("", None) or silent else value
    return cells


def _readings(table: Table) -> tuple[ReadingRow, ...]:
    rows = []
    for row in table.rows:
        if row.text("kind") == "freeboard" and _given(row, "zero_z_m") is None:
            table.fault(row, "zero_z_m", None, "height of the deck edge there above the moulded baseline, m")
        rows.append(
            ReadingRow(
                row.line,
                row.text("mark"),
                row.text("kind"),
                row.number("x_m"),
                row.number("y_m"),
                row.number("reading_m"),
                _given(row, "reading_u95_m"),
                _given(row, "zero_z_m"),
                row.number("plate_mm", 0.0),
                row.text("read_by"),
                row.text("note"),
            )
        )
    table.check()
    return tuple(rows)


def _samples(table: Table) -> tuple[SampleRow, ...]:
    rows = []
    for row in table.rows:
        found = SampleRow(
            row.line,
            row.text("sample"),
            row.text("place"),
            _given(row, "depth_m"),
            _given(row, "hydrometer_kg_m3"),
            _given(row, "sample_temperature_c"),
            _given(row, "calibration_temperature_c"),
            row.number("correction_kg_m3", 0.0),
            _given(row, "water_temperature_c"),
            _given(row, "salinity_g_kg"),
            _given(row, "u95_kg_m3"),
            row.text("read_by"),
            row.text("note"),
        )
        faulted = any(f.where.startswith(f"line {row.line},") for f in table.faults)
        salty = found.salinity_g_kg is not None and found.water_temperature_c is not None
        if found.hydrometer_kg_m3 is None and not salty and not faulted:
            wanted = "a hydrometer reading, or salinity_g_kg with water_temperature_c"
            table.fault(row, "hydrometer_kg_m3", None, wanted)
        rows.append(found)
    table.check()
    return tuple(rows)


def _given(row: Row, name: str) -> float | None:
    value = row.number(name)
    return None if math.isnan(value) else value
