"""The hull from its offsets, integrated at the waterline she floats at: trimmed, heeled, hogged.

Sections are closed polygons, as drawn: straight lines between the points given. Each is clipped by the water surface
and integrated exactly by Green's theorem; along the length, piecewise parabolas. Derivation:
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
from reduction.afloat import Afloat

Array = NDArray[np.float64]

KN_RANGE = math.radians(12.0)
"""Cross curves are worked out to this heel each side: beyond every heel of a stability test."""
KN_POINTS = 25


@dataclass(frozen=True)
class Hull:
    """Sections as closed outlines, padded to one number of points."""

    x: Array
    """(s,) m forward of the aft perpendicular, increasing."""
    y: Array
    """(s, p) m; starboard side from the keel up, then port side down."""
    z: Array
    """(s, p) m."""
    weights: Array
    """(s,) m, weights of the integral along the length."""
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
    return Hull(x, padded[:, :, 0], padded[:, :, 1], parabola_weights(x), length, plating)


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
    level = afloat.level(hull.x, hull.length)[:, None]
    slope = math.tan(afloat.list)
    y, z = hull.y, hull.z - level
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
    moment_z = ((za + zb) * cross).sum(axis=1) / 6.0 + level[:, 0] * area
    # Waterplane: going up through the surface opens at starboard (+), coming down closes at port (-).
    sign = np.where(crossing, np.where(inside, 1.0, -1.0), 0.0)
    edge = y + cut * dy
    breadth, first, second = ((sign * edge**n).sum(axis=1) / n for n in (1, 2, 3))
    w, x = hull.weights, hull.x
    volume = float(w @ area)
    plane = float(w @ breadth)
    if volume <= 0.0 or plane <= 0.0:
        nowhere = (math.nan, math.nan, math.nan)
        return Immersed(0.0, nowhere, 0.0, (math.nan, math.nan), 0.0, 0.0)
    centre = (float(w @ (area * x)) / volume, float(w @ moment_y) / volume, float(w @ moment_z) / volume)
    xf, yf = float(w @ (breadth * x)) / plane, float(w @ first) / plane
    transverse = float(w @ second) - plane * yf**2
    longitudinal = float(w @ (breadth * (x - xf) ** 2))
    return Immersed(volume, centre, plane, (xf, yf), transverse, longitudinal)


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


def parabola_weights(x: Array) -> Array:
    """Weights that integrate values at uneven stations: on each interval the mean of the two parabolas through it.

    Exact for polynomials of degree 2, of fourth order on smooth even stations, and without the saw-tooth that Simpson's
    rule shows where the number of intervals is odd.

    >>> w = parabola_weights(np.array([0.0, 1.0, 2.5, 3.0]))
    >>> round(float(w @ np.array([0.0, 1.0, 2.5, 3.0]) ** 2), 12)
    9.0
    """
    n = x.size
    weights = np.zeros(n)
    for i in range(n - 1):
        triples = [t for t in (i - 1, i) if t >= 0 and t + 2 < n]
        if not triples:
            weights[i : i + 2] += 0.5 * (x[i + 1] - x[i])
        for t in triples:
            weights[t : t + 3] += _parabola(x[t : t + 3], float(x[i]), float(x[i + 1])) / len(triples)
    return weights


def _parabola(nodes: Array, low: float, high: float) -> Array:
    """Integral from ``low`` to ``high`` of the three Lagrange parabolas on ``nodes``."""
    shares = []
    for k in range(3):
        p, q = (nodes[j] for j in range(3) if j != k)
        scale = (nodes[k] - p) * (nodes[k] - q)
        whole = [(s - p) ** 2 * (2 * s + p - 3 * q) / 6.0 for s in (high, low)]
        shares.append((whole[0] - whole[1]) / scale)
    return np.array(shares)


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
