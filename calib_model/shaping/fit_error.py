"""Standard error of fitted nodes, conditional on the rules that hold the answer back."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from .fit_estimate import Estimate
from .fit_strength import solve_columns
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
    from scipy.sparse import block_diag, csr_array, eye_array

    forms, datas = [], []
    for table, found in zip(system.tables, estimates, strict=True):
        count = table.values.size
        if found is None:
            # Moves along without samples of its own: tied by rules only.
            forms.append(1e-9 * eye_array(count, format="csr"))
            datas.append(csr_array((count, count)))
            continue
        plain = found.plain / found.sigma**2
        ratio = float(found.plain.sum()) / max(float(found.normal.sum()), 1e-300)
        datas.append(plain)
        forms.append(plain + found.rough * (ratio / found.sigma**2))
    form = csr_array(block_diag(forms, format="csr"))[free][:, free]
    data = csr_array(block_diag(datas, format="csr"))[free][:, free]
    spread = _inverse_under(form, system.matrix[active][:, free])
    variance = np.einsum("ij,ji->i", spread, data @ spread)
    size = system.size
    every = np.zeros(size)
    every[free] = np.sqrt(np.maximum(variance, 0.0))
    result = []
    for place, array in system.unstacked(every).items():
        found = estimates[system.places.index(place)]
        result.append(array if found is not None else np.full(array.shape, np.nan))
    return result


def _inverse_under(form: Any, rows: Any) -> FloatArray:
    """``Z (Z'MZ)^-1 Z'`` for the directions Z that keep some rows as they are.

    It is the leading part of the inverse of ``[[M, A'], [A, 0]]``; a hair in the second corner
    lets rows say the same thing twice.
    """
    from scipy.sparse import block_array, csc_array, csr_array, diags_array, eye_array
    from scipy.sparse.linalg import splu

    k = form.shape[0]
    if not k:
        return np.zeros((0, 0))
    # Scaled so that the diagonal is 1: nodes may have very unequal numbers of samples.
    diagonal = form.diagonal()
    scale = 1.0 / np.sqrt(np.maximum(diagonal, 1e-13 * float(diagonal.max())))
    inner = diags_array(scale) @ form @ diags_array(scale) + 1e-12 * eye_array(k)
    rows = csr_array(rows @ diags_array(scale))
    most = abs(rows).max(axis=1).toarray() if rows.shape[0] else np.empty(0)
    rows = rows[np.flatnonzero(most > 0)]
    m = rows.shape[0]
    if m:
        rows = csr_array(diags_array(1.0 / most[most > 0]) @ rows)
        inner = block_array([[inner, rows.T], [rows, -1e-11 * eye_array(m)]])
    right = np.zeros((k + m, k))
    right[:k] = np.diag(scale)
    factor = splu(csc_array(inner), permc_spec="MMD_AT_PLUS_A")
    return np.asarray(scale[:, None] * solve_columns(factor, right)[:k])
