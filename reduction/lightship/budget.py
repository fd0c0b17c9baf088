"""Linear uncertainty of every result with its budget by source (GUM, JCGM 100:2008, 5.1 and G.4)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from dsp.types import BudgetLine
from reduction.lightship.model import OUTPUTS, Model
from reduction.types import Quantified

Array = NDArray[np.float64]
Derived = Callable[[Mapping[str, Array]], Array]

UNITS = {"displacement": "kg", "mass": "kg", "free_surface": "kg m"}
SHOWN = 0.0005
"""A source that carries less than this share of the variance is added to the others."""


def linear(model: Model, derived: Mapping[str, Derived] | None = None) -> dict[str, Quantified]:
    """Propagate by central differences of one standard deviation on each independent component.

    Parameters
    ----------
    derived : further results made from the model's, such as the KG of a loading condition (m).

    Returns
    -------
    Name (`reduction.lightship.model.OUTPUTS`) -> value, standard uncertainty, effective degrees of freedom, budget with
    the largest source first.
    """
    count = len(model.components)
    unit = np.eye(count)
    found = model.evaluate(np.vstack([np.zeros(count), unit, -unit]))
    found |= {name: make(found) for name, make in (derived or {}).items()}
    results = {}
    for name in (*OUTPUTS, *(derived or {})):
        values = found[name]
        half = (values[1 : count + 1] - values[count + 1 :]) / 2.0
        results[name] = _combine(name, float(values[0]), half, model)
    return results


def _combine(name: str, value: float, half: Array, model: Model) -> Quantified:
    if not math.isfinite(value) or not np.all(np.isfinite(half)):
        return Quantified(value, math.nan, unit=UNITS.get(name, "m"), note="not known")
    shares: dict[str, float] = {}
    with_dof: dict[float, float] = {}
    for component, change in zip(model.components, half, strict=True):
        shares[component.source] = shares.get(component.source, 0.0) + float(change) ** 2
        if math.isfinite(component.dof):
            with_dof[component.dof] = with_dof.get(component.dof, 0.0) + float(change) ** 2
    variance = sum(shares.values())
    below = sum(v**2 / dof for dof, v in with_dof.items())
    dof = variance**2 / below if below > 0 else math.inf
    lines = [BudgetLine(s, math.sqrt(v)) for s, v in shares.items() if v > SHOWN * variance]
    rest = sum(v for v in shares.values() if v <= SHOWN * variance)
    if rest > 0:
        lines.append(BudgetLine("all others", math.sqrt(rest)))
    lines.sort(key=lambda line: -line.u)
    return Quantified(value, math.sqrt(variance), dof, tuple(lines), UNITS.get(name, "m"))


def first_to_improve(result: Quantified) -> str:
    """Name of the source that carries most of the variance; empty where there is none."""
    return max(result.budget, key=lambda line: line.u).source if result.budget else ""
