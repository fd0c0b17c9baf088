"""How alike are the windows of a day in the strength of their slow motion? Judged from above only.

An estimated strength that comes out near nothing says that slow motion drowned in the noise there, not that the window
was quieter than a law of strengths allows; taken at face value it would make every window seem unlike every other, and
let a disturbance pass for the day's habit. Strengths below `DROWNED` of the middle one are therefore only counted
as below it (a censored likelihood; docs/method-checks.md, section 3).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtr, gammaln, logsumexp

from dsp.types import Array

DROWNED = 0.3
"""Share of the middle strength below which an estimate is counted as "below"."""
TOO_FEW = 30.0
"""Degrees of freedom taken where fewer than three strengths can be judged."""
CHOICES = (1e4, 100.0, 50.0, 25.0, 12.0, 6.0, 4.0)
"""Degrees of freedom of the law of strengths that are tried, from all alike to quite unlike."""


def alike(scale: Array, dof: Array) -> float:
    """Choose the degrees of freedom by which the strengths of windows scatter about the day's.

    Parameters
    ----------
    scale : (m,) estimated variances over the day's.
    dof : (m,) degrees of freedom of each estimate.

    Returns
    -------
    Largest where windows are alike; 30 where fewer than three can be judged.

    >>> alike(np.array([0.9, 1.1, 1.0, 1.05, 0.0]), np.full(5, 12.0)) > 50
    True
    """
    use = dof > 1.5
    if int(use.sum()) < 3:
        return TOO_FEW
    middle = max(float(np.median(scale[use & (scale > 0.05)])) if (use & (scale > 0.05)).any() else 1.0, 1e-6)
    x, d = scale[use] / middle, dof[use]
    return _likeliest([_log_likelihood(x, d, shared) for shared in CHOICES])


def shared_dof(scale: Array, dof: Array) -> float:
    """Choose the same for strengths that are taken as they are, none of them drowned.

    Parameters and result as for `alike`.
    """
    use = dof > 2.0
    if use.sum() < 3:
        return TOO_FEW
    x = scale[use] / float(np.median(scale[use]))
    return _likeliest([float(np.sum(log_f(x, dof[use], shared))) for shared in CHOICES])


def _likeliest(values: list[float]) -> float:
    """Choose by log likelihood; anything but all alike must be the likelier by a factor e."""
    return CHOICES[int(np.argmax([value - (0.0 if n == 0 else 1.0) for n, value in enumerate(values)]))]


@dataclass(frozen=True)
class Habit:
    """What a day's other windows say of the strength of a motion in one of them."""

    usual: Array
    """(h,) middle strength, by hypothesis on how alike windows are."""
    dof: Array
    """(h,) degrees of freedom by which a window's strength scatters about it."""
    weight: Array
    """(h,) probability of each hypothesis; sums to 1."""

    @property
    def tells(self) -> bool:
        """Whether the other windows say anything at all."""
        return bool(self.dof.any())


KNOWS_NOTHING = Habit(np.zeros(1), np.zeros(1), np.ones(1))
PRIOR = np.array([0.25, 0.15, 0.15, 0.15, 0.15, 0.1, 0.05])
"""Judgement: how probable each of `CHOICES` is beforehand."""
SPOILT, MOST = 0.25, 3000.0
"""Judgement: the share of windows that are disturbed, and up to how many times the usual strength."""


def habit(strength: Array, dof: Array) -> Habit:
    """Tell the usual strength of a motion and how alike windows are in it, though some of them were disturbed.

    Each window is either usual, its strength F about the usual one, or disturbed, its strength anywhere above that
    (even on a logarithmic scale): what is disturbed cannot pass for the day's habit. Usual strength and likeness are
    averaged over, not chosen, since a few windows tell them poorly (docs/method-checks.md, section 4).

    Parameters
    ----------
    strength : (m,) estimated variances, as F with ``dof`` and the hypothesis' degrees of freedom about the usual one.
    dof : (m,).

    >>> spoilt = habit(np.array([1.0, 1.3, 0.8, 1.1, 30.0, 50.0]), np.full(6, 10.0))
    >>> bool(np.all(spoilt.usual < 2.0)), bool(spoilt.weight @ (spoilt.dof > 11.0) > 0.8)
    (True, True)
    """
    if strength.size < 3 or not float(np.median(strength)) > 0.0:
        return KNOWS_NOTHING
    trial = float(np.median(strength)) * np.geomspace(0.05, 3.0, 57)
    ratio = strength / trial[:, None]
    disturbed = np.where((ratio > 1.0) & (ratio < MOST), SPOILT / np.log(MOST), 0.0)
    told = np.empty((len(CHOICES), trial.size))
    for row, shared in enumerate(CHOICES):
        usual = (1.0 - SPOILT) * ratio * np.exp(log_f(ratio, dof, shared))
        told[row] = np.log(usual + disturbed + 1e-300).sum(axis=1)
    whole = logsumexp(told, axis=1)
    # Row by row: next to the likeliest hypothesis the others may be too unlikely for a number, and still have a middle.
    middle = np.exp(np.exp(told - whole[:, None]) @ np.log(trial))
    weight = np.exp(whole - whole.max()) * PRIOR
    known = (1.0 - SPOILT) * float(dof.sum())
    return Habit(middle, np.minimum(np.array(CHOICES), known), weight / weight.sum())


def _log_likelihood(x: Array, d: Array, shared: float) -> float:
    seen = x >= DROWNED
    density = log_f(x[seen], d[seen], shared)
    below = np.log(np.maximum(fdtr(d[~seen], shared, DROWNED), 1e-12))
    # Noise can drown an estimate under any law, so that its chance is never put below one in twenty.
    return float(np.sum(density) + np.sum(np.maximum(below, np.log(0.05))))


def log_f(y: Array, a: Array, b: float) -> Array:
    """Logarithm of the density of F with ``a`` and ``b`` degrees of freedom."""
    return np.asarray(
        gammaln((a + b) / 2)
        - gammaln(a / 2)
        - gammaln(b / 2)
        + a / 2 * np.log(a / b)
        + (a / 2 - 1) * np.log(y)
        - (a + b) / 2 * np.log1p(a * y / b)
    )
