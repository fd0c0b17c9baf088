"""Cholesky factor of a covariance that rounding, or a model at its edge, has left a hair short of positive definite."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import LinAlgError, cho_factor, eigh

Array = NDArray[np.float64]
JITTER = (0.0, 1e-12, 1e-10, 1e-8)
"""Tried in turn, as parts of the mean of the diagonal; beyond them negative eigenvalues are lifted."""


def sound_factor(matrix: Array) -> tuple[Array, bool]:
    """Lower Cholesky factor for `scipy.linalg.cho_solve`.

    Parameters
    ----------
    matrix : (n, n) symmetric, finite.

    Returns
    -------
    (factor, True). Where the matrix is not positive definite, the factor of the nearest one that is, in the sense of
    eigenvalues lifted to 1e-8 of the mean of the diagonal (Higham 2002): a covariance a hair off gives the answer a
    hair off, never an exception in the middle of a test day.

    >>> import numpy as np
    >>> bool(np.isfinite(sound_factor(np.array([[1.0, 2.0], [2.0, 1.0]]))[0]).all())
    True
    """
    size = float(np.mean(np.diag(matrix))) if matrix.size else 1.0
    if not (np.isfinite(size) and size > 0.0):
        size = 1.0
    for part in JITTER:
        try:
            shifted = matrix if part == 0.0 else matrix + part * size * np.eye(matrix.shape[0])
            # Turned over it is the same matrix, in the order in which it is wanted.
            factor: tuple[Array, bool] = cho_factor(shifted.T, lower=True, check_finite=False)
        except LinAlgError:
            continue
        return factor
    values, vectors = eigh((matrix + matrix.T) / 2.0, check_finite=False)
    lifted = (vectors * np.maximum(values, JITTER[-1] * size)) @ vectors.T
    made: tuple[Array, bool] = cho_factor((lifted + lifted.T) / 2.0, lower=True, check_finite=False)
    return made
