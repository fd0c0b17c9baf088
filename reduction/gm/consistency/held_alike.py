"""Several windows held by one and the same thing: one stiffness, not a shift for each of them.

A line that is made fast once, or a fender that she leans on, adds its stiffness in every window in which it is tight,
and takes the same share of the heel in all of them (`docs/method-gm.md`, section 3). Shifts that agree so well do not
come about by chance; without this question four windows of nine that were held alike look like two others that lie
apart.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from reduction.gm.consistency.restraint import pulled
from reduction.gm.consistency.values import Array, Sets, Windows

PRIOR_ALIKE = 0.5
"""Judgement: of windows held by contact or a line, as often alike as each by itself."""
LARGEST_SHARE = 0.1
"""Of the heel that is taken away; even up to that beforehand, as the shift of a single window is."""

NEVER = -1e3
"""Logarithm of a probability of nothing."""


def alike(windows: Windows, sets: Sets, shift: Array, inverse: Array, log_held: Array, by_other: Array) -> Array:
    """Log density of the shifts of each set if all its windows, or all but one, are held alike; (N,).

    Parameters
    ----------
    sets : (N, k) window numbers, k at least 2.
    shift : (N, k) m of arm, of each window of a set; ``inverse`` (N, k, k) its covariance.
    log_held : (N, k) log probability beforehand that each window is held.
    by_other : (N, k) log density of each window's shift for any other reason.

    Returns
    -------
    (N,) to be read as the sum of ``k`` log densities of shifts, each by itself.

    Notes
    -----
    Shifts s with covariance B that are ``share * pull`` in the windows A, each its own in the others: integrated over
    the share, with the reading of Gaussians,

        exp(-rest / 2) (2 pi)^(1/2) u / ((2 pi)^(a/2) det(B_AA)^(1/2)) p(share),
        share = d' B_AA^-1 s_A / (d' B_AA^-1 d),  u = (d' B_AA^-1 d)^(-1/2),  rest = s_A' B_AA^-1 s_A - (share / u)^2

    takes the place of the product of densities, where ``exp(-chi2 / 2) (2 pi)^(k/2) det(B)^(1/2)`` stands before it.
    """
    pull, near = pulled(windows)
    # Where nothing heels her a share of it is nothing.
    log_held = np.where(near[sets], NEVER, log_held)
    pull, size = np.where(near, 1.0, pull)[sets], sets.shape[1]
    every = _of(pull, shift, inverse) + log_held.sum(axis=1)
    found = [every]
    for one in range(size if size > 2 else 0):
        rest = np.arange(size) != one
        part = _of(pull[:, rest], shift[:, rest], inverse[:, rest][:, :, rest])
        found.append(part + log_held[:, rest].sum(axis=1) + by_other[:, one])
    return np.asarray(np.logaddexp.reduce(found))


def _of(pull: Array, shift: Array, covariance: Array) -> Array:
    """Log density (N,) of shifts (N, a) that are one share of the pulls (N, a)."""
    weight = np.linalg.inv(covariance)
    know = np.einsum("ni,nij,nj->n", pull, weight, pull)
    know = np.maximum(know, 1e-300)
    share = np.einsum("ni,nij,nj->n", pull, weight, shift) / know
    rest = np.einsum("ni,nij,nj->n", shift, weight, shift) - share**2 * know
    u = know**-0.5
    inside = np.maximum(ndtr(share / u), 1e-300)
    density = np.log(inside / LARGEST_SHARE)
    rest = np.maximum(rest, 0.0)
    log_det = np.linalg.slogdet(covariance)[1]
    return np.asarray(
        -0.5 * rest + np.log(u) - 0.5 * (shift.shape[1] - 1) * np.log(2.0 * np.pi) - 0.5 * log_det + density
    )
