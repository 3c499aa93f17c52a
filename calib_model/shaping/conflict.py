"""Why rules and locks cannot all hold: a set of them at odds, none of which can be left out.

Order, slope limits, bounds and locks are differences of two cells, or of a cell and nothing; such
rows contradict each other exactly if a loop of them adds up to less than nothing, and the loop
names them (Bellman-Ford).  Curvature and other rows need a linear programme: the rows are
weighted so that their sum says ``0 <= something negative``; a corner of that programme uses a set
of rows of which none can be left out, and each is tried once more by leaving it out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from .problem import RuleSystem

MOST_TRIED = 120
"""Up to how many rows are each tried by leaving them out."""
_EPS = float(np.finfo(float).eps)


@dataclass(frozen=True)
class Core:
    """Rows at odds.

    Parameters
    ----------
    rows : tuple of int
        Rows of the system.
    held : tuple of int
        Stacked cells that may not move and take part.
    irreducible : bool
        Whether it was shown that none can be left out.
    """

    rows: tuple[int, ...]
    held: tuple[int, ...]
    irreducible: bool = True


@dataclass(frozen=True, eq=False)
class _Lines:
    """Every row as ``a z <= b``: equalities twice, each cell that may not move as two."""

    system: RuleSystem
    row: IntArray  # of the system; -1 for a cell that may not move
    cell: IntArray  # that cell; -1 for a row
    sign: FloatArray  # of the row
    bound: FloatArray

    @cached_property
    def matrix(self) -> Any:
        """Coefficients; made only where differences do not suffice."""
        from scipy.sparse import csr_array, diags_array, vstack

        rows = self.row >= 0
        cells = self.cell[~rows]
        unit = csr_array(
            (np.ones(cells.size), (np.arange(cells.size), cells)),
            shape=(cells.size, self.system.size),
        )
        both = vstack([self.system.matrix[self.row[rows]], unit], format="csr")
        return csr_array(diags_array(self.sign) @ both)


def contradictory(system: RuleSystem) -> bool:
    """Whether it can be shown that the rows cannot all hold."""
    return find_core(system) is not None


def plainly_contradictory(system: RuleSystem) -> bool:
    """Whether differences of cells alone contradict each other: told in milliseconds."""
    return _loop(system, _lines(system)) is not None


def find_core(system: RuleSystem) -> Core | None:
    """Return rows at odds, or None if no contradiction can be shown."""
    lines = _lines(system)
    return _loop(system, lines) or _weights(system, lines)


def _lines(system: RuleSystem) -> _Lines:
    fixed = np.flatnonzero(~system.allowed)
    holes = fixed[np.isnan(system.values[fixed])]
    fixed = fixed[np.isfinite(system.values[fixed])]
    rows = np.arange(system.bound.size)
    if holes.size:
        touched = np.asarray(abs(system.matrix[:, holes]).sum(axis=1)).reshape(-1) > 0
        rows = rows[~touched]
    back = rows[system.equal[rows]]
    # A row may be missed by its tolerance, and by rounding.
    slack = system.tolerance + 8 * _EPS * np.abs(system.bound)
    values = system.values[fixed]
    near = 8 * _EPS * np.abs(values)
    none = np.full(2 * fixed.size, -1)
    return _Lines(
        system,
        np.concatenate([rows, back, none]),
        np.concatenate([np.full(rows.size + back.size, -1), fixed, fixed]),
        np.concatenate(
            [np.ones(rows.size), -np.ones(back.size), np.ones(fixed.size), -np.ones(fixed.size)]
        ),
        np.concatenate(
            [
                system.bound[rows] + slack[rows],
                -system.bound[back] + slack[back],
                values + near,
                -values + near,
            ]
        ),
    )


# -- differences --------------------------------------------------------------------------


def _loop(system: RuleSystem, lines: _Lines) -> Core | None:
    """A loop of differences that adds up to less than nothing."""
    indptr, indices, data = system.matrix.indptr, system.matrix.indices, system.matrix.data
    n = system.size
    counts = np.append(np.diff(indptr), 1)  # the last stands for a cell that may not move
    counts = counts[lines.row]
    two = np.flatnonzero(counts == 2)
    start = indptr[lines.row[two]]
    plain = data[start] == -data[start + 1]
    two, start = two[plain], start[plain]
    factor = data[start] * lines.sign[two]
    # z[head] - z[tail] <= weight; the extra node n stands for nothing.
    first, second = indices[start], indices[start + 1]
    ups = factor > 0
    one = np.flatnonzero(counts == 1)
    mine = lines.row[one] >= 0
    begin = indptr[np.where(mine, lines.row[one], 0)] if indices.size else np.zeros(one.size, int)
    cell = np.where(mine, indices[begin] if indices.size else 0, lines.cell[one])
    alone = np.where(mine, data[begin] if indices.size else 1.0, 1.0) * lines.sign[one]
    up = alone > 0
    head = np.concatenate([np.where(ups, first, second), np.where(up, cell, n)]).astype(np.int64)
    tail = np.concatenate([np.where(ups, second, first), np.where(up, n, cell)]).astype(np.int64)
    weight = np.concatenate([lines.bound[two] / np.abs(factor), lines.bound[one] / np.abs(alone)])
    line = np.concatenate([two, one])
    order = np.argsort(head.astype(np.uint16) if n < 65_535 else head, kind="stable")
    edges = negative_loop(n + 1, tail[order], head[order], weight[order])
    if edges is None:
        return None
    return _core(lines, line[order][edges], irreducible=True)


def negative_loop(
    nodes: int, tail: IntArray, head: IntArray, weight: FloatArray
) -> IntArray | None:
    """Return the edges of a loop whose weights add up to less than nothing, or None.

    Parameters
    ----------
    nodes : int
    tail, head : int arrays, shape (m,)
        Edges, sorted by head.
    weight : float array, shape (m,)
    """
    if not head.size:
        return None
    distance = np.zeros(nodes)
    parent = np.full(nodes, -1)
    starts = np.flatnonzero(np.concatenate([[True], head[1:] != head[:-1]]))
    heads = head[starts]
    lengths = np.diff(np.concatenate([starts, [head.size]]))
    least_step = 1e-13 * max(1.0, float(np.abs(weight).max()))
    for turn in range(nodes + 1):
        reached = distance[tail] + weight
        least = np.minimum.reduceat(reached, starts)
        better = least < distance[heads] - least_step
        if not better.any():
            return None
        group = np.flatnonzero(better)
        # Edges of the improved heads only: far fewer than all after the first turns.
        count = lengths[group]
        within = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
        edges = np.repeat(starts[group], count) + within
        chosen = edges[reached[edges] == np.repeat(least[group], count)]
        parent[head[chosen]] = chosen
        distance[heads[group]] = least[group]
        if turn % 8 == 7 or turn >= nodes - 1:
            loop = _parent_loop(parent, tail, nodes)
            if loop is not None:
                return loop
    return None


def _parent_loop(parent: IntArray, tail: IntArray, nodes: int) -> IntArray | None:
    """Edges of a loop among the parents, found by jumping twice as far each time."""
    above = np.where(parent >= 0, tail[parent], nodes)
    jump = np.append(above, nodes)
    for _ in range(int(nodes).bit_length()):
        jump = jump[jump]
    inside = np.flatnonzero(jump[:-1] < nodes)
    if not inside.size:
        return None
    node = int(jump[inside[0]])
    edges = []
    start = node
    while True:
        edges.append(int(parent[node]))
        node = int(tail[parent[node]])
        if node == start:
            return np.array(edges)


# -- everything ---------------------------------------------------------------------------


def _weights(system: RuleSystem, lines: _Lines) -> Core | None:
    """Rows whose weighted sum is a contradiction, from a corner of a linear programme."""
    if not lines.bound.size:
        return None
    found = None
    likely = _suspects(system, lines)
    if likely is not None:
        found = _farkas(system, lines, likely)
    if found is None:
        found = _farkas(system, lines, np.arange(lines.bound.size))
    if found is None:
        return None
    # A line and its opposite (of an equality, of a cell that may not move) stay or go together.
    code = np.where(lines.row >= 0, lines.row, system.bound.size + lines.cell)
    part = np.flatnonzero(np.isin(code, code[found]))
    names = np.unique(code[found])
    if _independent_but_one(lines, found):
        return _core(lines, part, irreducible=True)
    irreducible = names.size <= MOST_TRIED
    if irreducible:
        for name in names.tolist():
            others = part[code[part] != name]
            if others.size and _farkas(system, lines, others) is not None:
                part = others
    return _core(lines, part, irreducible=irreducible)


def _independent_but_one(lines: _Lines, found: IntArray) -> bool:
    """Whether every line but one is independent of the others: then none can be left out.

    Independent lines can always be met, so leaving any line out ends the contradiction.
    """
    if found.size > 4 * MOST_TRIED:
        return False
    dense = lines.matrix[found].toarray()
    dense = dense[:, np.abs(dense).any(axis=0)]
    dense /= np.abs(dense).max(axis=1, keepdims=True)
    return bool(np.linalg.matrix_rank(dense, tol=1e-9) == found.size - 1)


def _suspects(system: RuleSystem, lines: _Lines) -> IntArray | None:
    """Lines that weigh in an interior-point proof: far fewer than all for the exact one."""
    import clarabel as library
    from scipy.sparse import csc_matrix

    matrix, bound, used = _shared_out(system, lines, np.arange(lines.bound.size))
    settings = library.DefaultSettings()
    settings.verbose = False
    settings.max_threads = 1
    settings.max_iter = 60
    answer = library.DefaultSolver(
        csc_matrix((used.size, used.size)),
        np.zeros(used.size),
        csc_matrix(matrix),
        bound,
        [library.NonnegativeConeT(bound.size)],
        settings,
    ).solve()
    if "PrimalInfeasible" not in str(answer.status):
        return None
    shares = np.array(answer.z)
    return np.flatnonzero(shares > 1e-4 * shares.max())


def _farkas(system: RuleSystem, lines: _Lines, part: IntArray) -> IntArray | None:
    """Return the lines of a contradiction among `part`, or None if there is none."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, vstack

    matrix, bound, used = _shared_out(system, lines, part)
    conditions = vstack([matrix.T, csr_array(np.ones((1, part.size)))], format="csc")
    right = np.concatenate([np.zeros(used.size), [1.0]])
    result = linprog(bound, A_eq=conditions, b_eq=right, bounds=(0, None), method="highs-ds")
    if result.status != 0 or result.fun > -1e-11:
        return None
    return np.asarray(part[result.x > 1e-9])


def _shared_out(
    system: RuleSystem, lines: _Lines, part: IntArray
) -> tuple[Any, FloatArray, IntArray]:
    """Lines in shares of the tables' spans with largest coefficient 1, and the cells they use."""
    from scipy.sparse import csr_array, diags_array

    matrix = csr_array(lines.matrix[part])
    used = np.unique(matrix.indices)
    matrix = csr_array(matrix[:, used] @ diags_array(system.span[used]))
    largest = abs(matrix).max(axis=1).toarray()
    scale = 1.0 / np.where(largest > 0, largest, 1.0)
    return csr_array(diags_array(scale) @ matrix), lines.bound[part] * scale, used


def _core(lines: _Lines, chosen: IntArray, *, irreducible: bool) -> Core:
    rows, cells = lines.row[chosen], lines.cell[chosen]
    return Core(
        tuple(dict.fromkeys(int(r) for r in rows if r >= 0)),
        tuple(dict.fromkeys(int(c) for c in cells if c >= 0)),
        irreducible,
    )
