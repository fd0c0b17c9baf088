"""A slack tank that pockets during the test: the true curve with the liquid's own curve gives back GM and KG."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy.optimize import brentq

from reduction.day import reduce_day
from reduction.inputs import DayInputs
from reduction.moments import planned_states
from reduction.types import Answer
from reduction.water.tanks import Box
from tests import examples_answer as merrowby

DISPLACEMENT, KM, BM, KG = 1150e3, 4.85, 3.2, 3.60
TANK = Box(length=4.0, breadth=6.0, height=2.0, depth=0.14, density=1000.0)
"""Pockets at 2.7 deg; the test heels to 3.6."""


def heel_of(moment: float) -> float:
    """Equilibrium of wall-sided hull and liquid, from first principles: KG frozen, liquid moving."""

    def miss(phi: float) -> float:
        t = math.tan(phi)
        hull = (KM - KG) * t + BM * t**3 / 2
        return hull - float(TANK.shift(np.array([phi]))[0]) / DISPLACEMENT - moment / DISPLACEMENT

    return float(brentq(miss, -0.3, 0.3, xtol=1e-14))


def reduced(height: float | None) -> Answer:
    tank: dict[str, object] = {"name": "settling tank", "contents": "water", "state": "slack", "sounding_m": TANK.depth}
    tank |= {"length_m": TANK.length, "breadth_m": TANK.breadth, "position_m": (15.0, 0.0, 1.1)}
    if height is not None:
        tank["height_m"] = height
    plan = merrowby.plan(
        vessel={"displacement_t": DISPLACEMENT / 1e3},
        hydrostatics={"source": "values", "bm_m": BM, "km_m": KM},
        tanks=[tank],
        limits={},
    )
    moments = [s.moment for s in planned_states(plan, {}).values()]
    day = merrowby.day(plan, spoilt=False)
    windows = tuple(dataclasses.replace(w, heel=heel_of(m)) for w, m in zip(day.windows, moments, strict=True))
    return reduce_day(DayInputs(plan, dataclasses.replace(day, windows=windows)))


def test_gm_and_kg_come_back() -> None:
    answer = reduced(TANK.height)
    free = 1000.0 * 4.0 * 6.0**3 / 12
    assert math.degrees(TANK.pockets_at) == pytest.approx(2.67, abs=0.01)
    assert answer.gm.value is not None
    assert answer.as_inclined.value is not None
    assert answer.gm.value.gm.value == pytest.approx(KM - KG - free / DISPLACEMENT, abs=5e-4)
    assert answer.as_inclined.value.kg.value == pytest.approx(KG, abs=5e-4)
    advice = {a.code: a for a in answer.advice}
    assert advice["pocketing"].met is False


def test_without_the_tanks_height_pocketing_is_not_seen() -> None:
    """The bias that the liquid's curve removes: pocketing stiffens, so GM is over-read and KG under-read."""
    answer = reduced(None)
    assert answer.as_inclined.value is not None
    assert answer.as_inclined.value.kg.value < KG - 1e-3
