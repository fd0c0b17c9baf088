"""Did her list change for good between two windows, so that every window after it reads from another upright?

Liquid that runs over, a load or people who shift and stay change the list, not GM: the windows before and after lie on
two curves a constant heel apart. That is one more column in the linear model, and every set of windows can be weighed
beside it as without it (docs/method-gm.md, section 3).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.linear import Linear
from reduction.gm.consistency.rivals import all_clean
from reduction.gm.consistency.sets import FEWEST_BESIDE, PLAUSIBLE_SHIFT, Weighed, weigh_all
from reduction.gm.consistency.values import Array, Windows

PRIOR_STEP = 0.1
"""Judgement: odds that the list of a vessel changes for good in the course of a test, unseen; even over the places."""
FULLY = 3
"""Places at which every set of windows is weighed; chosen by what sets of at most one window say."""
SURE = 20.0
"""Odds from which a change of list is believed although all windows agree without."""
FREE = 100.0
"""A change is left free by giving it so many times its standard uncertainty beforehand."""


@dataclass(frozen=True)
class Step:
    """A change of list at one place, with the sets of windows weighed beside it."""

    place: int
    """The first window after it."""
    size: float
    """rad, no window left out."""
    u: float
    """rad."""
    levels: tuple[Weighed, ...]
    """By number of windows left out, prior and density of the change counted."""

    @property
    def log_weight(self) -> float:
        """Of all sets together."""
        return float(logsumexp(np.concatenate([level.log_weight for level in self.levels])))


def steps_of(windows: Windows, linear: Linear, most: int) -> list[Step]:
    """Weigh a change of list at every place.

    Parameters
    ----------
    windows, linear : as the sets are weighed.
    most : windows that may be left out; with 0 only all windows together are weighed.
    """
    if windows.list_u.any():
        return []
    places = range(FEWEST_BESIDE, windows.heel.size - FEWEST_BESIDE + 1)
    found = [step for place in places if (step := _step_at(windows, linear, place, min(most, 1), len(places)))]
    best = sorted(found, key=lambda one: -one.log_weight)[:FULLY] if most > 1 else []
    full = [_step_at(windows, linear, one.place, most, len(places)) for one in best]
    return [one for one in full if one] + [one for one in found if one.place not in {b.place for b in best}]


def sure_of(step: Step, windows: Windows, linear: Linear) -> bool:
    """Whether all windows beside a change of list are by far likelier than all windows without.

    The scale of their covariance is known to a few degrees of freedom only, so that likelihoods are Student's.
    """
    free, dof = windows.heel.size - 2, windows.law_dof
    alone, beside = linear.chi2, max(linear.chi2 - (step.size / step.u) ** 2, 0.0)
    law = [-0.5 * (dof + n) * np.log1p(chi2 / dof) for n, chi2 in ((free, alone), (free - 1, beside))]
    worth = float(step.levels[0].log_weight[0]) + 0.5 * beside - all_clean(windows)
    return bool(worth + law[1] - law[0] > np.log(SURE))


def without(windows: Windows, step: Step) -> Windows:
    """Take a change of list off the heels after it and leave its size free."""
    after = (np.arange(windows.heel.size) >= step.place).astype(np.float64)
    return replace(windows, heel=windows.heel - step.size * after, list_u=FREE * step.u * after)


def size_of(windows: Windows, linear: Linear, place: int) -> tuple[float, float]:
    """Change of list (rad) at a place by the windows at hand, and its standard uncertainty; infinite where none tells.

    Parameters
    ----------
    windows, linear : the change not taken off and not free.
    """
    _, size, u = _column(windows, linear, place)
    return size, u


def _column(windows: Windows, linear: Linear, place: int) -> tuple[Array, float, float]:
    # A change of heel is minus stiffness times that of arm.
    column = -linear.stiffness * (np.arange(windows.heel.size) >= place)
    pulled = linear.projector @ column
    known = float(column @ pulled)
    if known <= 1e-9 * float(column @ (np.diag(linear.projector) * column)):
        return pulled, 0.0, float("inf")
    return pulled, float(column @ linear.pull) / known, known**-0.5


def _step_at(windows: Windows, linear: Linear, place: int, most: int, places: int) -> Step | None:
    pulled, size, u = _column(windows, linear, place)
    if not np.isfinite(u):
        return None
    column = -linear.stiffness * (np.arange(windows.heel.size) >= place)
    lever = linear.gain @ column
    beside = Linear(
        linear.projector - np.outer(pulled, pulled) * u**2,
        linear.pull - pulled * size,
        linear.chi2 - (size / u) ** 2,
        linear.gain - np.outer(lever, pulled) * u**2,
        linear.beta - lever * size,
        linear.stiffness,
    )
    own = float(np.median(np.sqrt(np.diag(windows.covariance))))
    reach = max(PLAUSIBLE_SHIFT * 0.5 * float(np.ptp(windows.heel)), 10.0 * own)
    # As for a shifted window: even in the logarithm from a window's own uncertainty up to the reach, either way.
    density = 1.0 / (2.0 * max(abs(size), u) * np.log(reach / own))
    worth = float(np.log(PRIOR_STEP / places * density * np.sqrt(2.0 * np.pi) * u))
    levels = tuple(
        replace(one, log_weight=one.log_weight + worth, by_hypothesis=one.by_hypothesis + worth)
        for one in weigh_all(windows, beside, most, step_at=place)
    )
    return Step(place, size, u, levels) if levels else None
