"""Did her list change in the course of the day, at once or little by little?

Liquid that runs over, a load or people who shift and stay, a valve that leaks: the list changes, not GM, and windows
before and after it lie on curves a heel apart. That is one more column in the linear model, and every set of windows
can be weighed beside it as without it (docs/method-gm.md, section 3).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.linear import Linear
from reduction.gm.consistency.rivals import all_clean
from reduction.gm.consistency.sets import FEWEST_BESIDE, PLAUSIBLE_SHIFT, Weighed, weigh_all
from reduction.gm.consistency.values import Array, Windows
from reduction.types import ListChange

PRIOR_SUDDEN, PRIOR_CREEP = 0.1, 0.05
"""Judgement: odds that the list of a vessel changes in the course of a test, unseen: at once, even over the places
between windows; or evenly from the first window to the last."""
FULLY = 3
"""Changes beside which every set of windows is weighed; chosen by what sets of at most one window say."""
SURE = 20.0
"""Odds from which a change of list is believed although all windows agree without."""


@dataclass(frozen=True)
class Changed:
    """One change of list, with the sets of windows weighed beside it."""

    change: ListChange
    """As all windows together have it."""
    odds: float
    """Beforehand."""
    levels: tuple[Weighed, ...]
    """By number of windows left out, odds and density of the change counted."""

    @property
    def log_weight(self) -> float:
        """Of all sets together."""
        return float(logsumexp(np.concatenate([level.log_weight for level in self.levels])))


def list_changes(windows: Windows, linear: Linear, most: int) -> list[Changed]:
    """Weigh every change of list that is thought of.

    Parameters
    ----------
    windows, linear : as the sets are weighed.
    most : windows that may be left out; with 0 only all windows together are weighed.
    """
    if windows.list_u.any():
        return []
    thought = list(_thought_of(windows.time))
    found = [one for when, odds in thought if (one := _weighed(windows, linear, when, odds, min(most, 1)))]
    found.sort(key=lambda one: -one.log_weight)
    again = [_weighed(windows, linear, one.change, one.odds, most) for one in found[:FULLY]] if most > 1 else []
    return [one for one in again if one] + found[len(again) :]


def sure_of(one: Changed, windows: Windows, linear: Linear) -> bool:
    """Whether all windows beside a change of list are by far likelier than all windows without.

    The scale of their covariance is known to a few degrees of freedom only, so that likelihoods are Student's.
    """
    free, dof = windows.heel.size - 2, windows.law_dof
    alone, beside = linear.chi2, max(linear.chi2 - (one.change.size / one.change.u) ** 2, 0.0)
    law = [-0.5 * (dof + n) * np.log1p(chi2 / dof) for n, chi2 in ((free, alone), (free - 1, beside))]
    worth = float(one.levels[0].log_weight[0]) + 0.5 * beside - all_clean(windows)
    return bool(worth + law[1] - law[0] > np.log(SURE))


def without(windows: Windows, change: ListChange) -> Windows:
    """Take a change of list off the heels and leave its size free."""
    share = change.share(windows.time)
    return replace(windows, heel=windows.heel - change.size * share, list_u=change.left_free(share))


def size_of(windows: Windows, linear: Linear, change: ListChange) -> ListChange:
    """Return the change as the windows at hand have it; ``linear`` of them, the change neither taken off nor free."""
    _, size, u = _column(linear, change.share(windows.time))
    return replace(change, size=size, u=u)


def _thought_of(time: Array) -> Iterator[tuple[ListChange, float]]:
    count = time.size
    places = range(FEWEST_BESIDE, count - FEWEST_BESIDE + 1)
    for place in places:
        at = 0.5 * (float(time[place - 1]) + float(time[place]))
        yield ListChange(at, at, 0.0, 0.0), PRIOR_SUDDEN / len(places)
    if count > 2 * FEWEST_BESIDE:
        yield ListChange(float(time[0]), float(time[-1]), 0.0, 0.0), PRIOR_CREEP


def _column(linear: Linear, share: Array) -> tuple[Array, float, float]:
    """Column of a change seen by the projector (n,), its size (rad) and standard uncertainty; infinite where none."""
    # A change of heel is minus stiffness times that of arm.
    column = -linear.stiffness * share
    pulled = linear.projector @ column
    known = float(column @ pulled)
    if known <= 1e-9 * float(column @ (np.diag(linear.projector) * column)):
        return pulled, 0.0, float("inf")
    return pulled, float(column @ linear.pull) / known, known**-0.5


def _weighed(windows: Windows, linear: Linear, when: ListChange, odds: float, most: int) -> Changed | None:
    share = when.share(windows.time)
    pulled, size, u = _column(linear, share)
    if not np.isfinite(u):
        return None
    lever = linear.gain @ (-linear.stiffness * share)
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
    worth = float(np.log(odds * density * np.sqrt(2.0 * np.pi) * u))
    levels = tuple(
        replace(one, by_hypothesis=one.by_hypothesis + worth) for one in weigh_all(windows, beside, most, beside=share)
    )
    return Changed(replace(when, size=size, u=u), odds, levels) if levels else None
