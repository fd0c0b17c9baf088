"""``hydrostatics.csv``, ``kn.csv``, ``offsets.csv`` and ``tanks/*.csv``: what was known of her before the test.

hydrostatics.csv: ``draught_m,trim_m,displacement_t,lcb_m,kb_m,lcf_m,km_m,bm_m,kml_m,tpc_t_per_cm,mct_tm_per_cm``;
draught amidships above the moulded baseline, positions from the aft perpendicular. Without ``trim_m`` the table is for
even keel; with it every trim lists the same draughts.
kn.csv: ``displacement_t,heel_deg,kn_m`` and optionally ``trim_m``; cross curves for heels from 0 upwards.
offsets.csv: ``x_m,z_m,half_breadth_m``; one line a point, each section from the keel upwards in the order it is drawn.
tanks/NAME.csv: ``sounding_m,volume_m3,x_m,y_m,z_m,free_surface_m4``; centre of the liquid and the transverse second
moment of its surface.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from config.csvtext import Column, Table, parse_table, read_table
from config.errors import Fault

HYDROSTATICS_COLUMNS = (
    Column("draught_m", low=0.0, high=60.0),
    Column("trim_m", needed=False, low=-60.0, high=60.0),
    Column("displacement_t", low=0.0),
    Column("lcb_m", needed=False, low=-1000.0, high=1000.0),
    Column("kb_m", needed=False, low=0.0, high=60.0),
    Column("lcf_m", needed=False, low=-1000.0, high=1000.0),
    Column("km_m", needed=False, low=0.0, high=5000.0),
    Column("bm_m", needed=False, low=0.0, high=5000.0),
    Column("kml_m", needed=False, low=0.0, high=1e6),
    Column("tpc_t_per_cm", needed=False, low=0.0, high=1e5),
    Column("mct_tm_per_cm", needed=False, low=0.0, high=1e7),
    Column("note", "text", needed=False),
)
KN_COLUMNS = (
    Column("displacement_t", low=0.0),
    Column("trim_m", needed=False, low=-60.0, high=60.0),
    Column("heel_deg", low=0.0, high=90.0),
    Column("kn_m", low=-50.0, high=100.0),
    Column("note", "text", needed=False),
)
OFFSETS_COLUMNS = (
    Column("x_m", low=-1000.0, high=1000.0),
    Column("z_m", low=-100.0, high=200.0),
    Column("half_breadth_m", low=0.0, high=200.0),
    Column("note", "text", needed=False),
)
TANK_COLUMNS = (
    Column("sounding_m", low=0.0, high=100.0),
    Column("volume_m3", low=0.0),
    Column("x_m", low=-1000.0, high=1000.0),
    Column("y_m", low=-200.0, high=200.0),
    Column("z_m", low=-200.0, high=300.0),
    Column("free_surface_m4", needed=False, low=0.0),
    Column("note", "text", needed=False),
)
CURVES = ("lcb_m", "kb_m", "lcf_m", "km_m", "bm_m", "kml_m", "tpc_t_per_cm", "mct_tm_per_cm")


@dataclass(frozen=True)
class HydrostaticsTable:
    """Grid of trims and draughts, in the units of the file."""

    trims: tuple[float, ...]
    """m, increasing; a single 0 for even keel only."""
    draughts: tuple[float, ...]
    """m, increasing."""
    columns: dict[str, tuple[tuple[float, ...], ...]]
    """Name -> one row a trim, one value a draught; only the columns that are filled."""


@dataclass(frozen=True)
class KnTable:
    """Cross curves: (displacement t, trim m, heel deg, KN m) rows sorted in that order."""

    rows: tuple[tuple[float, float, float, float], ...]


@dataclass(frozen=True)
class OffsetsTable:
    """Sections from aft to forward, each (z, half-breadth) from the keel upwards, m."""

    sections: tuple[tuple[float, tuple[tuple[float, float], ...]], ...]


@dataclass(frozen=True)
class TankTable:
    """Sounding table of one tank, in the units of the file; soundings increase."""

    name: str
    """File name without folder."""
    sounding: tuple[float, ...]
    volume: tuple[float, ...]
    x: tuple[float, ...]
    y: tuple[float, ...]
    z: tuple[float, ...]
    inertia: tuple[float, ...] | None
    """m4; None where the table does not give it."""


def read_hydrostatics(path: Path) -> HydrostaticsTable:
    """Read ``hydrostatics.csv``; BadInput names every line that cannot be used."""
    return _hydrostatics(read_table(path, HYDROSTATICS_COLUMNS))


def parse_hydrostatics(text: str, file: str = "hydrostatics.csv") -> HydrostaticsTable:
    """Check the text of a hydrostatic table."""
    return _hydrostatics(parse_table(text, HYDROSTATICS_COLUMNS, file))


def read_kn(path: Path) -> KnTable:
    """Read ``kn.csv``."""
    return _kn(read_table(path, KN_COLUMNS))


def parse_kn(text: str, file: str = "kn.csv") -> KnTable:
    """Check the text of a table of cross curves."""
    return _kn(parse_table(text, KN_COLUMNS, file))


def read_offsets(path: Path) -> OffsetsTable:
    """Read ``offsets.csv``."""
    return _offsets(read_table(path, OFFSETS_COLUMNS))


def parse_offsets(text: str, file: str = "offsets.csv") -> OffsetsTable:
    """Check the text of a table of offsets."""
    return _offsets(parse_table(text, OFFSETS_COLUMNS, file))


def read_tank(path: Path) -> TankTable:
    """Read one sounding table."""
    return _tank(read_table(path, TANK_COLUMNS, f"tanks/{path.name}"), path.name)


def parse_tank(text: str, name: str = "tank.csv") -> TankTable:
    """Check the text of a sounding table."""
    return _tank(parse_table(text, TANK_COLUMNS, f"tanks/{name}"), name)


def _hydrostatics(table: Table) -> HydrostaticsTable:
    table.check()
    filled: list[str] = []
    for name in CURVES:
        blanks = [r for r in table.rows if math.isnan(r.number(name))]
        if blanks and len(blanks) < len(table.rows):
            table.fault(blanks[0], name, None, "a number in every line of this column, or in none")
        elif not blanks and table.rows:
            filled.append(name)
    grid: dict[float, dict[float, int]] = {}
    for place, row in enumerate(table.rows):
        trim, draught = row.number("trim_m", 0.0), row.number("draught_m")
        if draught in grid.setdefault(trim, {}):
            table.fault(row, "draught_m", draught, f"each draught once at trim {trim:g} m")
        grid[trim][draught] = place
        if not row.number("displacement_t") > 0:
            table.fault(row, "displacement_t", row.number("displacement_t"), "a displacement above 0 t")
    trims = sorted(grid)
    draughts = sorted(grid[trims[0]]) if trims else []
    if len(draughts) < 2:
        table.fault(None, "whole file", f"{len(draughts)} draughts", "two draughts or more")
    for trim in trims[1:]:
        if sorted(grid[trim]) != draughts:
            line = table.rows[next(iter(grid[trim].values()))]
            table.fault(line, "draught_m", None, f"the same draughts at trim {trim:g} m as at {trims[0]:g} m")
    table.check()
    columns: dict[str, tuple[tuple[float, ...], ...]] = {}
    for name in ("displacement_t", *filled):
        columns[name] = tuple(
            tuple(table.rows[grid[trim][draught]].number(name) for draught in draughts) for trim in trims
        )
    for trim in trims:
        places = [table.rows[grid[trim][d]] for d in draughts]
        for before, after in pairwise(places):
            if after.number("displacement_t") <= before.number("displacement_t"):
                wanted = f"more than {before.number('displacement_t'):g} t: displacement grows with draught"
                table.fault(after, "displacement_t", after.number("displacement_t"), wanted)
    table.check()
    return HydrostaticsTable(tuple(trims), tuple(draughts), columns)


def _kn(table: Table) -> KnTable:
    rows = sorted(
        (r.number("displacement_t"), r.number("trim_m", 0.0), r.number("heel_deg"), r.number("kn_m"))
        for r in table.rows
    )
    twice = [key for key, n in Counter(r[:3] for r in rows).items() if n > 1]
    if twice and not table.faults:
        table.fault(None, "whole file", f"{twice[0][0]:g} t at {twice[0][2]:g} deg twice", "each heel once")
    curves = Counter(r[:2] for r in rows)
    few = [key for key, n in curves.items() if n < 2]
    if (not rows or few) and not table.faults:
        which = f" at {few[0][0]:g} t" if few else ""
        table.fault(None, "whole file", f"too few heels{which}", "two heels or more for each displacement")
    for row in table.rows:
        if not table.faults and not row.number("displacement_t") > 0:
            table.fault(row, "displacement_t", 0, "a displacement above 0 t")
        if not table.faults and row.number("heel_deg") == 0.0 and abs(row.number("kn_m")) > 1e-6:
            table.fault(row, "kn_m", row.number("kn_m"), "0 at heel 0: KN of a symmetric hull upright")
    table.check()
    return KnTable(tuple(rows))


def _offsets(table: Table) -> OffsetsTable:
    table.check()
    sections: dict[float, list[tuple[float, float]]] = {}
    lines: dict[float, int] = {}
    for row in table.rows:
        x, z, half = row.number("x_m"), row.number("z_m"), row.number("half_breadth_m")
        points = sections.setdefault(x, [])
        if points and z < points[-1][0]:
            table.fault(row, "z_m", z, f"{points[-1][0]:g} m or more: points of a section go upwards from the keel")
        points.append((z, half))
        lines.setdefault(x, row.line)
    for x, points in sections.items():
        if len(points) < 2 or points[-1][0] <= points[0][0]:
            table.faults.append(_section_fault(table.file, lines[x], x))
    if len(sections) < 3:
        table.fault(None, "whole file", f"{len(sections)} sections", "three sections or more")
    if sections and not any(half > 0 for points in sections.values() for _, half in points):
        table.fault(None, "half_breadth_m", "0 everywhere", "a hull with some breadth")
    table.check()
    return OffsetsTable(tuple((x, tuple(sections[x])) for x in sorted(sections)))


def _section_fault(file: str, line: int, x: float) -> Fault:
    return Fault(file, f"line {line}, x_m", f"{x:g}", "two points or more at different heights in each section")


def _tank(table: Table, name: str) -> TankTable:
    table.check()
    rows = table.rows
    for before, after in pairwise(rows):
        if after.number("sounding_m") <= before.number("sounding_m"):
            wanted = f"more than {before.number('sounding_m'):g} m: soundings increase"
            table.fault(after, "sounding_m", after.number("sounding_m"), wanted)
        if after.number("volume_m3") < before.number("volume_m3"):
            wanted = f"{before.number('volume_m3'):g} m3 or more: volume grows with sounding"
            table.fault(after, "volume_m3", after.number("volume_m3"), wanted)
    blanks = [r for r in rows if math.isnan(r.number("free_surface_m4"))]
    if blanks and len(blanks) < len(rows):
        table.fault(blanks[0], "free_surface_m4", None, "a number in every line of this column, or in none")
    if len(rows) < 2:
        table.fault(None, "whole file", f"{len(rows)} lines", "two soundings or more")
    table.check()

    def column(key: str) -> tuple[float, ...]:
        return tuple(r.number(key) for r in rows)

    inertia = None if blanks else column("free_surface_m4")
    return TankTable(
        name, column("sounding_m"), column("volume_m3"), column("x_m"), column("y_m"), column("z_m"), inertia
    )
