"""A rival of every set: all windows on a curve that bends more."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.linear import ALPHA_REST, Linear, chi2_limit, linearise, normaliser
from reduction.gm.consistency.restraint import PRIOR_RESTRAINT
from reduction.gm.consistency.sets import PRIOR_OTHER
from reduction.gm.consistency.values import Windows
from reduction.gm.curve import BENDS, Form, sensitivity, with_bend
from reduction.types import Bend

PRIOR_BEND = 0.02
"""Judgement: probability that the plot bends otherwise than the hull alone makes it (free liquid that pockets)."""
PRIOR_FLARE = 0.2
"""Judgement: the same where of the hull only BM is known and its sides are taken for upright; flare bends the plot."""
THOUGHT = {
    "round": ((0.5, 0.2), (1.5, 0.2), (4.0, 0.2), (12.0, 0.12), (40.0, 0.05)),
    "knuckled": ((0.7, 0.1), (2.0, 0.1), (5.0, 0.03)),
}
"""Standard deviations thought of for each shape of bend, as shares of the hull's BM, with probabilities (judgement).
Sides that flare by 30, 45 and 55 degrees from end to end add about 1.3, 4 and 8 times what upright ones have, round; by
25 and 53 degrees from the waterline up 0.7 and 2 BM, knuckled (docs/method-gm.md, section 3). Few hulls do more."""
BM_AT_LEAST = 2.0
"""GM, taken for BM where the hull's own curve is straight."""
ROUNDS = 40
"""Of the fit of a bend, at the most."""
ZERO_FROM, FURTHEST = 3, 0.01
"""Round from which the zero is free, and rad by which it moves in one of them."""
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
    fit = _laid(told, linear, form, shape)
    if fit is None or fit.chi2 > chi2_limit(windows.heel.size - 3, windows.dof, ALPHA_REST):
        return None
    steepest = np.array([float(np.abs(np.tan(windows.heel)).max())])
    own = abs(float(form.c(np.arctan(steepest))[0]))
    if (fit.bend.size + 2.0 * fit.bend.u) * float(BENDS[shape](steepest)[0]) < -LEAST_BM * own:
        # Softer with heel than any waterplane of this breadth: not a bend of the vessel but windows that were held.
        return None
    bm = max(2.0 * own / float(steepest[0]) ** 3, BM_AT_LEAST * abs(float(linear.beta[0])))
    share, probability = np.array(THOUGHT[shape]).T
    spread = fit.bend.u**2 + (bm * share) ** 2
    each = np.log(fit.bend.u) - 0.5 * np.log(spread) - 0.5 * fit.bend.size**2 / spread
    thought = float(logsumexp(each, b=probability))
    density = fit.normaliser - normaliser(windows, linear) - 0.5 * fit.chi2
    return Bent(fit.bend, fit.gm, thought + density)


@dataclass(frozen=True)
class _Laid:
    """One bend laid through all windows."""

    bend: Bend
    gm: float
    chi2: float
    """What is known of the zero counted."""
    normaliser: float


def _laid(told: Windows, linear: Linear, form: Form, shape: str) -> _Laid | None:
    """Find GM, TCG, the bend's size and the zero about which it lies, by Gauss and Newton; None if that leads nowhere.

    A bend stiffens her, so that all windows weigh otherwise, and it lies about upright, which the stations may read as
    anything their zero allows: neither is to be had from one linear step.
    """
    x = np.array([linear.beta[0], linear.beta[1], 0.0, 0.0])
    knows_zero = told.zero_u > 0.0
    prior = np.diag([0.0, 0.0, 0.0, 1.0 / told.zero_u**2 if knows_zero else 1.0])
    for number in range(ROUNDS):
        free = 1.0 if knows_zero and number >= ZERO_FROM else 0.0
        at = replace(told, heel=told.heel - x[3])
        curve = with_bend(form, Bend(shape, x[2], 0.0))
        tangent = np.tan(at.heel)
        stiffness = sensitivity(at.heel, x[0], curve, told.rise)[1]
        weight = np.linalg.inv(told.loose * np.outer(stiffness, stiffness) + told.arm_covariance)
        rest = told.arm + x[1] - (x[0] - told.rise) * tangent - curve.c(at.heel)
        slopes = np.column_stack([tangent, -np.ones_like(tangent), BENDS[shape](tangent), -stiffness * free])
        normal = slopes.T @ weight @ slopes + prior
        step = np.linalg.solve(normal, slopes.T @ weight @ rest - prior @ x)
        chi2 = float(rest @ weight @ rest + x @ prior @ x)
        size_u = float(np.sqrt(np.linalg.inv(normal)[2, 2]))
        if not np.isfinite(step).all():
            return None
        if number > ZERO_FROM and abs(step[2]) < 0.01 * size_u:
            made = linearise(at, curve, (float(x[0]), float(x[1])))
            bend = Bend(shape, float(x[2]), size_u, float(x[3]))
            return _Laid(bend, float(x[0]), chi2, normaliser(at, made))
        x = x + np.append(step[:3], np.clip(step[3], -FURTHEST, FURTHEST))
    return None


def all_clean(windows: Windows) -> float:
    """Log probability beforehand that nothing held her and no window was shifted."""
    return float(np.log(PRIOR_RESTRAINT["free"]) + windows.heel.size * np.log1p(-PRIOR_OTHER))
