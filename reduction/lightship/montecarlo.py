"""Intervals by random draws through the whole model: propagation of distributions, JCGM 101:2008."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reduction.lightship.model import OUTPUTS, Model

Array = NDArray[np.float64]

CHUNK = 20_000
"""Draws worked on at once, to bound memory."""


def draws(model: Model, count: int, seed: int) -> dict[str, Array]:
    """Draw every input and work out every result.

    Normal components (JCGM 101, 6.4.7); components of few degrees of freedom as scaled t (6.4.9), one factor for all
    components that share an estimate.

    Returns
    -------
    Name -> (count,) draws, SI.
    """
    rng = np.random.default_rng(seed)
    dofs = np.array([c.dof for c in model.components])
    parts: list[dict[str, Array]] = []
    for start in range(0, count, CHUNK):
        size = min(CHUNK, count - start)
        z = rng.standard_normal((size, dofs.size))
        for dof in sorted({float(d) for d in dofs if math.isfinite(d)}):
            z[:, dofs == dof] *= np.sqrt(dof / rng.chisquare(dof, size))[:, None]
        parts.append(model.evaluate(z))
    return {name: np.concatenate([p[name] for p in parts]) for name in OUTPUTS}


def intervals(found: dict[str, Array], confidence: float) -> dict[str, tuple[float, float]]:
    """Probabilistically symmetric coverage intervals (JCGM 101, 5.3.2 and 7.7).

    Results that are not known are left out.
    """
    tail = 0.5 * (1.0 - confidence)
    kept = {}
    for name, values in found.items():
        if values.size and np.all(np.isfinite(values)):
            low, high = np.quantile(values, [tail, 1.0 - tail])
            kept[name] = (float(low), float(high))
    return kept
