"""Righting arm of the vessel, whatever it comes from, as one odd series in the sine of heel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Restoring:
    """``GZ(phi) = sin(phi) (gm + c1 s^2 + c2 s^4 + c3 s^6)`` with ``s = sin(phi)``, liquids frozen."""

    gm: float
    """m, solid: with the liquids frozen."""
    series: tuple[float, float, float]
    """m."""

    def arm(self, heel: float) -> float:
        """Righting arm, m, at ``heel`` rad."""
        s = math.sin(heel)
        q = s * s
        c1, c2, c3 = self.series
        return s * (self.gm + q * (c1 + q * (c2 + q * c3)))

    def work(self, heel: float) -> float:
        """Integral of the arm from upright to ``heel``, m rad (by a fine trapezoid; for energy checks)."""
        angles = np.linspace(0.0, heel, 2001)
        return float(np.trapezoid([self.arm(float(a)) for a in angles], angles))


def wall_sided(gm: float, bm: float) -> Restoring:
    """Exact for vertical sides: ``GZ = sin(phi) (GM + BM tan^2(phi) / 2)``, its tangent as a series in the sine.

    Source: the wall-sided formula (Derrett and Barrass, Ship Stability, ch. on moderate angles of heel; common
    practice). Terms beyond the eighth power are left out: below 1e-5 m to 15 degrees.

    >>> abs(wall_sided(1.0, 10.0).arm(0.05) - math.sin(0.05) * (1.0 + 5.0 * math.tan(0.05) ** 2)) < 1e-9
    True
    """
    return Restoring(gm, (bm / 2.0, bm / 2.0, bm / 2.0))


def from_kn(heel: Array, kn: Array, kg: float) -> Restoring:
    """Fit the series to a KN curve by least squares.

    Parameters
    ----------
    heel : (n,) rad, positive, at least four angles.
    kn : (n,) m.
    kg : m, solid.

    Notes
    -----
    ``GZ = KN - KG sin(phi)``; the series in ``sin`` is odd, as the curve of a hull with equal sides is.
    """
    s = np.sin(np.asarray(heel, dtype=float))
    columns = np.stack([s, s**3, s**5, s**7], axis=1)
    found = np.linalg.lstsq(columns, np.asarray(kn, dtype=float), rcond=None)[0]
    return Restoring(float(found[0]) - kg, (float(found[1]), float(found[2]), float(found[3])))
