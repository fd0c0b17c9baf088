"""Liquids aboard: mass, centre and free surface of each tank, by geometry or sounding table, pocketing included."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from config.errors import bad
from config.hull_tables import TankTable
from config.plan import Tank
from config.tables import Tables
from config.units import COVERAGE_95, TONNE

Array = NDArray[np.float64]

FREE_SURFACE_U95 = 0.05
"""Relative interval taken for a free-surface moment that has none (judgement)."""
CENTRE_U95 = 0.04
"""m, interval taken for the centre of the liquid (judgement)."""
MASS_U95 = 0.02
"""Relative interval taken for the mass in a tank (judgement: sounding and table)."""


@dataclass(frozen=True)
class Liquid:
    """What is in one tank during the test. kg, m, kg m."""

    name: str
    part_of: str
    """``lightship``, ``to_come_off`` or ``to_stay``."""
    mass: float
    centre: tuple[float, float, float]
    mass_u: float
    free_surface: float
    """kg m: density times transverse second moment of the surface, upright; 0 if empty or full."""
    free_surface_u: float
    ballast: bool
    box: Box | None = None
    """Geometry, where the tank is a box: for pocketing."""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Box:
    """A box-shaped tank with liquid in it."""

    length: float
    breadth: float
    height: float
    depth: float
    """m of liquid."""
    density: float

    def shift(self, heel: Array) -> Array:
        """Moment (kg m) by which its liquid eases her over, per cos(heel), in excess of frozen liquid.

        rho V (dy + dz tan(heel)) with the centre's movement (dy, dz) in the tank: rho l b^3/12 (t + t^3/2) until the
        liquid reaches the bottom's far corner or the top, and the exact polygon after that: it pockets.
        """
        return np.array([_box_shift(self, float(angle)) for angle in np.atleast_1d(heel)]).reshape(np.shape(heel))

    @property
    def pockets_at(self) -> float:
        """Heel (rad) at which liquid meets the tank's top or leaves part of its bottom dry."""
        return math.atan(2.0 * min(self.depth, self.height - self.depth) / self.breadth)


def liquid(tank: Tank, tables: Tables) -> Liquid:
    """Work out one tank.

    Raises
    ------
    BadInput where a tank with something in it cannot be reduced from what the plan says, or is not inside its table.
    """
    if tank.state == "empty":
        return Liquid(tank.name, tank.part_of, 0.0, tank.position_m or (0.0, 0.0, 0.0), 0.0, 0.0, 0.0, False)
    notes: list[str] = []
    table = tables.tanks.get(tank.table) if tank.table else None
    where = f"tanks: {tank.name}"
    centre = tank.position_m
    volume = inertia = math.nan
    box: Box | None = None
    if table is not None:
        volume, centre, inertia = _from_table(table, tank, where)
    elif tank.length_m and tank.breadth_m:
        box, volume = _box(tank, where)
        inertia = tank.length_m * tank.breadth_m**3 / 12.0
    if tank.mass_t is not None:
        mass = tank.mass_t * TONNE
    elif math.isfinite(volume):
        mass = volume * tank.density_kg_m3
    elif tank.part_of == "lightship":
        mass = 0.0
    else:
        raise bad("plan.toml", where, None, "mass_t, or sounding_m with a table or length_m, breadth_m")
    if centre is None:
        if tank.part_of == "to_come_off":
            raise bad("plan.toml", where, None, "position_m, the centre of the liquid, or a table")
        centre = (0.0, 0.0, 0.0)
    if tank.free_surface_m4 is not None:
        inertia = tank.free_surface_m4
    moment = 0.0
    if tank.state == "slack":
        if math.isnan(inertia):
            raise bad(
                "plan.toml", where, None, "free_surface_m4, or length_m and breadth_m, or a table: the tank is slack"
            )
        moment = inertia * tank.density_kg_m3
    else:
        box = None
    relative = tank.free_surface_u95_percent
    if relative is None and moment > 0:
        notes.append(f"Free surface of {tank.name}: interval taken as {100 * FREE_SURFACE_U95:g} % at 95 %.")
    if mass > 0 and tank.part_of == "to_come_off":
        notes.append(f"Contents of {tank.name}: taken as known to {100 * MASS_U95:g} % and {CENTRE_U95:g} m at 95 %.")
    u = moment * (FREE_SURFACE_U95 if relative is None else relative / 100.0) / COVERAGE_95
    return Liquid(
        tank.name,
        tank.part_of,
        mass,
        centre,
        mass * MASS_U95 / COVERAGE_95,
        moment,
        u,
        "ballast" in tank.contents.lower(),
        box,
        tuple(notes),
    )


