"""Polish a solver's answer: guess which rows are active, solve those exactly.

One sparse system with refinement takes an interior-point answer (about 1e-8) to rounding.  Where
the guess was wrong, a row is added or dropped, a few times at most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from .solvers import QuadraticProgramme, Raw

ROUNDS = 8
REFINEMENTS = 6
NEGLIGIBLE = 1e-12
ON_CELLS, ON_ROWS = 1e-12, 1e-9
"""What keeps the system regular; refinement takes its effect out again."""
MOST_JOINED = 16
"""So many rows may join before factoring again costs less."""
Solve = Callable[[FloatArray], FloatArray]


def polish(programme: QuadraticProgramme, raw: Raw) -> Raw | None:
    """Return the exact answer next to a solver's, or None if none is found.

    Parameters
    ----------
    programme : QuadraticProgramme
        Scaled so that values and rows are of the order of 1.
    raw : Raw
    """
    p = programme
    k = p.gradient.size
    low, high = np.flatnonzero(np.isfinite(p.lower)), np.flatnonzero(np.isfinite(p.upper))
    lines = _lines(p, low, high)
    dual = np.concatenate([raw.rows, raw.lower[low], raw.upper[high]])
    slack = lines.right - lines.matrix @ raw.z
    most = float(np.abs(dual).max(initial=0.0))
    # A row is taken for active where its multiplier outweighs its slack; where that contradicts
    # itself (rows closer together than the solver can tell), only where the multiplier matters.
    for guess in (slack < dual, dual > 1e-5 * most, dual > 1e-3 * most):
        found = _settled(p, lines, lines.equal | guess, raw.z, dual)
        if found is not None:
            z, y = found
            rows = p.bound.size
            lower, upper = np.zeros(k), np.zeros(k)
            lower[low] = y[rows : rows + low.size]
            upper[high] = y[rows + low.size :]
            return Raw(z, y[:rows], lower, upper, raw.solver)
    return None


@dataclass(frozen=True, eq=False)
class _ActiveLines:
    """Rows and limits as one list: the rows, ``-z <= -lower``, ``z <= upper``."""

    matrix: Any
    right: FloatArray
    equal: BoolArray


def _lines(p: QuadraticProgramme, low: IntArray, high: IntArray) -> _ActiveLines:
    from scipy.sparse import csr_array

    # By hand: stacking and slicing of small sparse arrays would cost more than solving.
    m = p.matrix
    ends = int(m.indptr[-1]) + 1 + np.arange(low.size + high.size)
    every = csr_array(
        (
            np.concatenate([m.data, -np.ones(low.size), np.ones(high.size)]),
            np.concatenate([m.indices, low, high]),
            np.concatenate([m.indptr, ends]),
        ),
        shape=(p.bound.size + low.size + high.size, p.gradient.size),
    )
    return _ActiveLines(
        every,
        np.concatenate([p.bound, -p.lower[low], p.upper[high]]),
        np.concatenate([p.equal, np.zeros(low.size + high.size, dtype=bool)]),
    )


def _settled(
    p: QuadraticProgramme, lines: _ActiveLines, active: BoolArray, z: FloatArray, dual: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Add rows that are missed and drop rows that pull the wrong way until none is left."""
    equal = lines.equal
    y = np.where(active, dual, 0.0)
    kept: _Factor | None = None
    for _ in range(ROUNDS):
        solved = None
        rows = np.flatnonzero(active)
        border = None if kept is None else kept.bordered(lines, rows)
        if border is not None:
            solved = _solve(p, lines, rows, z, y, border)
        if solved is None:
            kept = _factor(p, lines, rows)
            solved = None if kept is None else _solve(p, lines, rows, z, y, kept.solve)
        if solved is None:
            return None
        z, y = solved
        missed = ~active & (lines.matrix @ z - lines.right > NEGLIGIBLE)
        wrong = active & ~equal & (y < -1e-9 * (1 + np.abs(y).max(initial=0)))
        y = np.where(equal, y, np.maximum(y, 0.0))
        if not missed.any() and not wrong.any():
            return z, y
        active = (active | missed) & ~wrong
        y = np.where(active, y, 0.0)
    return None


