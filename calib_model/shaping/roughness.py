"""Roughness of values on unequal breakpoints: the integral of the squared second derivative.

Every axis is scaled to its range first, so that a smoothing strength means the same in any unit.
Along several axes the roughness is the sum of the roughness along each; twist (the mixed
derivative) is left free.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis, Interpolation
from ..core.table import Table
from ..errors import EditRefused


def scaled_breakpoints(axis: Axis) -> FloatArray:
    """Breakpoints as shares of the axis's range, 0 to 1."""
    return np.asarray((axis.values - axis.values[0]) / (axis.values[-1] - axis.values[0]))


def roughness_rows(u: FloatArray) -> Any:
    """Return one row per inner breakpoint; their squares add up to the roughness.

    A row is the change of slope at the breakpoint, divided by the root of the length it
    stands for, so that the sum of squares approximates the integral of ``f''**2``.

    Parameters
    ----------
    u : float array, shape (n,), rising

    Returns
    -------
    scipy.sparse.csr_array, shape (max(n - 2, 0), n)
    """
    from scipy.sparse import csr_array

    n = u.size
    if n < 3:
        return csr_array((0, n))
    h = np.diff(u)
    left, right = h[:-1], h[1:]
    root = np.sqrt(2.0 / (left + right))
    data = np.stack([root / left, -root * (1 / left + 1 / right), root / right], axis=1)
    rows = np.repeat(np.arange(n - 2), 3)
    columns = (np.arange(n - 2)[:, None] + np.arange(3)).reshape(-1)
    return csr_array((data.reshape(-1), (rows, columns)), shape=(n - 2, n))


def axes_along(table: Table, along: Sequence[int] | None) -> tuple[int, ...]:
    """Return the axes to smooth along: those asked for, or all that can be.

    An axis read in steps (a wiper state) names states, not places on a scale, so it is left
    out unless it is asked for; with fewer than three breakpoints there is nothing to smooth.

    Raises
    ------
    EditRefused
        If the table has no such axis, or an axis is out of order.
    """
    chosen = range(len(table.axes)) if along is None else along
    kept = []
    for number in chosen:
        if not 0 <= number < len(table.axes):
            raise EditRefused(
                f"{table.label} has no axis {number + 1}.", f"It has {len(table.axes)}."
            )
        axis = table.axes[number]
        if along is None and axis.interpolation is Interpolation.STEP:
            continue
        if len(axis) < 3:
            continue
        if not axis.ordered:
            raise EditRefused(
                f"The axis {axis.label.lower()} of {table.label} is out of order.",
                "Mend the axis first.",
            )
        kept.append(number)
    return tuple(dict.fromkeys(kept))


def bending_rows(table: Table, along: Sequence[int], factors: Sequence[float] | None = None) -> Any:
    """Return the rows whose squares add up to the roughness of `penalty`.

    Parameters
    ----------
    table, along, factors
        As for `penalty`.

    Returns
    -------
    scipy.sparse.csr_array, shape (m, cells)
    """
    from scipy.sparse import csr_array, eye_array, kron, vstack

    parts = []
    for number, factor in zip(along, factors or [1.0] * len(along), strict=True):
        rows = np.sqrt(factor) * roughness_rows(scaled_breakpoints(table.axes[number]))
        before = int(np.prod(table.shape[:number], dtype=np.int64))
        after = int(np.prod(table.shape[number + 1 :], dtype=np.int64))
        parts.append(kron(kron(eye_array(before), rows), eye_array(after)))
    return csr_array(vstack(parts, format="csr"))


def penalty(table: Table, along: Sequence[int], factors: Sequence[float] | None = None) -> Any:
    """Return the roughness as a quadratic form over the table's cells.

    Parameters
    ----------
    table : Table
    along : sequence of int
        Numbers of the axes.
    factors : sequence of float, optional
        How much the roughness along each of these axes counts; 1 by default.

    Returns
    -------
    scipy.sparse.csr_array, shape (cells, cells)
        ``z' R z`` is the roughness of values ``z``.
    """
    from scipy.sparse import csr_array, eye_array, kron

    size = int(np.prod(table.shape, dtype=np.int64))
    total = csr_array((size, size))
    for number, factor in zip(along, factors or [1.0] * len(along), strict=True):
        rows = roughness_rows(scaled_breakpoints(table.axes[number]))
        before = int(np.prod(table.shape[:number], dtype=np.int64))
        after = int(np.prod(table.shape[number + 1 :], dtype=np.int64))
        part = kron(kron(eye_array(before), factor * (rows.T @ rows)), eye_array(after))
        total = csr_array(total + part)
    return total
