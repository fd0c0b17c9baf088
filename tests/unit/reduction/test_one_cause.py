"""One line that holds her alike in several windows: told from others that lie apart."""

from __future__ import annotations

import numpy as np
import pytest
from day_maker import Vessel, day, states
from scipy.stats import multivariate_normal

from reduction.gm.consistency.one_cause import Laid
from reduction.gm.reduce import reduce_gm
from reduction.types import GmResult

VESSEL = Vessel()
MOMENTS = VESSEL.moments()
HEEL = VESSEL.heel(MOMENTS)
U = float(np.deg2rad(0.0015))


def held(windows: tuple[int, ...], share: float, seed: int) -> GmResult:
    heel = HEEL.copy()
    heel[list(windows)] -= share * (heel[list(windows)] - HEEL[0])
    heel += U * np.random.default_rng(seed).normal(size=heel.size)
    curve = lambda angle: np.sin(angle) * (5.0 + VESSEL.bm * np.tan(angle) ** 2 / 2.0)  # noqa: E731
    return reduce_gm(day(heel, U**2 * np.eye(9)), states(MOMENTS), VESSEL.weight, VESSEL.known_bm, curve)


@pytest.mark.parametrize("windows", [(1, 3, 5, 6), (2, 3, 6), (1, 5, 7)], ids=str)
@pytest.mark.parametrize("share", [0.05, 0.08])
def test_windows_held_alike_are_the_ones_left_out(windows: tuple[int, ...], share: float) -> None:
    """Four of nine with the same share of their heel taken away: those left free are not the odd ones."""
    for seed in range(3):
        result = held(windows, share, seed)
        assert tuple(i for i, point in enumerate(result.points) if not point.used) == windows
        assert abs(result.gm.value / VESSEL.gm - 1.0) < 0.002
        for number in windows:
            assert "taut" in result.points[number].reasons


def test_a_few_windows_that_people_shifted_are_not_called_held_alike() -> None:
    heel = HEEL.copy()
    heel[1] += 10.0 * U
    heel[6] += 14.0 * U
    result = reduce_gm(day(heel, U**2 * np.eye(9)), states(MOMENTS), VESSEL.weight, VESSEL.known_bm)
    assert [i for i, point in enumerate(result.points) if not point.used] == [1, 6]
    assert all("taut" not in result.points[i].reasons for i in (1, 6))


def test_the_density_of_one_size_is_what_the_integral_gives() -> None:
    """Normal shifts about size times pattern, the size even; of all, and of all but one beside any shift of that."""
    rng = np.random.default_rng(6)
    pattern = np.array([0.02, 0.04, -0.03])
    root = 1e-4 * (np.eye(3) + 0.3 * rng.normal(size=(3, 3)))
    covariance = root @ root.T
    block = np.linalg.inv(covariance)
    shift = 0.05 * pattern + root @ rng.normal(size=3)
    laid = Laid.of(
        pattern[None], block[None], shift[None], (block @ shift)[None], np.array([np.linalg.slogdet(block)[1]])
    )
    grid = np.linspace(0.0, 0.1, 20001)
    for found, kept in ((laid.every().log_density[0], [0, 1, 2]), (laid.but_one().log_density[0, 1], [0, 2])):
        law = multivariate_normal(shift[kept], covariance[np.ix_(kept, kept)])
        density = np.array([law.pdf(x * pattern[kept]) for x in grid])
        assert found == pytest.approx(np.log(np.trapezoid(density, grid)), abs=1e-3)


def test_two_windows_with_one_moment_are_the_odd_ones_beside_four_that_agree() -> None:
    """The crew on the low side twice, or a line in the other four: what blames fewer by one cause is likelier."""
    heel = HEEL.copy()
    heel[[1, 7]] += np.deg2rad(0.03) * np.array([1, -1])
    result = reduce_gm(day(heel, U**2 * np.eye(9)), states(MOMENTS), VESSEL.weight, VESSEL.known_bm)
    assert [i for i, point in enumerate(result.points) if not point.used] == [1, 7]
