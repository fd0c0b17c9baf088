"""Fit the day's low-frequency spectrum and the wind coefficient by restricted maximum likelihood.

Every stretch of the record in which nothing moves gives what it has below the roll: its projections on cosines that
complete fewer cycles than the roll, made orthogonal to the stretch's own mean and to a decaying roll. Those contrasts
are free of the mean, so that their likelihood is the restricted one; the spectrum at the nodes enters linearly, and
Fisher scoring finds it with its covariance (docs/method-heel.md, section 5).

References
----------
H. D. Patterson and R. Thompson, Recovery of inter-block information when block sizes are unequal, Biometrika 58 (1971)
545-554. D. A. Harville, Maximum likelihood approaches to variance component estimation, JASA 72 (1977) 320-338.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_solve, solve_triangular

from dsp.alike import shared_dof
from dsp.contrast import Band, Contrast
from dsp.factor import sound_factor
from dsp.motion import NODE_RATIO, Hats
from dsp.types import Array

ROUGHNESS = 0.7
"""Prior standard deviation of the change of log density from node to node (a factor 2 within a factor 1.6)."""


SLOW, SLOW_AIR = 0.7, 3.0
"""The same below the frequencies a stretch can show, relative to that: spectra of moored vessels level off there, but
where the wind is not measured the slow change of the air may stand out. A wander of first order rises by a factor 9
from node to node there, which is to be nothing unusual: ``0.7 * 3 * sqrt(ln 3 / ln 1.6)`` is 3.2, ``ln 9`` 2.2."""


@dataclass(frozen=True)
class Known:
    """What is known before the day's low-frequency heel is fitted."""

    coefficient_u: Array
    """(r,) rad per unit of each wind regressor, standard uncertainty about nought; r = 0 without wind."""
    slow: float
    """Roughness of the spectrum below what a stretch can show, relative to `ROUGHNESS`."""
    unlike: Array
    """(p,) (m/s)^4/Hz at the nodes: gusts that hull and mast do not have in common; zeros without wind."""


@dataclass(frozen=True)
class LowFit:
    """The day's low-frequency heel."""

    hats: Hats
    log_density: Array
    """(p,) of rad2/Hz, of what is free."""
    gusts: Array
    """(p,) rad2/Hz of gusts at the hull that the mast does not see: coefficient squared times ``Known.unlike``."""
    covariance: Array
    """(p, p) of ``log_density``; nought for the nodes above the low ones."""
    coefficient: Array
    """(r,) rad per unit of each wind regressor."""
    coefficient_covariance: Array
    """(r, r)."""
    scale: Array
    """(k,) variance of each stretch over the day's, by itself."""
    scale_dof: Array
    """(k,)."""
    shared_dof: float
    """Degrees of freedom of the spread of ``scale`` between stretches: large means one day, one scale."""
    log_likelihood: float

    @property
    def density(self) -> Array:
        """(p,) rad2/Hz, gusts included."""
        return np.asarray(self.free + self.gusts)

    @property
    def free(self) -> Array:
        """(p,) rad2/Hz, what was fitted freely."""
        return np.asarray(np.exp(self.log_density))

    def shrunk(self, k: int) -> tuple[float, float]:
        """Return scale of stretch ``k`` drawn towards the day's, and its degrees of freedom."""
        return shrunk(float(self.scale[k]), float(self.scale_dof[k]), self.shared_dof)


def shrunk(scale: float, dof: float, shared: float) -> tuple[float, float]:
    """Draw one stretch's scale towards 1 with the weight of ``shared`` degrees of freedom (inverse-gamma prior)."""
    return (shared + dof * scale) / (shared + dof), shared + dof


