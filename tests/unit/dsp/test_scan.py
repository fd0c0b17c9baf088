"""Templates under any strength of slow heel, against the direct calculation with its own covariance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import cho_factor, cho_solve, solve_triangular, toeplitz

from dsp.checks.scan import AnyStrength, Family, slow_root

N = 60
LAG = np.arange(N)
SLOW = toeplitz(4.0 * np.exp(-0.5 * (LAG / 9.0) ** 2))
NOISE = toeplitz(1.5 * np.exp(-LAG / 30.0) * np.cos(2 * np.pi * LAG / 10.0)) + 0.3 * np.eye(N)
WHOLE = SLOW + NOISE


@pytest.mark.parametrize("factor", [1.0, 0.36, 0.02])
def test_scores_and_likelihood_are_those_of_the_weaker_covariance(factor: float) -> None:
    rng = np.random.default_rng(7)
    heel, templates = rng.normal(size=N), np.clip((LAG[None, :] - np.arange(5, 50, 3)[:, None]) / 4.0, 0.0, 1.0)
    root, ones = np.linalg.cholesky(WHOLE), np.ones(N)
    white = [solve_triangular(root, value, lower=True) for value in (slow_root(SLOW), ones, heel, templates.T)]
    seen = AnyStrength.of(white[0], white[1], white[2])
    found = seen.scan(seen.family(white[3].T), factor)

    weaker = factor * SLOW + NOISE
    kept = cho_factor(weaker, lower=True)
    pull = cho_solve(kept, ones)

    def product(a: np.ndarray, b: np.ndarray) -> float:
        return float(a @ cho_solve(kept, b) - (a @ pull) * (pull @ b) / pull.sum())

    size = np.array([np.sqrt(product(t, t)) for t in templates])
    score = np.array([product(t, heel) for t in templates]) / size
    cosine = [product(a, b) for a, b in zip(templates[1:], templates[:-1], strict=True)] / size[1:] / size[:-1]
    assert found.score == pytest.approx(score, rel=1e-3, abs=1e-4)
    assert found.amplitude == pytest.approx(score / size, rel=1e-3, abs=1e-4)
    assert found.walk == pytest.approx(np.arccos(cosine).sum(), rel=1e-3)
    direct = -np.log(np.diag(kept[0])).sum() - 0.5 * (np.log(pull.sum()) + product(heel, heel))
    assert seen.log_likelihood(factor) - np.log(np.diag(root)).sum() == pytest.approx(direct, abs=0.01)


def test_without_slow_heel_strength_changes_nothing() -> None:
    nothing = slow_root(np.zeros((N, N)))
    seen = AnyStrength.of(nothing, np.ones(N), np.arange(float(N)))
    family = seen.family(np.eye(N)[:3])
    assert nothing.shape == (N, 0)
    assert seen.scan(family, 0.02).score == pytest.approx(seen.scan(family, 1.0).score)


def test_largest_scores_are_those_found_one_by_one_and_drowned_axes_do_not_matter() -> None:
    rng = np.random.default_rng(8)
    heel, templates = rng.normal(size=N), np.clip((LAG[None, :] - np.arange(5, 50, 3)[:, None]) / 4.0, 0.0, 1.0)
    root, factors = np.linalg.cholesky(WHOLE), (1.0, 0.36, 0.02)

    def seen_with(slow: np.ndarray) -> tuple[AnyStrength, Family]:
        white = [solve_triangular(root, value, lower=True) for value in (slow, np.ones(N), heel, templates.T)]
        seen = AnyStrength.of(white[0], white[1], white[2])
        return seen, seen.family(white[3].T)

    seen, family = seen_with(slow_root(SLOW))
    one_by_one = [np.abs(seen.scan(family, factor).score).max() for factor in factors]
    assert seen.largest(family, factors) == pytest.approx(one_by_one, rel=1e-9)
    shorter = slow_root(SLOW, 0.3)
    assert shorter.shape[1] < slow_root(SLOW).shape[1]
    assert seen_with(shorter)[0].largest(seen_with(shorter)[1], factors) == pytest.approx(one_by_one, rel=0.02)