@dataclass(frozen=True, eq=False)
class _Factor:
    """The active rows as equalities, factored."""

    solve: Solve
    rows: IntArray
    cells: int

    def bordered(self, lines: _ActiveLines, rows: IntArray) -> Solve | None:
        """Return what solves for a few rows more, without factoring again; None if others left.

        The rows that joined are a border of the factored system; a small dense system (its Schur
        complement) tells their multipliers.
        """
        joined = np.setdiff1d(rows, self.rows, assume_unique=True)
        if joined.size > MOST_JOINED or rows.size != self.rows.size + joined.size:
            return None
        k = self.cells
        old, new = k + np.searchsorted(rows, self.rows), k + np.searchsorted(rows, joined)
        border = np.zeros((k + self.rows.size, joined.size))
        border[:k] = lines.matrix[joined].toarray().T
        answer = self.solve(border)
        inner = -ON_ROWS * np.eye(joined.size) - border.T @ answer

        def solve(rest: FloatArray) -> FloatArray:
            without = self.solve(np.concatenate([rest[:k], rest[old]]))
            of_joined = np.linalg.solve(inner, rest[new] - border.T @ without)
            whole = without - answer @ of_joined
            result = np.empty(rest.size)
            result[:k], result[old], result[new] = whole[:k], whole[k:], of_joined
            return result

        return solve


def _part(lines: _ActiveLines, rows: IntArray) -> tuple[IntArray, IntArray, IntArray]:
    """Return lengths of some rows, where each begins in their entries, and the entries' places."""
    indptr = lines.matrix.indptr
    lengths = np.diff(indptr)[rows]
    begin = np.concatenate([[0], np.cumsum(lengths)])
    place = np.arange(int(begin[-1])) + np.repeat(indptr[rows] - begin[:-1], lengths)
    return lengths, begin, place


def _factor(p: QuadraticProgramme, lines: _ActiveLines, rows: IntArray) -> _Factor | None:
    """Factor the active rows as equalities; None if they are exactly singular."""
    from scipy.sparse import csc_array
    from scipy.sparse.linalg import splu

    top, k, m = p.hessian, p.gradient.size, rows.size
    lengths, _, place = _part(lines, rows)
    data, cells = lines.matrix.data[place], lines.matrix.indices[place]
    row = k + np.repeat(np.arange(m), lengths)
    column = np.repeat(np.arange(k), np.diff(top.indptr))
    # The little that is added to the first block keeps it regular where nothing pulls a cell.
    diagonal = np.arange(k + m)
    little = np.concatenate([np.full(k, ON_CELLS), np.full(m, -ON_ROWS)])
    system = csc_array(
        (
            np.concatenate([top.data, data, data, little]),
            (
                np.concatenate([top.indices, cells, row, diagonal]),
                np.concatenate([column, row, cells, diagonal]),
            ),
        ),
        shape=(k + m, k + m),
    )
    try:
        factor = splu(system, options={"SymmetricMode": True}, diag_pivot_thresh=0.0)
    except RuntimeError:  # exactly singular
        return None
    return _Factor(factor.solve, rows, k)


def _solve(
    p: QuadraticProgramme,
    lines: _ActiveLines,
    rows: IntArray,
    z: FloatArray,
    y: FloatArray,
    solve: Solve,
) -> tuple[FloatArray, FloatArray] | None:
    """Solve the active rows as equalities, refined from a starting point.

    Refinement keeps multipliers near the start, so that rows that say the same thing twice keep
    the solver's non-negative shares.
    """
    from scipy.sparse import csr_array

    k, top = z.size, p.hessian
    _, begin, place = _part(lines, rows)
    data, cells = lines.matrix.data[place], lines.matrix.indices[place]
    a = csr_array((data, cells, begin), shape=(rows.size, k))
    back = csr_array(a.T)
    part, right = y[rows], lines.right[rows]
    best = np.inf
    kept = (z, part)
    for _ in range(REFINEMENTS):
        rest = np.concatenate([-(top @ z + p.gradient + back @ part), right - a @ z])
        size = float(np.abs(rest).max(initial=0.0))
        if not np.isfinite(size):
            return None
        if size < best:
            best, kept = size, (z, part)
        if size < 1e-16 or size > 10 * best:
            break
        step = solve(rest)
        z, part = z + step[:k], part + step[k:]
    if best > 1e-9:
        return None
    z, part = kept
    result = np.zeros(y.size)
    result[rows] = part
    return z, result
