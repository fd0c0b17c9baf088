"""Several windows spoilt by one and the same thing: one unknown size, not a shift for each of them.

A line that is made fast once, or a fender that she leans on, adds its stiffness in every window in which it is tight,
and takes the same share of the heel in all of them; a crew that stands on the low side adds the same moment
(`docs/method-gm.md`, section 3). Shifts that agree so well do not come about by chance. Without this question four
windows of nine that were held alike look like two others that lie apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from reduction.gm.consistency.restraint import pulled
from reduction.gm.consistency.values import Array, Sets, Windows

PRIOR_ALIKE = {"held": 0.02, "moved": 0.04}
"""Judgement: for each day on which windows are held, or shifted otherwise, each by itself, so many on which all of
them have one cause. The same crew on the low side again and again is the commoner of the two."""
MOST_ALIKE = 4
"""Windows of a set, at most, of which that is asked: half of those that an ordinary day heels."""
LARGEST_SHARE = 0.1
"""Of the heel that is taken away; even up to that beforehand, as the shift of a single window is."""
NEVER = -1e3
"""Logarithm of a probability of nothing."""


@dataclass(frozen=True)
class OneSize:
    """Shifts that are one unknown size times a pattern, the others of a set each by itself."""

    log_density: Array
    """(N,) of the shifts, read as the product of as many densities as there are windows, that of the size left out."""
    size: Array
    """(N,) the likeliest."""
    u: Array
    """(N,) its standard uncertainty."""


@dataclass(frozen=True)
class Laid:
    """One size laid through the shifts of each set."""

    turned: Array
    """(N, k) W pattern, W the inverse covariance of the shifts."""
    own: Array
    """(N, k) diagonal of W."""
    pull: Array
    """(N, k) W shift."""
    know: Array
    """(N,) pattern' W pattern."""
    cross: Array
    """(N,) pattern' W shift."""
    whole: Array
    """(N,) shift' W shift."""
    log_det: Array
    """(N,) log |W|."""

    @classmethod
    def of(cls, pattern: Array, block: Array, shift: Array, pull: Array, log_det: Array) -> Laid:
        """Lay it.

        Parameters
        ----------
        pattern : (N, k) shift of each window for a size of 1.
        block : (N, k, k) inverse covariance W of the shifts (N, k); ``pull`` (N, k) is W shift, ``log_det`` (N,).
        """
        turned = np.matmul(block, pattern[:, :, None])[:, :, 0]
        know, cross, whole = (
            np.einsum("ni,ni->n", x, y) for x, y in ((pattern, turned), (pattern, pull), (shift, pull))
        )
        return cls(turned, np.einsum("nii->ni", block), pull, know, cross, whole, log_det)

    def every(self) -> OneSize:
        """All shifts of a set have the one cause; arrays (N,).

        With B the covariance of the a shifts s, d their pattern, u^-2 = d' B^-1 d and x = u^2 d' B^-1 s the integral
        over the size of the normal density of s about x d is, times the density p(x) beforehand,

            exp(-(s' B^-1 s - (x / u)^2) / 2) (2 pi)^((1 - a) / 2) u |B|^(-1/2).
        """
        return _of(self.know, self.cross, self.whole, self.log_det, self.own.shape[1])

    def but_one(self) -> OneSize:
        """All but the i-th; arrays (N, k).

        Without it W' = W - W_i W_i' / W_ii, so that nothing is inverted again.
        """
        return _of(
            self.know[:, None] - self.turned**2 / self.own,
            self.cross[:, None] - self.turned * self.pull / self.own,
            self.whole[:, None] - self.pull**2 / self.own,
            self.log_det[:, None] - np.log(self.own),
            self.own.shape[1] - 1,
        )


def _of(know: Array, cross: Array, whole: Array, log_det: Array, count: int) -> OneSize:
    know = np.maximum(know, 1e-300)
    size, u = cross / know, know**-0.5
    rest = np.maximum(whole - cross * size, 0.0)
    log_density = -0.5 * rest + np.log(u) - 0.5 * (count - 1) * np.log(2.0 * np.pi) + 0.5 * log_det
    return OneSize(log_density, size, u)


def _of_share(one: OneSize) -> Array:
    """Log density where the size is a share of the heel that is taken away."""
    return np.asarray(one.log_density + np.log(np.maximum(ndtr(one.size / one.u), 1e-300) / LARGEST_SHARE))


@dataclass(frozen=True)
class HeldAlike:
    """Log densities of the shifts of sets if windows are held by one share of their heel."""

    every: Array
    """(N,) all of them."""
    but_one: Array
    """(N, k) all but one."""
    near: NDArray[np.bool_]
    """(N, k) windows that nothing heels, where a share is nothing."""

    @classmethod
    def of(cls, windows: Windows, sets: Sets, block: Array, shift: Array, pull: Array, log_det: Array) -> HeldAlike:
        """Weigh sets of at least two windows; arguments as for `Laid.of`."""
        arm, near = pulled(windows)
        laid = Laid.of(np.where(near, 1.0, arm)[sets], block, shift, pull, log_det)
        but_one = _of_share(laid.but_one()) if sets.shape[1] > 2 else np.full(sets.shape, NEVER)
        return cls(_of_share(laid.every()), but_one, near[sets])

    def log_density(self, log_held: Array, by_other: Array) -> Array:
        """(N,) to be read as the sum of the log densities of the shifts.

        Parameters
        ----------
        log_held : (N, k) log probability beforehand that each window is held.
        by_other : (N, k) log density of each window's shift for any other reason.
        """
        held = np.where(self.near, NEVER, log_held)
        whole = held.sum(axis=1)
        one_other = np.logaddexp.reduce(self.but_one + by_other - held, axis=1)
        return np.asarray(whole + np.logaddexp(self.every, one_other))


def moved_alike(
    windows: Windows, sets: Sets, block: Array, shift: Array, pull: Array, log_det: Array, span: Array
) -> Array:
    """Log density (N,) of the shifts of each set if one moment went with her to whichever side she was heeled.

    Its size log-even. (One to one side throughout, in some windows and not in others, would have to come and go again
    and again; a change of her list is weighed by itself.)

    Parameters
    ----------
    span : (N,) logarithm of the largest over the smallest size thought of.
    """
    arm, near = pulled(windows)
    sides = np.where(near, 0.0, np.sign(arm))[sets]
    both = (sides != 0.0).all(axis=1) & (np.ptp(sides, axis=1) > 0.0)
    one = Laid.of(sides, block, shift, pull, log_det).every()
    log_density = one.log_density - np.log(np.maximum(np.abs(one.size), one.u)) - np.log(2.0 * span)
    return np.asarray(np.where(both, log_density, NEVER))
