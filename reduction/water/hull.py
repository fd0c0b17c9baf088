"""The hull from its offsets, integrated at the waterline she floats at: trimmed, heeled, hogged.

Sections are closed polygons, as drawn: straight lines between the points given. Each is clipped by the water surface
and integrated exactly by Green's theorem; along the length, parabolas between knuckles. Derivation:
``docs/method-lightship.md``, section 3.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from config.hull_tables import OffsetsTable
from reduction.water.afloat import Afloat
from reduction.water.lengthwise import Lengthwise, find_knuckles

Array = NDArray[np.float64]

KN_RANGE = math.radians(12.0)
"""Cross curves are worked out to this heel each side: beyond every heel of a stability test."""
KN_POINTS = 25
LOOK_AT = (0.6, 0.8, 1.0)
"""Knuckles are looked for in the areas of the sections up to these shares of the height of the lowest one."""


@dataclass(frozen=True)
class Hull:
    """Sections as closed outlines, padded to one number of points."""

    x: Array
    """(s,) m forward of the aft perpendicular, increasing."""
    y: Array
    """(s, p) m; starboard side from the keel up, then port side down."""
    z: Array
    """(s, p) m."""
    weights: tuple[Array, Array, Array]
    """(s,) each: weights of the integrals of value, value times x, value times x squared along the length."""
    stations: Lengthwise
    """Where the knuckles are, and how far the integrals can be trusted."""
    length: float
    """m between perpendiculars."""
    plating: float = 0.0
    """Fraction added to moulded volume for shell and appendages."""


@dataclass(frozen=True)
class Immersed:
    """The body under one water surface and its waterplane, in the vessel's own axes."""

    volume: float
    """m3, moulded."""
    centre: tuple[float, float, float]
    """m."""
    area: float
    """m2, waterplane projected on the baseplane."""
    flotation: tuple[float, float]
    """m, (x, y) centroid of that projection."""
    transverse: float
    """m4, second moment about the fore-and-aft axis through ``flotation``."""
    longitudinal: float
    """m4, about the athwartships axis through ``flotation``."""

    @property
    def bm(self) -> float:
        """Transverse metacentric radius, m: dy_B / d tan(heel)."""
        return self.transverse / self.volume

    @property
    def bml(self) -> float:
        """Longitudinal metacentric radius, m."""
        return self.longitudinal / self.volume


def make_hull(table: OffsetsTable, length: float, plating: float = 0.0, every: int = 1) -> Hull:
    """Build the hull from a table of offsets.

    Parameters
    ----------
    length : m between perpendiculars.
    plating : fraction added to moulded volume.
    every : 2 leaves out every second point of each section, for judging how well the points follow the form.
    """
    outlines = []
    for _, points in table.sections:
        kept = points if every == 1 else _thinned(points, every)
        starboard = [(half, z) for z, half in kept]
        port = [(-half, z) for z, half in reversed(kept)]
        outlines.append(np.array(starboard + port))
    size = max(len(o) for o in outlines)
    padded = np.stack([np.vstack([o, np.repeat(o[-1:], size - len(o), axis=0)]) for o in outlines])
    x = np.array([place for place, _ in table.sections])
    y, z = padded[:, :, 0], padded[:, :, 1]
    low, top = float(z.min()), float(z.max(axis=1).min())
    upright = [_cut(y, z, np.full(x.size, low + share * (top - low)), 0.0).area for share in LOOK_AT]
    stations = find_knuckles(x, upright)
    weights = (stations.weights(0), stations.weights(1), stations.weights(2))
    return Hull(x, y, z, weights, stations, length, plating)


@dataclass(frozen=True)
class _Sections:
    """(s,) each: what of every section is under water, and its breadth at the surface."""

    area: Array
    moment_y: Array
    moment_z: Array
    breadth: Array
    first: Array
    """Integral of y over the breadth."""
    second: Array
    """Of y squared."""


def _cut(y: Array, z: Array, level: Array, slope: float) -> _Sections:
    """Clip sections (s, p) by the water at ``level`` (s,) on the centreline."""
    z = z - level[:, None]
    depth = z - y * slope
    following = _next(depth)
    inside, after = depth <= 0.0, following <= 0.0
    crossing = inside != after
    cut = np.where(crossing, depth / np.where(crossing, depth - following, 1.0), 0.0)
    dy, dz = _next(y) - y, _next(z) - z
    start = np.where(inside, 0.0, np.where(crossing, cut, 0.0))
    stop = np.where(after, np.where(inside | crossing, 1.0, 0.0), np.where(crossing, cut, 0.0))
    ya, za, yb, zb = y + start * dy, z + start * dz, y + stop * dy, z + stop * dz
    cross = np.where(inside | after, ya * zb - yb * za, 0.0)
    area = 0.5 * cross.sum(axis=1)
    moment_y = ((ya + yb) * cross).sum(axis=1) / 6.0
    moment_z = ((za + zb) * cross).sum(axis=1) / 6.0 + level * area
    # Waterplane: going up through the surface opens at starboard (+), coming down closes at port (-).
    sign = np.where(crossing, np.where(inside, 1.0, -1.0), 0.0)
    edge = y + cut * dy
    breadth, first, second = ((sign * edge**n).sum(axis=1) / n for n in (1, 2, 3))
    return _Sections(area, moment_y, moment_z, breadth, first, second)


