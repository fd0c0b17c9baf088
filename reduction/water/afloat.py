"""Where she floats, as numbers: the water surface in the vessel's own axes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Afloat:
    """Mean draught, trim, list, hog and the water.

    The surface lies at z = mean - trim (x - L/2)/L + hog (2x/L - 1)^2 + y tan(list) above the moulded baseline: a
    hogged keel amidships is up, so the water stands higher on the ends by ``hog``.
    """

    mean: float
    """m, draught amidships on the centreline, hog included."""
    trim: float = 0.0
    """m, T_A - T_F, positive by the stern."""
    list: float = 0.0
    """rad, starboard side down positive."""
    hog: float = 0.0
    """m, keel amidships above the line of the ends positive."""
    density: float = 1025.0
    """kg/m3."""

    def level(self, x: Array, length: float) -> Array:
        """Height (m) of the water on the centreline at stations ``x``."""
        ahead = np.asarray(x, dtype=float) - length / 2.0
        return np.asarray(self.mean - self.trim * ahead / length + self.hog * (2.0 * ahead / length) ** 2)

    def moved(self, mean: float = 0.0, trim: float = 0.0, listed: float = 0.0, hog: float = 0.0) -> Afloat:
        """Give another surface, changed by these amounts."""
        return Afloat(self.mean + mean, self.trim + trim, self.list + listed, self.hog + hog, self.density)

    @property
    def aft(self) -> float:
        """Draught at the aft perpendicular, m."""
        return self.mean + self.hog + self.trim / 2.0

    @property
    def forward(self) -> float:
        """Draught at the forward perpendicular, m."""
        return self.mean + self.hog - self.trim / 2.0