def liquids(tanks: Sequence[Tank], tables: Tables) -> tuple[Liquid, ...]:
    """Work out every tank of the plan."""
    return tuple(liquid(tank, tables) for tank in tanks)


def free_surface(inertia: float, liquid_density: float, volume: float, water_density: float) -> float:
    """Virtual rise of G (m): inertia x liquid density / (displaced volume x water density).

    Source: Derrett and Barrass, Ship Stability for Masters and Mates, pp. 193-195.

    >>> round(free_surface(15 * 10**3 / 12, 1.025, 8000 / 1.025, 1.025), 5)
    0.16016
    """
    return inertia * liquid_density / (volume * water_density)


def rectangle_inertia(length: float, breadth: float, cells: int = 1) -> float:
    """Transverse second moment of a rectangular surface (m4), n equal cells side by side: l b^3 / (12 n^2)."""
    return length * breadth**3 / 12.0 / cells**2


def _from_table(table: TankTable, tank: Tank, where: str) -> tuple[float, tuple[float, float, float], float]:
    if tank.sounding_m is None:
        if tank.state != "full":
            raise bad("plan.toml", where, None, f"sounding_m, to look up {table.name}")
        sounding = table.sounding[-1]
    else:
        sounding = tank.sounding_m
    return sounded(table, sounding, "plan.toml", f"{where}.sounding_m")


def sounded(
    table: TankTable, sounding: float, file: str, where: str
) -> tuple[float, tuple[float, float, float], float]:
    """Volume (m3), its centre (m) and second moment of the surface (m4; NaN if not tabled) at a sounding (m).

    Raises
    ------
    BadInput naming ``file`` and ``where`` for a sounding beyond the table.
    """
    if not table.sounding[0] <= sounding <= table.sounding[-1]:
        wanted = f"{table.sounding[0]:g} to {table.sounding[-1]:g} m, as {table.name} goes"
        raise bad(file, where, sounding, wanted)

    def at(values: Sequence[float]) -> float:
        return float(PchipInterpolator(table.sounding, values)(sounding))

    inertia = at(table.inertia) if table.inertia is not None else math.nan
    return at(table.volume), (at(table.x), at(table.y), at(table.z)), inertia


def _box(tank: Tank, where: str) -> tuple[Box | None, float]:
    assert tank.length_m is not None
    assert tank.breadth_m is not None
    base = tank.length_m * tank.breadth_m
    depth = tank.sounding_m
    if depth is None and tank.mass_t is not None:
        depth = tank.mass_t * TONNE / tank.density_kg_m3 / base
    if depth is None and tank.state == "full" and tank.height_m is not None:
        depth = tank.height_m
    if depth is None:
        return None, math.nan
    if tank.height_m is None:
        return None, base * depth
    if depth > tank.height_m * (1 + 1e-9):
        raise bad("plan.toml", where, f"{depth:g} m of liquid", f"no more than height_m, {tank.height_m:g} m")
    return Box(tank.length_m, tank.breadth_m, tank.height_m, depth, tank.density_kg_m3), base * depth


def _box_shift(box: Box, heel: float) -> float:
    t = math.tan(heel)
    area = box.breadth * box.depth
    if area <= 0.0 or box.depth >= box.height:
        return 0.0
    level = _level(box, t, area)
    y, z = _section_centre(box, level, t)
    mass = box.density * box.length * area
    return mass * (y + (z - box.depth / 2.0) * t)


def _level(box: Box, t: float, area: float) -> float:
    """Height of the surface on the tank's centreline at which the section holds ``area`` (bisection on a monotone)."""
    low, high = -abs(t) * box.breadth, box.height + abs(t) * box.breadth
    for _ in range(80):
        middle = 0.5 * (low + high)
        if _section(box, middle, t)[0] < area:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _section(box: Box, level: float, t: float) -> tuple[float, float, float]:
    """Area and first moments (y, z) of liquid below z = level + y t in the box section: exact, by pieces."""
    half = box.breadth / 2.0
    cuts = {-half, half}
    if t != 0.0:
        cuts |= {y for y in (-level / t, (box.height - level) / t) if -half < y < half}
    edges = sorted(cuts)
    area = my = mz = 0.0
    for a, b in pairwise(edges):
        ha, hb = (min(max(level + y * t, 0.0), box.height) for y in (a, b))
        w = b - a
        area += w * (ha + hb) / 2
        my += w * (a * (2 * ha + hb) + b * (ha + 2 * hb)) / 6
        mz += w * (ha * ha + ha * hb + hb * hb) / 6
    return area, my, mz


def _section_centre(box: Box, level: float, t: float) -> tuple[float, float]:
    area, my, mz = _section(box, level, t)
    return my / area, mz / area
