"""Polish a solver's answer: guess which rows are active, solve those exactly.

One sparse system with refinement takes an interior-point answer (about 1e-8) to rounding.  Where
the guess was wrong, a row is added or dropped, a few times at most.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from .solvers import Programme, Raw

ROUNDS = 8
REFINEMENTS = 6
NEGLIGIBLE = 1e-12


def polish(programme: Programme, raw: Raw) -> Raw | None:
    """Return the exact answer next to a solver's, or None if none is found.

    Parameters
    ----------
    programme : Programme
        Scaled so that values and rows are of the order of 1.
    raw : Raw
    """
    from scipy.sparse import csr_array, eye_array, vstack

    p = programme
    k = p.gradient.size
    # All rows and limits as one list: rows, -z <= -lower, z <= upper.
    unit = eye_array(k, format="csr")
    low, high = np.flatnonzero(np.isfinite(p.lower)), np.flatnonzero(np.isfinite(p.upper))
    every = csr_array(vstack([p.matrix, -unit[low], unit[high]], format="csr"))
    right = np.concatenate([p.bound, -p.lower[low], p.upper[high]])
    equal = np.concatenate([p.equal, np.zeros(low.size + high.size, dtype=bool)])
    dual = np.concatenate([raw.rows, raw.lower[low], raw.upper[high]])
    slack = right - every @ raw.z
    most = float(np.abs(dual).max(initial=0.0))
    # A row is taken for active where its multiplier outweighs its slack; where that contradicts
    # itself (rows closer together than the solver can tell), only where the multiplier matters.
    for guess in (slack < dual, dual > 1e-5 * most, dual > 1e-3 * most):
        found = _settled(p, every, right, equal, equal | guess, raw.z, dual)
        if found is not None:
            z, y = found
            rows = p.bound.size
            lower, upper = np.zeros(k), np.zeros(k)
            lower[low] = y[rows : rows + low.size]
            upper[high] = y[rows + low.size :]
            return Raw(z, y[:rows], lower, upper, raw.solver)
    return None


def _settled(
    p: Programme,
    every: Any,
    right: FloatArray,
    equal: BoolArray,
    active: BoolArray,
    z: FloatArray,
    dual: FloatArray,
) -> tuple[FloatArray, FloatArray] | None:
    """Add rows that are missed and drop rows that pull the wrong way until none is left."""
    y = np.where(active, dual, 0.0)
    for _ in range(ROUNDS):
        solved = _solve(p, every, right, active, z, y)
        if solved is None:
            return None
        z, y = solved
        missed = ~active & (every @ z - right > NEGLIGIBLE)
        wrong = active & ~equal & (y < -1e-9 * (1 + np.abs(y).max(initial=0)))
        y = np.where(equal, y, np.maximum(y, 0.0))
        if not missed.any() and not wrong.any():
            return z, y
        active = (active | missed) & ~wrong
        y = np.where(active, y, 0.0)
    return None


def _solve(
    p: Programme,
    every: Any,
    right: FloatArray,
    active: BoolArray,
    z: FloatArray,
    y: FloatArray,
) -> tuple[FloatArray, FloatArray] | None:
    """Solve the active rows as equalities, refined from a starting point.

    Refinement keeps multipliers near the start, so that rows that say the same thing twice keep
    the solver's non-negative shares.
    """
    from scipy.sparse import block_array, csc_array, eye_array
    from scipy.sparse.linalg import splu

    rows = np.flatnonzero(active)
    a = every[rows]
    k, m = z.size, rows.size
    small = 1e-9
    # The little that is added to the first block keeps it regular where nothing pulls a cell.
    top = p.hessian + 1e-12 * eye_array(k)
    system = block_array([[top, a.T], [a, -small * eye_array(m)]], format="csc") if m else top
    try:
        factor = splu(
            csc_array(system), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True},
            diag_pivot_thresh=0.0,
        )  # fmt: skip
    except RuntimeError:  # exactly singular
        return None
    z, part = z.copy(), y[rows].copy()
    best = np.inf
    kept = (z, part)
    for _ in range(REFINEMENTS):
        rest = np.concatenate([-(p.hessian @ z + p.gradient + a.T @ part), right[rows] - a @ z])
        size = float(np.abs(rest).max(initial=0.0))
        if not np.isfinite(size):
            return None
        if size < best:
            best, kept = size, (z.copy(), part.copy())
        if size < 1e-16 or size > 10 * best:
            break
        step = factor.solve(rest)
        z, part = z + step[:k], part + step[k:]
    z, part = kept
    if best > 1e-9:
        return None
    result = np.zeros(y.size)
    result[rows] = part
    return z, result
