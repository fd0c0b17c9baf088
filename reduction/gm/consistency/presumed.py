"""Sets of windows left out, weighed beside scatter of all windows.

What makes windows scatter (`scatter`) is there on days on which a line came tight as on others. With their own
covariance taken for the whole truth a clean window that slow heel took four standard uncertainties away is "spoilt" as
soon as others are, since one is looked for. So each set is weighed with scatter of several sizes, and what it is worth
is the average (docs/method-gm.md, section 3).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import logsumexp

from reduction.gm.consistency.linear import Linear, agrees, linearise, normaliser
from reduction.gm.consistency.sets import Weighed, weigh_again
from reduction.gm.consistency.values import Array, Sets, Windows
from reduction.gm.curve import Form

RATIOS = np.array([0.0, 0.5, 1.0, 2.0])
"""Standard deviations of the scatter over the windows' own that are tried."""
PRIOR = np.array([0.9, 0.04, 0.035, 0.025])
"""Judgement: of ten days on which windows were spoilt one has scatter as well. (Scatter alone is a rival of all sets;
more than twice their own, and windows that were spoilt are hardly to be told from it.)"""


@dataclass(frozen=True)
class Averaged:
    """Sets of one size with what each is worth, on average over the scatter that windows may have besides."""

    each: tuple[Weighed, ...]
    """The same sets with scatter of each size."""
    ratios: Array
    """(r,) standard deviations of the scatter over the windows' own."""
    size: float
    """rad2, the windows' own middle variance."""
    beforehand: Array
    """(r,) logarithm of what is thought of each, with that of the density of the windows over the density without."""

    @property
    def sets(self) -> Sets:
        """(N, k) window numbers left out."""
        return self.each[0].sets

    @cached_property
    def by_hypothesis(self) -> Array:
        """(N, h) log weight under each hypothesis of restraint."""
        worth = np.array([one.by_hypothesis for one in self.each]) + self.beforehand[:, None, None]
        return np.asarray(logsumexp(worth, axis=0))

    @cached_property
    def log_weight(self) -> Array:
        """(N,) under all hypotheses together."""
        return np.asarray(logsumexp(self.by_hypothesis, axis=1))

    def log_weight_if(self, share: float) -> Array:
        """(N,) the same if such a share of windows is shifted unseen."""
        worth = np.array([one.log_weight_if(share) for one in self.each]) + self.beforehand[:, None]
        return np.asarray(logsumexp(worth, axis=0))

    @cached_property
    def gm(self) -> Array:
        """(N,) m, of the rest."""
        return np.asarray(np.sum(self._share * np.array([one.gm for one in self.each]), axis=0))

    def presumed(self, row: int) -> float:
        """Variance (rad2) that the windows have besides their own if that set is left out.

        That of the mean weight ``1 / (1 + ratio^2)``, so that scatter that is hardly to be believed does not count for
        what it would be.
        """
        return self.size * (1.0 / float(self._share[:, row] @ (1.0 / (1.0 + self.ratios**2))) - 1.0)

    @cached_property
    def _share(self) -> Array:
        worth = np.array([one.log_weight for one in self.each]) + self.beforehand[:, None]
        return np.asarray(np.exp(worth - logsumexp(worth, axis=0)))


def beside_scatter(
    windows: Windows, form: Form, start: tuple[float, float], linear: Linear, levels: Sequence[Weighed]
) -> list[Averaged]:
    """Weigh the sets of ``levels`` with scatter of every size.

    Parameters
    ----------
    windows, linear : by which ``levels`` were weighed, without scatter.
    form, start : of the hull; GM and TCG (m) about which the curve was made linear.
    """
    size = windows.middle_variance(linear.stiffness)
    each, beforehand = [list(levels)], [np.log(PRIOR[0])]
    for ratio, prior in zip(RATIOS[1:], PRIOR[1:], strict=True):
        wider = replace(windows, presumed=float(ratio) ** 2 * size)
        model = linearise(wider, form, start)
        each.append(weigh_again(wider, model, levels))
        beforehand.append(np.log(prior) + normaliser(wider, model) - normaliser(windows, linear))
    worth = np.array(beforehand)
    return [
        Averaged((levels[0],), np.zeros(1), size, np.zeros(1)),  # all windows with scatter are a rival of their own
        *(Averaged(same, RATIOS, size, worth) for same in zip(*(level[1:] for level in each), strict=True)),
    ]


Levels = Sequence[Weighed] | Sequence[Averaged]
"""Sets of windows left out, by their number."""


@dataclass(frozen=True)
class Judged:
    """Windows, with scatter that they are presumed to have, and their linear model."""

    windows: Windows
    linear: Linear
    form: Form
    start: tuple[float, float]

    def beside(self, levels: Levels, left_out: Sequence[int]) -> Judged:
        """Presume the scatter that they have if such windows are left out."""
        level = levels[len(left_out)]
        presumed = level.presumed(row_of(level, left_out))
        if presumed == self.windows.presumed:
            return self
        windows = replace(self.windows, presumed=presumed)
        return replace(self, windows=windows, linear=linearise(windows, self.form, self.start))

    def agree(self, left_out: Sequence[int] = ()) -> bool:
        """Whether those not left out agree."""
        return agrees(self.windows, self.linear, tuple(left_out))


def row_of(level: Weighed | Averaged, left_out: Sequence[int]) -> int:
    """Place of a set among those of its size."""
    return int(np.flatnonzero((level.sets == np.asarray(left_out, dtype=np.intp)).all(axis=1))[0])
