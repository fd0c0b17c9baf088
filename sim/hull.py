"""A hull form from offsets: sections clipped at the waterline, integrated to hydrostatics and KN.

Written for the truth alone: the reduction has its own integration and shares nothing with this one.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import simpson
from scipy.optimize import brentq

Array = NDArray[np.float64]


@dataclass(frozen=True)
class HullForm:
    """Sections from aft to forward; each a closed outline of (y, z) points, both sides."""

    x: Array
    """(s,) m forward of the aft perpendicular, increasing."""
    sections: tuple[Array, ...]
    """(n, 2) each."""
    half: tuple[Array, ...]
    """(m, 2) each: (z, half-breadth) from the keel up."""
    length: float
    """m between perpendiculars."""


@dataclass(frozen=True)
class Waterline:
    """Water surface ``z = draught - trim (x - L/2)``; trim is a slope, positive by the stern."""

    draught: float
    trim: float


@dataclass(frozen=True)
class Immersed:
    """Volume below a waterline and its centre."""

    volume: float
    x: float
    y: float
    z: float


@dataclass(frozen=True)
class Upright:
    """Hydrostatics of one upright waterline; m, m3, m4."""

    volume: float
    lcb: float
    kb: float
    area: float
    lcf: float
    bm: float
    km: float
    bml: float
    kml: float


def make_form(x: Array, half: list[Array], length: float) -> HullForm:
    """Build a form from half-breadths: for each section (m, 2) rows of (z, half-breadth) from the keel up."""
    outlines = []
    for rows in half:
        starboard = rows[:, ::-1]
        port = starboard[::-1] * np.array([-1.0, 1.0])
        outlines.append(np.vstack([starboard, port]))
    return HullForm(np.asarray(x, dtype=float), tuple(outlines), tuple(np.asarray(h) for h in half), length)


def read_offsets(path: Path) -> HullForm:
    """Read a table of offsets with columns x_m, z_m, half_breadth_m; lines starting with # are remarks."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    table = np.array([[float(r["x_m"]), float(r["z_m"]), float(r["half_breadth_m"])] for r in rows])
    places = np.unique(table[:, 0])
    half = []
    for place in places:
        part = table[table[:, 0] == place][:, 1:]
        half.append(part[np.argsort(part[:, 0], kind="stable")])
    return make_form(places, half, float(places[-1] - places[0]))


def immersed(form: HullForm, waterline: Waterline, heel: float = 0.0) -> Immersed:
    """Volume and centre of buoyancy below a waterline heeled by ``heel`` rad, starboard side down."""
    parts = []
    slope = math.tan(heel)
    for x, outline in zip(form.x, form.sections, strict=True):
        level = waterline.draught - waterline.trim * (float(x) - form.length / 2.0)
        parts.append(_clipped(outline, level, slope))
    area, y_moment, z_moment = np.array(parts).T
    volume = float(simpson(area, x=form.x))
    if volume <= 0.0:
        return Immersed(0.0, form.length / 2.0, 0.0, 0.0)
    return Immersed(
        volume,
        float(simpson(area * form.x, x=form.x)) / volume,
        float(simpson(y_moment, x=form.x)) / volume,
        float(simpson(z_moment, x=form.x)) / volume,
    )


def _clipped(outline: Array, level: float, slope: float) -> tuple[float, float, float]:
    """Area and first moments (y, z) of the part of an outline below ``z = level + y slope`` (Green's theorem)."""
    following = np.roll(outline, -1, axis=0)
    depth = outline[:, 1] - level - outline[:, 0] * slope
    after = np.roll(depth, -1)
    inside = depth <= 0.0
    crossing = inside != (after <= 0.0)
    share = np.where(crossing, depth / np.where(crossing, depth - after, 1.0), 0.0)
    cut = outline + share[:, None] * (following - outline)
    points = np.stack([outline, cut], axis=1).reshape(-1, 2)
    kept = points[np.stack([inside, crossing], axis=1).ravel()]
    if len(kept) < 3:
        return 0.0, 0.0, 0.0
    y, z = kept.T
    y_next, z_next = np.roll(y, -1), np.roll(z, -1)
    cross = y * z_next - y_next * z
    area = 0.5 * float(np.sum(cross))
    sign = math.copysign(1.0, area)
    return abs(area), sign * float(np.sum((y + y_next) * cross)) / 6.0, sign * float(np.sum((z + z_next) * cross)) / 6.0


def upright(form: HullForm, waterline: Waterline) -> Upright:
    """Hydrostatics of an upright, trimmed waterline."""
    body = immersed(form, waterline)
    levels = waterline.draught - waterline.trim * (form.x - form.length / 2.0)
    b = np.array([_half_breadth(rows, float(level)) for rows, level in zip(form.half, levels, strict=True)])
    area = float(simpson(2.0 * b, x=form.x))
    lcf = float(simpson(2.0 * b * form.x, x=form.x)) / area
    bm = float(simpson(2.0 / 3.0 * b**3, x=form.x)) / body.volume
    bml = float(simpson(2.0 * b * (form.x - lcf) ** 2, x=form.x)) / body.volume
    return Upright(body.volume, body.x, body.z, area, lcf, bm, body.z + bm, bml, body.z + bml)


def _half_breadth(rows: Array, level: float) -> float:
    if level <= rows[0, 0]:
        return 0.0
    return float(np.interp(level, rows[:, 0], rows[:, 1]))


def draught_for(form: HullForm, volume: float, trim: float, heel: float = 0.0) -> float:
    """Draught amidships (m, on the centreline) at which the immersed volume is the one wanted."""
    top = max(float(rows[-1, 0]) for rows in form.half)
    return float(
        brentq(lambda t: immersed(form, Waterline(t, trim), heel).volume - volume, 0.05, top, xtol=1e-9, rtol=1e-12)
    )


def balance(form: HullForm, volume: float, lcg: float, vcg: float) -> Waterline:
    """Find the upright waterline at which volume and longitudinal centre agree: ``xG = xB + trim (zG - zB)``."""

    def moment(trim: float) -> float:
        body = immersed(form, Waterline(draught_for(form, volume, trim), trim))
        return lcg - body.x - trim * (vcg - body.z)

    trim = float(brentq(moment, -0.06, 0.06, xtol=1e-9))
    return Waterline(draught_for(form, volume, trim), trim)


def kn(form: HullForm, volume: float, trim: float, heel: float) -> float:
    """Lever of buoyancy about the keel, m: ``yB cos(phi) + zB sin(phi)``, at constant volume and trim."""
    body = immersed(form, Waterline(draught_for(form, volume, trim, heel), trim), heel)
    return body.y * math.cos(heel) + body.z * math.sin(heel)
