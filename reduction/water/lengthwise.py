"""The integral along the length from values at stations: which curve goes through them, and how far it can be trusted.

Between two stations runs the mean of the parabola through them and the station before and the one through them and the
station after. At a knuckle of the hull, as where a parallel body meets a straight rake, such a parabola swings over;
there each side is taken by itself. Derivation and measured errors: ``docs/method-lightship.md``, section 3.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Nodes = tuple[int, ...]

GAUSS, GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(3)
SHARPER = 3.0
"""A station is a knuckle where the curve bends by so many times what it bends at the stations beside it."""
STANDS_OUT = 0.01
"""... and stands off the straight line through its neighbours by this share of the largest value."""
OFF_STATION = 4.5
"""Error left by a knuckle off its station, over what taking it as one there changes and over how its neighbour bends.

With spacing h and a jump of slope J at d past the station the neighbour bends d/(h - d) times as much, the error is
J d (3h/8 - d/2), and the change J h (h - d)/12 - J d h/24: 4.5 to first order in d.
"""


@dataclass(frozen=True)
class Lengthwise:
    """Stations with the knuckles among them."""

    x: Array
    """(s,) m, increasing."""
    knuckles: tuple[int, ...] = ()
    """Stations where the hull has a corner along its length."""
    beside: tuple[float, ...] = ()
    """Of each knuckle: what it makes its worse neighbour bend over its own bend; 0 where it lies at the station."""

    def weights(self, power: int = 0) -> Array:
        """(s,) weights of the integral of value times x to the ``power``, exact for the curve drawn."""
        total = np.zeros(self.x.size)
        for interval in range(self.x.size - 1):
            curves = self._curves(interval)
            for nodes in curves:
                total += _integral(self.x, nodes, interval, power) / len(curves)
        return total

    def doubts(self) -> Array:
        """(k, s) rows that turn values into errors (each one standard uncertainty), independent of one another.

        Where two parabolas meet, half their difference; where one stands alone, what a cubic would change; where only a
        straight line is left, half of what a parabola across the knuckle would add; and for a knuckle that the
        neighbours say lies off its station, the share of the change by it that this costs.
        """
        rows = [row for interval in range(self.x.size - 1) for row in self._doubts(interval)]
        smooth = Lengthwise(self.x).weights() if self.knuckles else np.zeros(0)
        for knuckle, beside in zip(self.knuckles, self.beside, strict=True):
            others = tuple(k for k in self.knuckles if k != knuckle)
            without = Lengthwise(self.x, others).weights() if others else smooth
            rows.append(min(OFF_STATION * beside, 1.0) * (without - self.weights()))
        return np.array(rows).reshape(-1, self.x.size)

    def _curves(self, interval: int) -> list[Nodes]:
        found = [nodes for nodes in self._around(interval, 3) if not set(nodes[1:-1]) & set(self.knuckles)]
        return found or [(interval, interval + 1)]

    def _around(self, interval: int, size: int) -> Iterator[Nodes]:
        """Every run of ``size`` stations that holds the interval."""
        for start in range(interval + 2 - size, interval + 1):
            if start >= 0 and start + size <= self.x.size:
                yield tuple(range(start, start + size))

    def _doubts(self, interval: int) -> Iterator[Array]:
        curves = self._curves(interval)
        drawn = [_integral(self.x, nodes, interval) for nodes in curves]
        if len(curves) == 2:
            yield 0.5 * (drawn[0] - drawn[1])
        elif len(curves[0]) == 3:
            for nodes in self._around(interval, 4):
                if not set(nodes[1:-1]) & set(self.knuckles):
                    yield _integral(self.x, nodes, interval) - drawn[0]
                    return
        else:
            across = [_integral(self.x, nodes, interval) for nodes in self._around(interval, 3)]
            if across:
                yield 0.5 * (np.mean(across, axis=0) - drawn[0])


def parabola_weights(x: Array) -> Array:
    """Weights that integrate values at uneven stations without a knuckle.

    Exact for polynomials of degree 2, of fourth order on smooth even stations, and without the saw-tooth that Simpson's
    rule shows where the number of intervals is odd.

    >>> w = parabola_weights(np.array([0.0, 1.0, 2.5, 3.0]))
    >>> round(float(w @ np.array([0.0, 1.0, 2.5, 3.0]) ** 2), 12)
    9.0
    """
    return Lengthwise(x).weights()


def find_knuckles(x: Array, curves: Sequence[Array]) -> Lengthwise:
    """Find the stations where most of several curves along the length have a corner.

    Parameters
    ----------
    x : (s,) m. curves : each (s,), such as areas of the sections up to several heights.

    Notes
    -----
    The second divided difference of a smooth curve changes little from station to station; at a corner it is the jump
    of slope over the spacing and its neighbours have none of it. What shows at one height only is where the bottom
    leaves the water there, not a knuckle.

    >>> find_knuckles(np.arange(7.0), [np.array([0.0, 1.0, 2.0, 3.0, 3.0, 3.0, 3.0])]).knuckles
    (3,)
    """
    found = np.array([_corners(x, curve) for curve in curves])
    seen = np.isfinite(found)
    where = np.flatnonzero(seen.sum(axis=0) * 2 > len(curves))
    beside = [float(np.max(found[seen[:, i], i])) for i in where]
    return Lengthwise(x, tuple(int(i) for i in where), tuple(beside))


def _corners(x: Array, values: Array) -> Array:
    """(s,) at each corner: bend beside it, beyond what goes on further out, over its own; NaN where there is none."""
    corners = np.full(x.size, np.nan)
    if x.size < 4:
        return corners
    spacing = np.diff(x)
    turn = np.diff(np.diff(values) / spacing)
    bend = 2.0 * turn / (spacing[1:] + spacing[:-1])
    off = np.abs(turn) * spacing[1:] * spacing[:-1] / (spacing[1:] + spacing[:-1])
    there = range(bend.size)
    for i in there:
        near = max(abs(bend[j]) for j in (i - 1, i + 1) if j in there)
        if abs(bend[i]) > SHARPER * near and off[i] > STANDS_OUT * float(np.max(np.abs(values))):
            beyond = [
                abs(bend[i + way] - (bend[i + 2 * way] if i + 2 * way in there else 0.0))
                for way in (-1, 1)
                if i + way in there
            ]
            corners[i + 1] = max(beyond) / abs(bend[i])
    return corners


def _integral(x: Array, nodes: Nodes, interval: int, power: int = 0) -> Array:
    """(s,) weights of the integral over one interval of x^power times the polynomial through ``nodes``."""
    low, high = float(x[interval]), float(x[interval + 1])
    at = 0.5 * (low + high) + 0.5 * (high - low) * GAUSS
    weights = np.zeros(x.size)
    for k in nodes:
        others = [j for j in nodes if j != k]
        lagrange = np.prod([(at - x[j]) / (x[k] - x[j]) for j in others], axis=0)
        weights[k] = 0.5 * (high - low) * float(GAUSS_WEIGHTS @ (lagrange * at**power))
    return weights
