"""Fit a family of templates to a whitened window, under any strength of its slow heel; and how far chance takes that.

A covariance K whose slow part S is made weaker, ``K - (1 - factor) S``, has, whitened by the factor L of K, the inverse
``I + axes diag(gain) axes'`` with ``gain = (1 - factor) share / (1 - (1 - factor) share)``, where ``L^-1 S L^-T = axes
diag(share) axes'`` (the matrix inversion lemma). So one factor of K serves every strength, and an inner product costs
what S has of rank.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg.lapack import dpstrf
from scipy.optimize import brentq
from scipy.special import stdtr

from dsp.types import Array

DROWNED, OF_NOISE = 1e-5, 0.1
"""What is left out of the factor of slow heel, by bin: a share of its own variance, or of that of the bin's noise."""
MOST = 1.0 - 1e-6
"""Share of slow heel in the variance along an axis at most: some is always noise."""


@dataclass(frozen=True)
class Scan:
    """One family of templates, each fitted beside the mean."""

    score: Array
    """(m,) amplitude over its standard uncertainty."""
    amplitude: Array
    """(m,) rad for a template of unit height."""
    walk: float
    """Length of the walk of the normalised templates on the unit sphere, in radians."""


@dataclass(frozen=True)
class Family:
    """A family of templates, whitened, and what of them any strength needs."""

    along: Array
    """(m, r) on the axes of slow heel."""
    own: Array
    """(m,) square of each."""
    neighbour: Array
    """(m - 1,) product of each with the one before."""
    by_ones: Array
    """(m,) product with the whitened constant."""
    by_heel: Array
    """(m,) product with the whitened heel."""


@dataclass(frozen=True)
class AnyStrength:
    """A whitened window whose slow heel can be made weaker."""

    share: Array
    """(r,) of slow heel in the variance along each of its axes."""
    axes: Array
    """(n, r) orthonormal."""
    ones: Array
    """(n,) the constant, whitened."""
    heel: Array
    """(n,) the heel, whitened."""

    @classmethod
    def of(cls, root: Array, ones: Array, heel: Array) -> AnyStrength:
        """Find the axes; ``root`` (n, r) is the whitened `slow_root`."""
        share, turn = np.linalg.eigh(root.T @ root)
        seen = share > DROWNED
        return cls(np.minimum(share[seen], MOST), root @ (turn[:, seen] / np.sqrt(share[seen])), ones, heel)

    def family(self, templates: Array) -> Family:
        """Lay out whitened templates (m, n)."""
        own, neighbour = (
            np.einsum("mn,mn->m", a, b) for a, b in ((templates, templates), (templates[1:], templates[:-1]))
        )
        return Family(templates @ self.axes, own, neighbour, templates @ self.ones, templates @ self.heel)

    @cached_property
    def _level(self) -> tuple[Array, Array, Array]:
        """Constant and heel on the axes (r,), and their products (3,): of ones, of both, of heel."""
        products = np.array([self.ones @ self.ones, self.ones @ self.heel, self.heel @ self.heel])
        return self.ones @ self.axes, self.heel @ self.axes, products

    def scan(self, family: Family, factor: float) -> Scan:
        """Fit each template beside the mean, slow heel made weaker by ``factor``."""
        gain = self._gain(factor)
        ones, heel, _ = self._level
        whole, level, _ = self._products(factor)
        mean = (family.by_ones + family.along @ (gain * ones)) / whole
        both = family.by_heel + family.along @ (gain * heel) - mean * level
        size = np.sqrt(np.maximum(family.own + family.along**2 @ gain - mean**2 * whole, 0.0))
        size = np.maximum(size, 1e-12 * float(size.max(initial=0.0)) + 1e-300)
        inner = family.neighbour + (family.along[1:] * family.along[:-1]) @ gain - mean[1:] * mean[:-1] * whole
        walk = float(np.arccos(np.clip(inner / size[1:] / size[:-1], -1.0, 1.0)).sum())
        return Scan(both / size, both / size**2, walk)

    def largest(self, family: Family, factors: Sequence[float]) -> Array:
        """Largest |score| (f,) of a family for each of several factors, as `scan` finds them one by one."""
        ones, heel, _ = self._level
        gain = np.stack([self._gain(factor) for factor in factors], axis=1)
        whole, level, _ = np.stack([self._products(factor) for factor in factors], axis=1)
        mean = (family.by_ones[:, None] + family.along @ (gain * ones[:, None])) / whole
        both = family.by_heel[:, None] + family.along @ (gain * heel[:, None]) - mean * level
        square = family.own[:, None] + family.along**2 @ gain - mean**2 * whole
        least = np.maximum(1e-24 * square.max(axis=0, initial=0.0), 1e-300)
        return np.asarray(np.max(np.abs(both) / np.sqrt(np.maximum(square, least)), axis=0))

    def log_likelihood(self, factor: float) -> float:
        """Restricted log likelihood of ``factor``, but for a constant."""
        whole, level, heel = self._products(factor)
        rest = heel - level**2 / whole
        return float(-0.5 * (np.log1p(-(1.0 - factor) * self.share).sum() + np.log(whole) + rest))

    def _gain(self, factor: float) -> Array:
        less = (1.0 - factor) * self.share
        return np.asarray(less / (1.0 - less))

    def _products(self, factor: float) -> Array:
        """(3,) products of the constant with itself, of both, of the heel with itself."""
        ones, heel, own = self._level
        return np.asarray(own + np.stack([ones * ones, ones * heel, heel * heel]) @ self._gain(factor))