def fit(hats: Hats, contrasts: list[Contrast], start: Array, known: Known) -> LowFit:
    """Find log density at the nodes, wind coefficient and each stretch's scale.

    Parameters
    ----------
    contrasts : one for each stretch; empty ones are carried along with scale 1 and no degrees of freedom.
    start : (p,) rad2/Hz to start from; above the low nodes it stays.
    known : before the day.
    """
    nodes = hats.low
    apart = np.sqrt(np.diff(np.log(hats.node[:nodes])) / np.log(NODE_RATIO))
    difference = np.diff(np.eye(nodes), axis=0) / (ROUGHNESS * np.where(apart > 1.25, known.slow, 1.0) * apart)[:, None]
    prior = difference.T @ difference
    anchor = 0.01
    theta0 = np.log(np.maximum(start[:nodes], 1e-18))
    level = float(np.mean(theta0))
    theta = theta0.copy()
    scale, dof, shared = np.ones(len(contrasts)), np.zeros(len(contrasts)), 1e4
    regressors = known.coefficient_u.size
    coefficient, coefficient_covariance = np.zeros(regressors), np.zeros((regressors, regressors))
    likelihood, information = 0.0, np.zeros((nodes, nodes))
    gusts = np.zeros(hats.node.size)
    for _ in range(5):
        used = np.array([shrunk(float(s), float(d), shared)[0] for s, d in zip(scale, dof, strict=True)])
        damping = 1e-3
        current = _evaluate(theta, contrasts, used, gusts[:nodes], known)
        value = current.likelihood - _penalty(theta, prior, anchor, level)
        for _ in range(25):
            gradient = current.score - prior @ theta - anchor * (theta - level)
            curvature = current.information + prior + anchor * np.eye(nodes)
            step = np.linalg.solve(curvature + damping * np.diag(np.diag(curvature)), gradient)
            step = step * min(1.0, 1.5 / max(float(np.max(np.abs(step))), 1e-12))
            trial = _evaluate(theta + step, contrasts, used, gusts[:nodes], known)
            trial_value = trial.likelihood - _penalty(theta + step, prior, anchor, level)
            if trial_value >= value - 1e-9:
                moved = float(np.max(np.abs(step)))
                theta, current, value, damping = theta + step, trial, trial_value, damping * 0.3
                if moved < 0.01:
                    break
            else:
                damping = max(damping * 10.0, 0.01)
                if damping > 1e6:
                    break
        coefficient, coefficient_covariance = current.coefficient, current.coefficient_covariance
        likelihood, information = current.likelihood, current.information
        before, blown = shared, gusts
        if regressors:
            gusts = max(float(coefficient[0] ** 2 - coefficient_covariance[0, 0]), 0.0) * known.unlike
        scale, dof = _scales(np.exp(theta) + gusts[:nodes], contrasts, coefficient)
        shared = shared_dof(scale, dof)
        if shared == before and bool(np.all(np.abs(gusts - blown) <= 0.05 * np.abs(gusts))):
            break
    covariance = np.zeros((hats.node.size, hats.node.size))
    covariance[:nodes, :nodes] = np.linalg.inv(information + prior + anchor * np.eye(nodes))
    whole = np.concatenate([theta, np.log(np.maximum(start[nodes:], 1e-30))])
    return LowFit(hats, whole, gusts, covariance, coefficient, coefficient_covariance, scale, dof, shared, likelihood)


def _penalty(theta: Array, prior: Array, anchor: float, level: float) -> float:
    return 0.5 * float(theta @ prior @ theta + anchor * np.sum((theta - level) ** 2))


@dataclass(frozen=True)
class _State:
    likelihood: float
    score: Array
    information: Array
    coefficient: Array
    coefficient_covariance: Array


