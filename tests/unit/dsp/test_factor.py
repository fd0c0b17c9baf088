import numpy as np
import pytest
from scipy.linalg import cho_solve

from dsp.factor import sound_factor


def test_a_good_matrix_is_factored_as_it_is() -> None:
    matrix = np.array([[4.0, 1.0], [1.0, 3.0]])
    assert np.allclose(cho_solve(sound_factor(matrix), matrix), np.eye(2))


@pytest.mark.parametrize("seed", range(5))
def test_a_matrix_a_hair_off_gives_an_answer_a_hair_off(seed: int) -> None:
    random = np.random.default_rng(seed)
    root = random.normal(size=(30, 20))
    matrix = root @ root.T - 1e-12 * np.eye(30)
    factor = np.tril(sound_factor(matrix)[0])
    assert np.allclose(factor @ factor.T, matrix, atol=1e-5)


@pytest.mark.parametrize("matrix", [np.zeros((3, 3)), -np.eye(3), np.array([[1.0, 5.0], [5.0, 1.0]])])
def test_never_an_exception(matrix: np.ndarray) -> None:
    assert np.isfinite(np.tril(sound_factor(matrix)[0])).all()
