"""Standard error of fitted nodes, conditional on the rules that hold the answer back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from .fit_estimate import Estimate
from .problem import RuleSystem

MOST_NODES = 1_600
LABEL = (
    "Standard error of the noise alone, given the roughness weight and conditional on the rules "
    "that hold the answer back; it knows nothing of what the samples have in common."
)


def standard_errors(
    system: RuleSystem, estimates: Sequence[Estimate | None], active: IntArray
) -> list[FloatArray]:
    """Return the standard error of each node of each table, in the table's unit.

    With ``M = N + lambda R`` on the directions that the active rules leave free (a basis Z), the
    covariance is ``sigma^2 Z (Z'MZ)^-1 Z'NZ (Z'MZ)^-1 Z'``.

    Parameters
    ----------
    system : RuleSystem
    estimates : sequence of Estimate or None, one per table of the system
        None for a table that only moves along.
    active : int array
        Rows of the system that hold the answer back.

    Returns
    -------
    list of float arrays, in the tables' shapes
        0 for a cell that cannot move, NaN for a table without samples or above `MOST_NODES`.
    """
    free = system.reduced.free
    nothing = [np.full(t.shape, np.nan) for t in system.tables]
    if free.size > MOST_NODES:
        return nothing
    size = system.size
    form, data = np.zeros((size, size)), np.zeros((size, size))
    for start, table, found in zip(system.starts, system.tables, estimates, strict=False):
        part = slice(start, start + table.values.size)
        if found is None:
            # Moves along without samples of its own: tied by rules only.
            form[part, part] = np.eye(table.values.size) * 1e-9
            continue
        plain = found.plain.toarray() / found.sigma**2
        ratio = float(found.plain.sum()) / max(float(found.normal.sum()), 1e-300)
        data[part, part] = plain
        form[part, part] = plain + found.rough.toarray() * (ratio / found.sigma**2)
    form, data = form[np.ix_(free, free)], data[np.ix_(free, free)]
    basis = _free_directions(system, active)
    inner = basis.T @ form @ basis
    if inner.shape[0]:
        inner[np.diag_indices_from(inner)] += 1e-13 * max(float(inner.diagonal().max()), 1e-300)
        spread = basis @ np.linalg.solve(inner, basis.T)
        variance = np.einsum("ij,jk,ik->i", spread, data, spread, optimize=True)
    else:
        variance = np.zeros(free.size)
    every = np.zeros(size)
    every[free] = np.sqrt(np.maximum(variance, 0.0))
    result = []
    for place, array in system.unstacked(every).items():
        found = estimates[system.places.index(place)]
        result.append(array if found is not None else np.full(array.shape, np.nan))
    return result


def _free_directions(system: RuleSystem, active: IntArray) -> Any:
    """A basis of the moves that keep the active rows as they are."""
    free = system.reduced.free
    rows = system.matrix[active][:, free].toarray() if active.size else np.empty((0, free.size))
    rows = rows[np.abs(rows).max(axis=1, initial=0.0) > 0]
    if not rows.shape[0]:
        return np.eye(free.size)
    from scipy.linalg import qr

    rows = rows / np.abs(rows).max(axis=1, keepdims=True)
    q, r, _ = qr(rows.T, pivoting=True)
    diagonal = np.abs(np.diag(r))
    rank = int((diagonal > 1e-9 * max(float(diagonal.max(initial=0.0)), 1e-300)).sum())
    return q[:, rank:]
