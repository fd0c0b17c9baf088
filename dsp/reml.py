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
from scipy.fft import next_fast_len
from scipy.linalg import cho_solve, solve_triangular

from dsp.alike import shared_dof
from dsp.factor import sound_factor
from dsp.motion import NODE_RATIO, Hats, roll_covariance
from dsp.types import Array

ROUGHNESS = 0.7
"""Prior standard deviation of the change of log density from node to node (a factor 2 within a factor 1.6)."""


SLOW, SLOW_AIR = 0.7, 3.0
"""The same below the frequencies a stretch can show, relative to that: spectra of moored vessels level off there, but
where the wind is not measured the slow change of the air may stand out. A wander of first order rises by a factor 9
from node to node there, which is to be nothing unusual: ``0.7 * 3 * sqrt(ln 3 / ln 1.6)`` is 3.2, ``ln 9`` 2.2."""


@dataclass(frozen=True)
class Stretch:
    """One piece of the day in which nothing moved, on the day's grid."""

    index: np.ndarray
    """(n,) int, bin numbers, rising; gaps leave numbers out."""
    heel: Array
    """(n,) rad."""
    noise: Array
    """(n,) rad2, variance of the white noise of each bin."""
    pressure: Array
    """(n, r) regressors of the wind, r = 0 without."""
    roll_variance: float
    """rad2 of its roll."""


@dataclass(frozen=True)
class Contrast:
    """A stretch seen below the roll."""

    value: Array
    """(j,) rad."""
    pressure: Array
    """(j, r)."""
    hats: Array
    """(low, j, j) covariance for unit density at each low node."""
    fixed: Array
    """(j, j) rad2, covariance of roll, of what is broad above it, and of white noise."""
    own: bool = True
    """It is one stretch with a scale of its own; False for differences between windows."""


@dataclass(frozen=True)
class Known:
    """What is known before the day's low-frequency heel is fitted."""

    coefficient_u: Array
    """(r,) rad per unit of each wind regressor, standard uncertainty about nought."""
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


class Compressor:
    """Turns stretches into contrasts; keeps what stretches of one length share."""

    def __init__(self, hats: Hats, above: Array, step: float, roll_frequency: float, damping: float) -> None:
        """``above`` (p - low,) rad2/Hz is the density at the nodes above the low ones; ``step`` s; frequency Hz."""
        self.hats, self.above, self.step = hats, above, step
        self.roll_frequency, self.damping, self.highest = roll_frequency, damping, float(hats.node[hats.low - 1])
        self._lags = np.zeros((hats.node.size, 0))
        self._kept: dict[bytes, tuple[Array, Array, Array]] = {}

    def _table(self, size: int) -> Array:
        if self._lags.shape[1] < size:
            self._lags = self.hats.covariance(np.arange(size) * self.step)
        return self._lags

    def _basis(self, place: np.ndarray) -> tuple[Array, Array, Array]:
        key = place.tobytes()
        if key not in self._kept:
            size = int(place[-1]) + 1
            count = int(2.0 * size * self.step * self.highest)
            x = (place + 0.5) / size
            low = np.cos(np.pi * np.arange(1, count + 1) * x[:, None])
            away = [np.ones(place.size)]
            if np.isfinite(self.roll_frequency):
                turn = 2.0 * np.pi * self.roll_frequency * self.step * place
                fade = np.exp(-self.damping * turn)
                away += [fade * np.cos(turn), fade * np.sin(turn)]
            both = np.column_stack([*away, low])
            q = np.linalg.qr(both)[0][:, len(away) :] if both.shape[1] < place.size else np.zeros((place.size, 0))
            even = np.zeros((q.shape[1], size))
            even[:, place] = q.T
            length = int(next_fast_len(2 * size, real=True))
            turned = np.fft.rfft(even, length)
            parts = np.concatenate([turned.real, turned.imag], axis=1)
            hats = np.array([_quadratic(parts, row[:size], length) for row in self._table(size)])
            roll = np.zeros((q.shape[1], q.shape[1]))
            if np.isfinite(self.roll_frequency):
                wave = roll_covariance(np.arange(size) * self.step, self.roll_frequency, self.damping)
                roll = _quadratic(parts, wave, length)
            self._kept[key] = (q, hats, roll)
        return self._kept[key]

    def contrast(self, stretch: Stretch) -> Contrast:
        """Project one stretch."""
        q, hats, roll = self._basis(stretch.index - stretch.index[0])
        low = self.hats.low
        fixed = stretch.roll_variance * roll + np.tensordot(self.above, hats[low:], axes=1) + (q.T * stretch.noise) @ q
        fixed = fixed + np.eye(q.shape[1]) * (1e-12 * max(float(np.trace(fixed)), 1e-30) + 1e-22)
        return Contrast(q.T @ stretch.heel, q.T @ stretch.pressure, hats[:low], fixed)


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
    regressors = contrasts[0].pressure.shape[1] if contrasts else 0
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


