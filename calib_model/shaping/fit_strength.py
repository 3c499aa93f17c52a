"""How much roughness to allow in a fit of scattered samples, without rules.

Generalised cross-validation over all strengths from one decomposition, each degree of freedom
counted 1.4 times, since neighbouring samples' errors are often alike.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from .spectrum import GCV_FACTOR, WEAKEST

STRONGEST = 1e3
"""Above, what is left is straight in all but name."""
MOST_NODES = 1_030
"""Up to how many nodes a strength is chosen; beyond, `DEFAULT` is taken."""
DEFAULT = 1e-4


def automatic(
    normal: Any, right: FloatArray, square: float, rough: Any, count: int
) -> tuple[float, bool]:
    """Choose a strength for ``minimise z'Nz - 2b'z + strength z'Rz``.

    Parameters
    ----------
    normal : sparse array, shape (k, k)
        N, per unit of mean coverage.
    right : float array, shape (k,)
        b, likewise.
    square : float
        Sum of ``w z^2``, likewise.
    rough : sparse array, shape (k, k)
        R.
    count : int
        Number of samples.

    Returns
    -------
    float
    bool
        Whether it was chosen from the data.
    """
    from scipy.linalg import eigh

    k = right.size
    if k > MOST_NODES or rough.nnz == 0:
        return (DEFAULT if rough.nnz else WEAKEST), False
    dense = normal.toarray()
    size = float(np.trace(dense)) / k
    # N and N + cR share a basis with N + lambda R for every lambda.
    c = size / max(float(rough.diagonal().mean()), 1e-300)
    both = dense + c * rough.toarray()
    both[np.diag_indices(k)] += 1e-11 * size
    try:
        mu, basis = eigh(dense, both)
    except np.linalg.LinAlgError:
        return DEFAULT, False
    mu = np.clip(mu, 0.0, 1.0)[:, None]
    turned = (basis.T @ right)[:, None]
    grid = np.logspace(np.log10(WEAKEST), np.log10(STRONGEST), 111)
    weight = mu + (1 - mu) * grid[None, :] / c
    weight = np.maximum(weight, 1e-300)
    edf = (mu / weight).sum(axis=0)
    missed = square - (2 * turned**2 / weight - mu * turned**2 / weight**2).sum(axis=0)
    missed = np.maximum(missed, 1e-12 * max(square, 1e-300))
    room = count - GCV_FACTOR * edf
    score = np.where(room > 0.02 * count, count * missed / np.maximum(room, 1e-9) ** 2, np.inf)
    if not np.isfinite(score).any():  # hardly more samples than nodes: as stiff as it gets
        return float(grid[-1]), True
    best = int(np.argmin(score))
    # Where the score is flat, the smoother of equals: a hundredth of a per cent is no reason.
    equal = np.flatnonzero(score <= score[best] * (1 + 1e-4 / max(1.0, count / 1e4)))
    return float(grid[equal.max() if equal.size else best]), True
