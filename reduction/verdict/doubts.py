"""Figures of an answer that no vessel has: said in the headline, so that nobody carries them on unseen.

What comes out so is nearly always a slip of unit: heel in radians called degrees, moments in kg m called t m.
"""

from __future__ import annotations

import math

from reduction.day_gm import GmCase
from reduction.floating import Case
from reduction.gm.reduce import STIFF
from reduction.types import AsInclined, Centre

DECKS = 2.0
"""KG over moulded depth beyond which it lies above any deck that bears weight (judgement)."""


def doubts(
    case: Case | None, fit: GmCase | None, done: AsInclined | None, light: Centre | None, depth: float | None
) -> tuple[str, ...]:
    """Say which figures no vessel has, each with what to look at.

    What is wrong with KG is wrong with the lightship's VCG too and is said once. ``depth``: m, moulded, None where not
    known.
    """
    said = []
    if fit is not None and case is not None and case.bm is not None:
        gm, bm = fit.result.gm.value, case.bm.value
        if gm > STIFF * bm:
            said.append(f"GM {gm:.1f} m with a BM of {bm:.1f} m: look at the units of moments, heel and displacement")
    heights = {
        "KG": done.kg.value if done is not None else math.nan,
        "lightship VCG": light.vcg.value if light is not None else math.nan,
    }
    for name, height in heights.items():
        if height < 0.0:
            said.append(f"{name} {height:.1f} m, below the keel: look at KM, and at what GM came from")
            break
        if depth is not None and height > DECKS * depth:
            said.append(f"{name} {height:.1f} m, above any deck of a vessel {depth:g} m deep: look at KM and at GM")
            break
    return tuple(said)
