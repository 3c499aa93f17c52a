"""How much roughness to allow in a fit of scattered samples, without rules.

Generalised cross-validation over all strengths from one decomposition, each degree of freedom
counted 1.4 times, since neighbouring samples' errors are often alike.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from .spectrum import GCV_FACTOR, WEAKEST
from .spectrum_basis import PASSES, common_basis, parted

STRONGEST = 1e3
"""Above, what is left is straight in all but name."""
MOST_NODES = 1_030
"""Up to how many nodes a strength is chosen; beyond, `DEFAULT` is taken."""
FEW_NODES = 150
"""Up to so many nodes the decomposition is cheap."""
MANY_PER_NODE = 20
"""Samples per node from which the degrees of freedom are counted by probes."""
PROBES = 12
ROUNDING = 1e-15
"""What rounding leaves of a sum of squares from which as much is taken away, as a share."""
DEFAULT = 1e-4


def solve_columns(factor: Any, right: FloatArray) -> FloatArray:
    """Solve for several right-hand sides, one after the other.

    SuperLU hands many at once to a threaded BLAS, whose threads cost ten times what they save
    on systems of this size.
    """
    return np.stack([factor.solve(column) for column in np.ascontiguousarray(right.T)], axis=1)


def automatic(
    normal: Any,
    right: FloatArray,
    square: float,
    rough: Any,
    count: float,
    straight: FloatArray,
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
    count : float
        Number of samples, each as often as its weight says.
    straight : float array, shape (k, q)
        Columns span the directions without roughness.

    Returns
    -------
    float
    bool
        Whether it was chosen from the data.
    """
    k = right.size
    if rough.nnz == 0:
        return WEAKEST, False
    # No strength touches what is straight: without it digits are left for what one does.
    whole = square
    right, square = _departing(normal, right, square, straight)
    grid = np.logspace(np.log10(WEAKEST), np.log10(STRONGEST), 111)
    if k > FEW_NODES and count > MANY_PER_NODE * k:
        edf, missed, grid = _by_probes(normal, right, square, rough, grid[::6])
    elif k <= MOST_NODES:
        found = _by_spectrum(normal, right, square, rough, grid, straight)
        if found is None:
            return DEFAULT, False
        edf, missed = found
    else:
        return DEFAULT, False
    missed = np.maximum(missed, max(1e-12 * square, ROUNDING * whole, 1e-300))
    room = count - GCV_FACTOR * edf
    score = np.where(room > 0.02 * count, count * missed / np.maximum(room, 1e-9) ** 2, np.inf)
    if not np.isfinite(score).any():  # hardly more samples than nodes: as stiff as it gets
        return float(grid[-1]), True
    best = int(np.argmin(score))
    # Where the score is flat, the smoother of equals: a hundredth of a per cent is no reason.
    equal = np.flatnonzero(score <= score[best] * (1 + 1e-4 / max(1.0, count / 1e4)))
    return float(grid[equal.max() if equal.size else best]), True


def _departing(
    normal: Any, right: FloatArray, square: float, straight: FloatArray
) -> tuple[FloatArray, float]:
    """`right` and `square` of the values less their straight part."""
    level, _ = parted(straight, lambda z: np.asarray(normal @ z))
    for _ in range(PASSES):
        part = level @ (level.T @ right)
        rest = right - normal @ part
        square -= float(part @ (right + rest))
        right = rest
    return right, max(square, 0.0)


def _by_probes(
    normal: Any, right: FloatArray, square: float, rough: Any, grid: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Degrees of freedom from random probes (Hutchinson), misses exactly; sparse throughout.

    With many samples per node the degrees of freedom hardly matter, so a rough count will do.
    """
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    probes = np.random.default_rng(0).integers(0, 2, (right.size, PROBES)) * 2.0 - 1.0
    seen = normal @ probes
    edf, missed, kept = [], [], []
    for strength in grid.tolist():
        try:
            factor = splu(csc_array(normal + strength * rough), permc_spec="MMD_AT_PLUS_A")
        except RuntimeError:  # too weak to hold nodes without data
            continue
        z = factor.solve(right)
        edf.append(float((probes * solve_columns(factor, seen)).sum()) / PROBES)
        missed.append(square - 2 * float(right @ z) + float(z @ (normal @ z)))
        kept.append(strength)
    return np.array(edf), np.array(missed), np.array(kept)


def _by_spectrum(
    normal: Any,
    right: FloatArray,
    square: float,
    rough: Any,
    grid: FloatArray,
    straight: FloatArray,
) -> tuple[FloatArray, FloatArray] | None:
    """Degrees of freedom and misses at every strength, exactly, from one decomposition."""
    k = right.size
    dense = normal.toarray()
    size = float(np.trace(dense)) / k
    # N and cR share a basis with N + lambda R for every lambda.
    c = size / max(float(rough.diagonal().mean()), 1e-300)
    try:
        share, basis = common_basis(dense, c * rough.toarray(), straight)
    except np.linalg.LinAlgError:
        return None
    mu = share[:, None]
    turned = (basis.T @ right)[:, None]
    weight = mu + (1 - mu) * grid[None, :] / c
    weight = np.maximum(weight, 1e-300)
    edf = (mu / weight).sum(axis=0)
    missed = square - (2 * turned**2 / weight - mu * turned**2 / weight**2).sum(axis=0)
    return edf, missed
