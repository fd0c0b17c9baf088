"""A rival of every set: all windows on a curve that bends more."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.linear import ALPHA_REST, Linear, chi2_limit
from reduction.gm.consistency.restraint import PRIOR_RESTRAINT
from reduction.gm.consistency.scatter import bend_odds
from reduction.gm.consistency.sets import PRIOR_OTHER
from reduction.gm.consistency.values import Windows
from reduction.gm.curve import Form

PRIOR_BEND = 0.02
"""Judgement: probability that the plot bends otherwise than the hull alone makes it (free liquid that pockets)."""
PRIOR_FLARE = 0.1
"""Judgement: the same where of the hull only BM is known and its sides are taken for upright; flare bends the plot."""
BENDS = (0.5, 1.5, 4.0)
"""Standard deviations thought of for the bend, as shares of the hull's BM: sides that flare by 30, 45 and 55 degrees
from end to end add about 1.3, 4 and 8 times what upright ones have (docs/method-gm.md, section 3); few hulls do."""
BM_AT_LEAST = 2.0
"""GM, taken for BM where the hull's own curve is straight."""
LEAST_BM = 1.0
"""A bend may take away so much of the hull's own BM at the most; liquid that pockets only ever adds to it."""


@dataclass(frozen=True)
class Bent:
    """All windows on a curve with one bend more, as a rival of every set."""

    bend: float
    """m of BM."""
    bend_u: float
    gm: float
    log_weight: float


def bend_of(windows: Windows, linear: Linear, form: Form, prior: float) -> Bent:
    """One more parameter for all windows; its log weight is minus infinity where it explains nothing."""
    n = windows.heel.size
    column = 0.5 * np.tan(windows.heel) ** 3
    size = float(column @ linear.projector @ column)
    if size <= 0 or n < 5 or np.unique(np.round(np.abs(windows.arm), 9)).size < 3:
        return Bent(0.0, 0.0, float(linear.beta[0]), -np.inf)
    bend, bend_u = float(column @ linear.pull) / size, 1.0 / float(np.sqrt(size))
    none = Bent(bend, bend_u, float(linear.beta[0] - bend * (linear.gain[0] @ column)), -np.inf)
    if linear.chi2 - float(column @ linear.pull) ** 2 / size > chi2_limit(n - 3, windows.dof, ALPHA_REST):
        return none
    steepest = float(np.abs(np.tan(windows.heel)).max())
    hull = 2.0 * abs(float(np.asarray(form.c(np.array([np.arctan(steepest)])))[0])) / steepest**3
    if bend < -LEAST_BM * hull:
        # Softer with heel than any waterplane of this breadth: not a bend of the vessel but windows that were held.
        return none
    gm, tcg = float(linear.beta[0]), float(linear.beta[1])
    odds = bend_odds(windows, form, gm, tcg, [share * max(hull, BM_AT_LEAST * abs(gm)) for share in BENDS])
    thought = float(logsumexp(odds)) - np.log(len(BENDS))
    return replace(none, log_weight=float(np.log(prior)) + thought - 0.5 * linear.chi2 + all_clean(windows))


def all_clean(windows: Windows) -> float:
    """Log probability beforehand that nothing held her and no window was shifted."""
    return float(np.log(PRIOR_RESTRAINT["free"]) + windows.heel.size * np.log1p(-PRIOR_OTHER))


def bent_form(form: Form, bend: float) -> Form:
    """Return the hull's form with ``bend`` m of BM more."""
    return Form(f"{form.name} and a bend", lambda heel: form.c(heel) + 0.5 * bend * np.tan(heel) ** 3, form.km)