def immersed(hull: Hull, afloat: Afloat) -> Immersed:
    """Integrate what is under water.

    Parameters
    ----------
    afloat : mean draught, trim, list and hog; any list up to where the deck edge goes under and beyond.

    Returns
    -------
    Immersed; volume 0 with NaN centres where nothing is under water.

    Notes
    -----
    With the origin of each section on its own waterline, the closing edge along the water adds nothing to area and
    first moments, so the clipped edges of the outline are enough whatever the number of openings.
    """
    cut = _cut(hull.y, hull.z, afloat.level(hull.x, hull.length), math.tan(afloat.list))
    w, wx, wxx = hull.weights
    volume = float(w @ cut.area)
    plane = float(w @ cut.breadth)
    if volume <= 0.0 or plane <= 0.0:
        nowhere = (math.nan, math.nan, math.nan)
        return Immersed(0.0, nowhere, 0.0, (math.nan, math.nan), 0.0, 0.0)
    centre = (float(wx @ cut.area) / volume, float(w @ cut.moment_y) / volume, float(w @ cut.moment_z) / volume)
    xf, yf = float(wx @ cut.breadth) / plane, float(w @ cut.first) / plane
    transverse = float(w @ cut.second) - plane * yf**2
    longitudinal = float(wxx @ cut.breadth) - plane * xf**2
    return Immersed(volume, centre, plane, (xf, yf), transverse, longitudinal)


def station_error(hull: Hull, afloat: Afloat) -> tuple[float, float, float]:
    """How well the stations follow the form along the length.

    Returns
    -------
    Relative standard uncertainty of volume and of KM (upright), and where (m forward of the aft perpendicular) most of
    the latter comes from.

    Notes
    -----
    The doubts of `reduction.water.lengthwise.Lengthwise` for areas, moments and waterplane together; and where a
    section stands clear of the water beside one that does not, the end of the waterline may lie anywhere between the
    two: a rectangular distribution over the spacing, times what the immersed one holds.
    """
    upright = afloat.moved(listed=-afloat.list)
    level = upright.level(hull.x, hull.length)
    cut = _cut(hull.y, hull.z, level, 0.0)
    body = immersed(hull, upright)
    if body.volume <= 0.0:
        return 0.0, 0.0, math.nan
    km = body.centre[2] + body.bm
    doubts = np.vstack([hull.stations.doubts(), _emerging(hull, cut.area)])
    volume = doubts @ cut.area / body.volume
    metacentre = doubts @ (cut.moment_z + cut.second - km * cut.area) / body.volume / km
    place = math.nan
    if doubts.size:
        row = np.abs(doubts[int(np.argmax(np.abs(metacentre)))])
        place = float(row @ hull.x / max(float(row.sum()), 1e-30))
    return float(np.linalg.norm(volume)), float(np.linalg.norm(metacentre)), place


def _emerging(hull: Hull, area: Array) -> Array:
    """(k, s) rows for intervals in which the body comes out of the water."""
    drawn = np.ptp(hull.y, axis=1) > 0.0
    rows = []
    for i in range(hull.x.size - 1):
        for wet, dry in ((i, i + 1), (i + 1, i)):
            if area[wet] > 0.0 and area[dry] <= 0.0 and drawn[dry]:
                row = np.zeros(hull.x.size)
                row[wet] = (hull.x[i + 1] - hull.x[i]) / math.sqrt(12.0)
                rows.append(row)
    return np.array(rows).reshape(-1, hull.x.size)


def at_volume(hull: Hull, volume: float, start: Afloat) -> Afloat:
    """Sink or raise her, with trim, list and hog kept, until the moulded volume is the one wanted (Newton's method)."""
    at = start
    for _ in range(40):
        body = immersed(hull, at)
        if body.area <= 0.0:
            at = at.moved(mean=0.05 * abs(at.mean) + 0.01)
            continue
        step = (volume - body.volume) / body.area
        at = at.moved(mean=max(-0.5, min(0.5, step)))
        if abs(step) < 1e-11:
            break
    return at


def cross_curve(hull: Hull, start: Afloat, most: float = KN_RANGE) -> Callable[[Array], Array]:
    """KN at every heel, at the volume, trim and hog of ``start``.

    Returns
    -------
    heel rad (n,) -> KN m (n,), about baseline and centreline, odd about upright; a cubic spline through the integrated
    heels (its error is below 1e-6 m for a hull without corners near the waterline).
    """
    upright = start.moved(listed=-start.list)
    volume = immersed(hull, start).volume
    half = KN_POINTS // 2
    heels = np.linspace(0.0, most, half + 1)
    at, levers = upright, []
    for heel in heels:
        at = at_volume(hull, volume, at.moved(listed=float(heel) - at.list))
        _, y, z = immersed(hull, at).centre
        levers.append(y * math.cos(heel) + z * math.sin(heel))
    spline = CubicSpline(np.concatenate([-heels[:0:-1], heels]), np.concatenate([-np.array(levers[:0:-1]), levers]))
    return lambda heel: np.asarray(spline(np.asarray(heel, dtype=float)), dtype=float)


def _next(values: Array) -> Array:
    return np.roll(values, -1, axis=1)


KNUCKLE = math.radians(20.0)
"""A section that turns by more than this at a point has a corner there, which thinning must not cut off."""


def _thinned(points: tuple[tuple[float, float], ...], every: int) -> list[tuple[float, float]]:
    """Leave out points between, corners and ends kept; (z, half-breadth)."""
    kept = [points[0]]
    for i in range(1, len(points) - 1):
        (z0, y0), (z1, y1), (z2, y2) = points[i - 1 : i + 2]
        turn = math.atan2(y2 - y1, z2 - z1) - math.atan2(y1 - y0, z1 - z0)
        if i % every == 0 or abs(turn) > KNUCKLE:
            kept.append(points[i])
    return [*kept, points[-1]]
