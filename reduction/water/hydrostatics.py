"""Hydrostatics by one protocol: offsets integrated here, tables in `reduction.water.hydrostatics_table`.

Each source answers two questions: what the vessel displaces at a waterline (`Floating`) and her cross curve there.
KM and BM are those of the upright waterline of the same displacement and trim, for the true curve extrapolates GM to
upright (``docs/method-lightship.md``, section 3).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from config.errors import bad
from reduction.types import Floating
from reduction.water.afloat import Afloat
from reduction.water.hull import Hull, at_volume, cross_curve, immersed

Array = NDArray[np.float64]
Kn = Callable[[Array], Array]


class Source(Protocol):
    """Anything that knows the hull."""

    @property
    def name(self) -> str:
        """``table`` or ``offsets``."""
        ...

    def at(self, afloat: Afloat) -> Floating:
        """Hydrostatics at a waterline; BadInput where it is outside what the source covers."""
        ...

    def kn(self, afloat: Afloat) -> Kn | None:
        """Cross curve at the displacement and trim of a waterline, or None if the source has none."""
        ...

    def floating_at(self, displacement: float, density: float, trim: float = 0.0) -> Afloat:
        """Waterline at a displacement (kg), upright, without hog."""
        ...


@dataclass(frozen=True)
class FromOffsets:
    """Offsets integrated at the actual waterline."""

    hull: Hull
    name: str = "offsets"

    def at(self, afloat: Afloat) -> Floating:
        """Integrate at the trimmed, listed and hogged waterline."""
        body = immersed(self.hull, afloat)
        deepest = float(self.hull.z.max())
        if body.volume <= 0.0 or afloat.mean >= deepest:
            wanted = f"a draught inside the hull of offsets.csv, up to {deepest:g} m"
            raise bad("waterline.csv", "mean draught", f"{afloat.mean:.3f} m", wanted)
        upright = at_volume(self.hull, body.volume, afloat.moved(listed=-afloat.list)) if afloat.list else afloat
        plane = immersed(self.hull, upright)
        displacement = body.volume * (1.0 + self.hull.plating) * afloat.density
        kb = plane.centre[2]
        return Floating(
            displacement=displacement,
            lcb=body.centre[0],
            kb=kb,
            lcf=plane.flotation[0],
            km=kb + plane.bm,
            kml=kb + plane.bml,
            bm=plane.bm,
            tpc=plane.area * afloat.density,
            mct=displacement * plane.bml / self.hull.length,
            source="offsets integrated at the trimmed, listed, hogged waterline",
        )

    def kn(self, afloat: Afloat) -> Kn:
        """Cross curve by integration at each heel, volume and trim kept."""
        return cross_curve(self.hull, afloat)

    def floating_at(self, displacement: float, density: float, trim: float = 0.0) -> Afloat:
        """Upright waterline of a displacement."""
        volume = displacement / density / (1.0 + self.hull.plating)
        start = Afloat(0.5 * float(self.hull.z.max()), trim, density=density)
        found = at_volume(self.hull, volume, start)
        if abs(immersed(self.hull, found).volume - volume) > 1e-6 * volume:
            raise bad("plan.toml", "vessel.displacement_t", displacement / 1e3, "a displacement the hull can float at")
        return found