def _evaluate(theta: Array, contrasts: list[Contrast], scale: Array, gusts: Array, known: Known) -> _State:
    nodes = theta.size
    density = np.exp(np.clip(theta, -60.0, 30.0))
    regressors = known.coefficient_u.size
    coefficient_prior = known.coefficient_u
    normal, right = np.diag(coefficient_prior**-2.0), np.zeros(regressors)
    made: list[tuple[Band, float, tuple[Array, bool]]] = []
    for one, s in zip(contrasts, scale, strict=True):
        for band in one.bands:
            factor = sound_factor(s * np.tensordot(density + gusts, band.hats, axes=1) + band.fixed)
            made.append((band, float(s), factor))
            if regressors:
                turned = cho_solve(factor, band.pressure, check_finite=False)
                normal += band.pressure.T @ turned
                right += turned.T @ band.value
    coefficient, coefficient_covariance = np.zeros(regressors), np.zeros((regressors, regressors))
    if regressors:
        size = np.sqrt(np.maximum(np.diag(normal), 1e-300))
        scaled = normal / size / size[:, None] + 1e-10 * np.eye(regressors)
        coefficient_covariance = np.linalg.inv(scaled) / size / size[:, None]
        coefficient = coefficient_covariance @ right
    likelihood = -0.5 * float(np.sum((coefficient / coefficient_prior) ** 2))
    score, information = np.zeros(nodes), np.zeros((nodes, nodes))
    for band, s, factor in made:
        rest = band.value - band.pressure @ coefficient
        turned = cho_solve(factor, rest, check_finite=False)
        likelihood -= 0.5 * float(rest @ turned) + float(np.sum(np.log(np.diag(factor[0]))))
        inverse = cho_solve(factor, np.eye(band.value.size), check_finite=False)
        weighted = (s * density)[:, None, None] * band.hats
        product = np.matmul(inverse, weighted)
        flat = product.reshape(nodes, -1)
        score += 0.5 * (np.einsum("i,pij,j->p", turned, weighted, turned) - np.einsum("pii->p", product))
        information += 0.5 * (flat @ product.transpose(0, 2, 1).reshape(nodes, -1).T)
    return _State(likelihood, score, information, coefficient, coefficient_covariance)


def _scales(density: Array, contrasts: list[Contrast], coefficient: Array) -> tuple[Array, Array]:
    """Each stretch's own variance of low-frequency heel over the day's, by scoring, with its degrees of freedom."""
    scale, dof = np.ones(len(contrasts)), np.zeros(len(contrasts))
    for k, one in enumerate(contrasts):
        if one.bands and one.own:
            scale[k], dof[k] = own_scale(one, density, coefficient)
    return scale, dof


def own_scale(one: Contrast, density: Array, coefficient: Array) -> tuple[float, float]:
    """Return one stretch's scale of low-frequency variance by maximum likelihood, and its degrees of freedom."""
    seen = [_apart(band, density, coefficient) for band in one.bands]
    values = np.maximum(np.concatenate([v for v, _ in seen]), 0.0)
    rest = np.concatenate([r for _, r in seen])
    scale, power = 1.0, rest**2
    for _ in range(60):
        total = scale * values + 1.0
        share = values / total
        information = float(np.sum(share**2))
        if information <= 0:
            return 1.0, 0.0
        target = scale + float(np.sum(share**2 * (power - total) / np.maximum(values, 1e-300))) / information
        target = max(target, 0.02 * scale)
        if abs(target - scale) < 1e-4 * scale:
            break
        scale = target
    at_one = values / (values + 1.0)
    return float(max(scale, 1e-3)), float(np.sum(at_one**2))


def _apart(band: Band, density: Array, coefficient: Array) -> tuple[Array, Array]:
    """Turn a band so that its coordinates are independent, of variance scale times the first result plus 1."""
    low = np.tensordot(density[: band.hats.shape[0]], band.hats, axes=1)
    root = sound_factor(band.fixed)[0]
    half = solve_triangular(root, low, lower=True, check_finite=False)
    values, vectors = np.linalg.eigh(solve_triangular(root, half.T, lower=True, check_finite=False))
    rest = band.value - band.pressure @ coefficient
    return values, vectors.T @ solve_triangular(root, rest, lower=True, check_finite=False)