def _quadratic(parts: Array, wave: Array, length: int) -> Array:
    """Return ``Q' K Q`` for the Toeplitz covariance ``wave`` by circulant embedding; ``parts`` holds Q transformed."""
    ring = np.zeros(length)
    ring[: wave.size] = wave
    ring[length - wave.size + 1 :] = wave[:0:-1]
    values = np.fft.rfft(ring).real * 2.0 / length
    values[0] *= 0.5
    if length % 2 == 0:
        values[-1] *= 0.5
    strong = np.abs(values) > 1e-9 * float(np.max(np.abs(values)))
    both = np.concatenate([strong, strong])
    some = parts[:, both]
    return np.asarray((some * np.concatenate([values[strong], values[strong]])) @ some.T)


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
    regressors = contrasts[0].pressure.shape[1] if contrasts else 0
    coefficient_prior = known.coefficient_u[:regressors]
    normal, right = np.diag(coefficient_prior**-2.0), np.zeros(regressors)
    factors: list[tuple[Array, bool] | None] = []
    for one, s in zip(contrasts, scale, strict=True):
        if one.value.size == 0:
            factors.append(None)
            continue
        matrix = s * np.tensordot(density + gusts, one.hats, axes=1) + one.fixed
        factor = sound_factor(matrix)
        factors.append(factor)
        if regressors:
            turned = cho_solve(factor, one.pressure, check_finite=False)
            normal += one.pressure.T @ turned
            right += turned.T @ one.value
    coefficient, coefficient_covariance = np.zeros(regressors), np.zeros((regressors, regressors))
    if regressors:
        size = np.sqrt(np.maximum(np.diag(normal), 1e-300))
        scaled = normal / size / size[:, None] + 1e-10 * np.eye(regressors)
        coefficient_covariance = np.linalg.inv(scaled) / size / size[:, None]
        coefficient = coefficient_covariance @ right
    likelihood = -0.5 * float(np.sum((coefficient / coefficient_prior) ** 2))
    score, information = np.zeros(nodes), np.zeros((nodes, nodes))
    for one, s, kept in zip(contrasts, scale, factors, strict=True):
        if kept is None:
            continue
        factor = kept
        rest = one.value - one.pressure @ coefficient
        turned = cho_solve(factor, rest, check_finite=False)
        likelihood -= 0.5 * float(rest @ turned) + float(np.sum(np.log(np.diag(factor[0]))))
        inverse = cho_solve(factor, np.eye(one.value.size), check_finite=False)
        weighted = (s * density)[:, None, None] * one.hats
        product = np.matmul(inverse, weighted)
        flat = product.reshape(nodes, -1)
        score += 0.5 * (np.einsum("i,pij,j->p", turned, weighted, turned) - np.einsum("pii->p", product))
        information += 0.5 * (flat @ product.transpose(0, 2, 1).reshape(nodes, -1).T)
    return _State(likelihood, score, information, coefficient, coefficient_covariance)


def _scales(density: Array, contrasts: list[Contrast], coefficient: Array) -> tuple[Array, Array]:
    """Each stretch's own variance of low-frequency heel over the day's, by scoring, with its degrees of freedom."""
    scale, dof = np.ones(len(contrasts)), np.zeros(len(contrasts))
    for k, one in enumerate(contrasts):
        if one.value.size and one.own:
            scale[k], dof[k] = own_scale(one, density, coefficient)
    return scale, dof


def own_scale(one: Contrast, density: Array, coefficient: Array) -> tuple[float, float]:
    """Return one stretch's scale of low-frequency variance by maximum likelihood, and its degrees of freedom."""
    low = np.tensordot(density[: one.hats.shape[0]], one.hats, axes=1)
    root = sound_factor(one.fixed)[0]
    half = solve_triangular(root, low, lower=True, check_finite=False)
    values, vectors = np.linalg.eigh(solve_triangular(root, half.T, lower=True, check_finite=False))
    rest = vectors.T @ solve_triangular(root, one.value - one.pressure @ coefficient, lower=True, check_finite=False)
    values = np.maximum(values, 0.0)
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
