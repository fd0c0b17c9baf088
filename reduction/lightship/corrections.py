"""From as inclined to lightship: take off what must come off, put on what must go on, move what must move.

Delta_LS = Delta - sum(off) + sum(on), and each centre by moments about the same planes (Tupper, Introduction to Naval
Architecture, p. 54).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reduction.types import SurveyItem

Array = NDArray[np.float64]
Point = tuple[ArrayLike, ArrayLike, ArrayLike]


def to_lightship(
    mass: ArrayLike,
    centre: Point,
    items: Sequence[SurveyItem],
    masses: Sequence[ArrayLike] | None = None,
    errors: Sequence[Point] | None = None,
) -> tuple[Array, tuple[Array, Array, Array]]:
    """Mass (kg) and centre (LCG, TCG, VCG; m) of the lightship.

    Parameters
    ----------
    mass, centre : as inclined; (n,) arrays or numbers.
    items : what comes off, goes on or is moved.
    masses : kg, one for each item, where they are not the items' own (draws).
    errors : m, one (x, y, z) for each item, added to its place; of a moved item, to the way it moves.

    Example
    -------
    >>> gone = SurveyItem("staging", "off", 10e3, 20.0, 0.0, 9.0, 0.0, 0.0)
    >>> light, (x, y, z) = to_lightship(110e3, (25.0, 0.0, 4.0), [gone])
    >>> float(light), float(x), float(z)
    (100000.0, 25.5, 3.5)
    """
    total = np.asarray(mass, dtype=float)
    moments = [np.asarray(mass, dtype=float) * np.asarray(c, dtype=float) for c in centre]
    for number, item in enumerate(items):
        own = np.asarray(item.mass if masses is None else masses[number], dtype=float)
        error: Point = (0.0, 0.0, 0.0) if errors is None else errors[number]
        sign = {"off": -1.0, "on": 1.0}.get(item.action, 0.0)
        total = total + sign * own
        for axis, place in enumerate((item.x, item.y, item.z)):
            if item.action == "move" and item.to is not None:
                moments[axis] = moments[axis] + own * (item.to[axis] - place + np.asarray(error[axis]))
            else:
                moments[axis] = moments[axis] + sign * own * (place + np.asarray(error[axis]))
    x, y, z = (m / total for m in moments)
    return total, (x, y, z)
