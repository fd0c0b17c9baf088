"""A rival of every set: all windows on a curve that bends more."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.linear import ALPHA_REST, Linear, chi2_limit, linearise, normaliser
from reduction.gm.consistency.restraint import PRIOR_RESTRAINT
from reduction.gm.consistency.sets import PRIOR_OTHER
from reduction.gm.consistency.values import Windows
from reduction.gm.curve import BENDS, Form, with_bend
from reduction.types import Bend

PRIOR_BEND = 0.02
"""Judgement: probability that the plot bends otherwise than the hull alone makes it (free liquid that pockets)."""
PRIOR_FLARE = 0.2
"""Judgement: the same where of the hull only BM is known and its sides are taken for upright; flare bends the plot."""
THOUGHT = {"round": (0.5, 1.5, 4.0, 12.0, 40.0), "knuckled": (0.7, 2.0, 5.0)}
"""Standard deviations thought of for each shape of bend, as shares of the hull's BM. Sides that flare by 30, 45 and 55
degrees from end to end add about 1.3, 4 and 8 times what upright ones have, round; by 25 and 53 degrees from the
waterline up 0.7 and 2 BM, knuckled (docs/method-gm.md, section 3). Few hulls do."""
BM_AT_LEAST = 2.0
"""GM, taken for BM where the hull's own curve is straight."""
ROUNDS = 12
"""In which a bend is found: it stiffens her, and with that all windows weigh otherwise."""
LEAST_BM = 1.0
"""A bend may take away so much of the hull's own BM at the most; liquid that pockets only ever adds to it."""


@dataclass(frozen=True)
class Bent:
    """All windows on a curve with one bend more, as a rival of every set."""

    bend: Bend
    gm: float
    log_weight: float


def bends_of(windows: Windows, told: Windows, linear: Linear, form: Form, prior: float) -> list[Bent]:
    """One more parameter for all windows, in each shape; empty where that explains nothing.

    Parameters
    ----------
    windows : as the sets are weighed, ``linear`` made of them about ``form``.
    told : the same with what is known of their common zero, about which a bend is laid.
    prior : probability beforehand that the plot bends otherwise than ``form``, in whatever shape.
    """
    if windows.heel.size < 5 or np.unique(np.round(np.abs(windows.arm), 9)).size < 3:
        return []
    found = (_bend_of(windows, told, linear, form, shape) for shape in THOUGHT)
    beforehand = float(np.log(prior)) + all_clean(windows)
    return [replace(bent, log_weight=bent.log_weight + beforehand) for bent in found if bent is not None]


def _bend_of(windows: Windows, told: Windows, linear: Linear, form: Form, shape: str) -> Bent | None:
    """Fit one shape, and weigh it by the likelihood over what is thought of its size; prior left out."""
    tangent = np.tan(windows.heel)
    column = BENDS[shape](tangent)
    size, curve, made = 0.0, form, linear
    for _ in range(ROUNDS):
        made = linearise(told, curve, (float(made.beta[0]), float(made.beta[1])))
        square = float(column @ made.projector @ column)
        if square <= 0:
            return None
        step, size_u = float(column @ made.pull) / square, 1.0 / float(np.sqrt(square))
        size += step
        curve = with_bend(form, Bend(shape, size, size_u))
        if abs(step) < 0.01 * size_u:
            break
    made = linearise(told, curve, (float(made.beta[0]), float(made.beta[1])))
    if made.chi2 > chi2_limit(windows.heel.size - 3, windows.dof, ALPHA_REST):
        return None
    steepest = np.array([float(np.abs(tangent).max())])
    own = abs(float(form.c(np.arctan(steepest))[0]))
    if size * float(BENDS[shape](steepest)[0]) < -LEAST_BM * own:
        # Softer with heel than any waterplane of this breadth: not a bend of the vessel but windows that were held.
        return None
    bm = max(2.0 * own / float(steepest[0]) ** 3, BM_AT_LEAST * abs(float(linear.beta[0])))
    spread = size_u**2 + (bm * np.array(THOUGHT[shape])) ** 2
    thought = float(logsumexp(np.log(size_u) - 0.5 * np.log(spread) - 0.5 * size**2 / spread))
    thought -= np.log(sum(map(len, THOUGHT.values())))
    density = normaliser(told, made) - normaliser(windows, linear) - 0.5 * made.chi2
    return Bent(Bend(shape, size, size_u), float(made.beta[0]), thought + density)


def all_clean(windows: Windows) -> float:
    """Log probability beforehand that nothing held her and no window was shifted."""
    return float(np.log(PRIOR_RESTRAINT["free"]) + windows.heel.size * np.log1p(-PRIOR_OTHER))