def slow_root(slow: Array, noise: float = 0.0) -> Array:
    """Return R (n, r) with R R' the covariance ``slow`` (n, n), what drowns left out (pivoted Cholesky, LAPACK dpstrf).

    Parameters
    ----------
    noise : rad2, variance of each bin beside it that is independent of the others.

    >>> root = slow_root(np.ones((4, 4)))
    >>> root.shape, bool(np.allclose(root @ root.T, 1.0))
    ((4, 1), True)
    """
    tolerance = max(DROWNED * float(np.max(np.diag(slow))), OF_NOISE * noise, 1e-300)
    factor, pivot, rank, _ = dpstrf(slow, tol=tolerance, lower=1)
    root = np.zeros((slow.shape[0], rank))
    root[pivot - 1] = np.tril(factor[:, :rank])
    return root


def scan_limit(scans: Sequence[Scan], false_alarm: float, dof: float) -> float:
    """Limit on the largest |score| of several families that a clean window passes with ``false_alarm``.

    For a process of unit variance along a curve of length L on the sphere, P(max > u) is at most
    ``Q(u) + L / (2 pi) exp(-u^2 / 2)``; with the scale known to ``dof`` the two terms become Student's tail and
    ``L / (2 pi) (1 + u^2 / dof)^(-dof / 2)`` (the expectation over the scale). Two-sided, summed over families; never
    more than Bonferroni's sum over the templates.

    References
    ----------
    H. Hotelling, Tubes and spheres in n-spaces, Amer. J. Math. 61 (1939) 440-460; R. B. Davies, Hypothesis testing when
    a nuisance parameter is present only under the alternative, Biometrika 74 (1987) 33-43.

    Example
    -------
    >>> one = Scan(np.zeros(1), np.zeros(1), 0.0)
    >>> round(scan_limit([one], 0.05, 1e6), 2)
    1.96
    """

    return float(brentq(lambda u: scan_chance(scans, u, dof) - false_alarm, 0.0, 1e4))


def scan_chance(scans: Sequence[Scan], score: float, dof: float) -> float:
    """Bound on the probability that a clean window's largest |score| passes this one; `scan_limit` turned round."""
    tail = float(stdtr(dof, -score))
    along = float((1.0 + score * score / dof) ** (-dof / 2.0)) / (2.0 * np.pi)
    return sum(2.0 * min(tail + s.walk * along, s.score.size * tail) for s in scans)


__all__ = ["AnyStrength", "Family", "Scan", "scan_chance", "scan_limit", "slow_root"]
