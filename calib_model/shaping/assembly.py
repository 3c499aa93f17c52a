"""Samples into sums: the normal equations of a fit in hat functions, in one pass over the data.

A table reads a sample as a weighted mean of the corners of one cell, with weights ``(1-t)`` or
``t`` per axis.  So all that a fit needs of a cell is nine sums of ``w t^a u^b`` (a, b <= 2) and
four of ``w z t^a u^b`` (a, b <= 1), whatever the number of samples.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.axis import Axis
from ..errors import EditRefused
from ..lookup.compiled import available, loaded
from ..lookup.reference import locate
from .samples import Samples

COMPILED_FROM = 200_000
"""Samples from which the compiled pass is worth loading."""
LOADED_FROM = 20_000
"""The same where the compiled code is there already."""
LOSSES = ("squares", "huber", "biweight")
TUNING = {"squares": np.inf, "huber": 1.345, "biweight": 4.685}
"""Tuning constants for 95 % efficiency on normal noise (Huber; Beaton and Tukey)."""


@dataclass(eq=False)
class Moments:
    """Sums over the samples.

    Parameters
    ----------
    shape : (int, int)
        Nodes per axis; the second is 1 for a curve.
    weight : float array, shape (cells, 9)
        Sums of ``w t^a u^b``, at position 3a + b.
    value : float array, shape (cells, 4)
        Sums of ``w z t^a u^b``, at position 2a + b.
    nearest : float array, shape (nodes,)
        Number of samples to which the node is the nearest of their cell; one of a weight below 1
        counts as its weight, and none as more than one: a weight alone measures no node.
    count : int
    total, square : float
        Sums of ``w`` and of ``w z^2``.
    """

    shape: tuple[int, int]
    weight: FloatArray
    value: FloatArray
    nearest: FloatArray
    count: int = 0
    total: float = 0.0
    square: float = 0.0

    @property
    def cells(self) -> tuple[int, int]:
        """Cells per axis; 1 where there is a single node."""
        return max(self.shape[0] - 1, 1), max(self.shape[1] - 1, 1)


def two_axes(axes: Sequence[Axis]) -> tuple[Axis, Axis]:
    """Return the two axes to fit over; a curve gets a second one of a single node.

    Raises
    ------
    EditRefused
        For scalars and tables of three and more axes.
    """
    if not 1 <= len(axes) <= 2:
        raise EditRefused(
            f"Only curves and maps are fitted; this table has {len(axes)} axes.",
            "Fit a curve or map, and copy it into the slices.",
        )
    return axes[0], axes[1] if len(axes) == 2 else Axis(np.zeros(1))


def empty(axes: Sequence[Axis]) -> Moments:
    """Return moments of no samples."""
    first, second = two_axes(axes)
    shape = (len(first), len(second))
    cells = max(shape[0] - 1, 1) * max(shape[1] - 1, 1)
    return Moments(shape, np.zeros((cells, 9)), np.zeros((cells, 4)), np.zeros(shape[0] * shape[1]))


def gather_moments(
    axes: Sequence[Axis],
    samples: Samples,
    *,
    node_values: FloatArray | None = None,
    loss: str = "squares",
    scale: float = 1.0,
    centre: float = 0.0,
    weights: FloatArray | None = None,
    compiled: bool | None = None,
) -> Moments:
    """Sum up the samples, weighted by a robust loss where node values are given.

    Parameters
    ----------
    axes : sequence of Axis, one or two
    samples : Samples
        Inside the axes; see `calib_model.shaping.screening`.
    node_values : float array, shape (nodes,), optional
        Present values, from which residuals and so the weights follow.
    loss : ``squares``, ``huber`` or ``biweight``
    scale : float
        Standard deviation of the noise, for the loss.
    centre : float
        Subtracted from the values, which keeps digits.
    weights : float array, shape (n,), optional
        In place of the samples' own.
    compiled : bool, optional
        By default the compiled pass where it saves time.
    """
    if compiled is None:
        compiled = worth_compiling(len(samples))
    if compiled and weights is None and not samples.weight.size and _plain_axes(axes):
        from . import assembly_compiled

        done = assembly_compiled.moments(
            axes, samples, node_values, LOSSES.index(loss), TUNING[loss] * scale, centre
        )
        if done is not None:
            return done
    result = empty(axes)
    pair = two_axes(axes)
    cutoff = TUNING[loss] * scale
    for index, points, values in samples.chunks():
        cell, t, u = locate_cells(pair, points)
        own = samples.weights_at(index)
        w = own if weights is None else weights[index]
        z = values - centre
        if node_values is not None and loss != "squares":
            rest = z - (read(result.shape, node_values, cell, t, u) - centre)
            w = w * robust_weight(rest, loss, cutoff)
        _add(result, cell, t, u, w, z, np.minimum(own, 1.0))
    return result


def worth_compiling(count: int) -> bool:
    """Whether a pass over so many samples is worth the compiled code, which may be loaded."""
    return available() and count >= (LOADED_FROM if loaded() else COMPILED_FROM)


def _plain_axes(axes: Sequence[Axis]) -> bool:
    return all(a.interpolation.value == "linear" for a in axes)


def robust_weight(rest: FloatArray, loss: str, cutoff: float) -> FloatArray:
    """Weights of residuals: Huber's, or Tukey's biweight."""
    size = np.abs(rest)
    if loss == "huber":
        return np.asarray(cutoff / np.maximum(size, cutoff))
    if loss == "biweight":
        inside = 1.0 - np.minimum(size / cutoff, 1.0) ** 2
        return np.asarray(inside * inside)
    return np.ones_like(rest)


def locate_cells(
    pair: tuple[Axis, Axis], points: Sequence[FloatArray]
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the cell of each point and the fractions across it."""
    found = []
    for axis, x in zip(pair, points, strict=False):
        low, _, t = locate(axis, x)
        last = max(len(axis) - 2, 0)
        at_end = low > last  # the last breakpoint is the far corner of the last cell
        found.append((np.where(at_end, last, low), np.where(at_end, 1.0, t)))
    if len(found) == 1:
        return found[0][0], found[0][1], np.zeros_like(found[0][1])
    (i, t), (j, u) = found
    return i * max(len(pair[1]) - 1, 1) + j, t, u


def corners(shape: tuple[int, int], cell: IntArray) -> list[IntArray]:
    """Flat nodes at the corners of cells: (0,0), (0,1), (1,0), (1,1)."""
    columns = max(shape[1] - 1, 1)
    i, j = cell // columns, cell % columns
    di, dj = (1 if shape[0] > 1 else 0), (1 if shape[1] > 1 else 0)
    return [(i + a * di) * shape[1] + j + b * dj for a in (0, 1) for b in (0, 1)]


def read(
    shape: tuple[int, int], node_values: FloatArray, cell: IntArray, t: FloatArray, u: FloatArray
) -> FloatArray:
    """Read node values at located points."""
    z00, z01, z10, z11 = (node_values[c] for c in corners(shape, cell))
    low = z00 + u * (z01 - z00)
    return np.asarray(low + t * ((z10 + u * (z11 - z10)) - low))


def _add(
    m: Moments,
    cell: IntArray,
    t: FloatArray,
    u: FloatArray,
    w: FloatArray,
    z: FloatArray,
    counts: FloatArray,
) -> None:
    count = m.weight.shape[0]
    curve = m.shape[1] == 1
    tw = w
    for a in range(3):
        part = tw
        for b in range(1 if curve else 3):
            m.weight[:, 3 * a + b] += np.bincount(cell, part, count)
            part = part * u
        tw = tw * t
    wz = w * z
    tw = wz
    for a in range(2):
        part = tw
        for b in range(1 if curve else 2):
            m.value[:, 2 * a + b] += np.bincount(cell, part, count)
            part = part * u
        tw = tw * t
    near = corners(m.shape, cell)
    which = 2 * (t >= 0.5) + (u >= 0.5)
    node = np.choose(which, near)
    m.nearest += np.bincount(node, counts, m.nearest.size)
    m.count += cell.size
    m.total += float(w.sum())
    m.square += float((wz * z).sum())


# (1-t) and t as polynomials in t: [constant, linear].
_HAT = np.array([[1.0, -1.0], [0.0, 1.0]])


def normal_equations(m: Moments) -> tuple[Any, FloatArray]:
    """Expand moments to ``N = H'WH`` and ``b = H'Wz``, H being the hat weights.

    Returns
    -------
    scipy.sparse.csr_array, shape (nodes, nodes)
    float array, shape (nodes,)
    """
    from scipy.sparse import csr_array

    # Products of two hats: coefficients of 1, t, t^2.
    products = np.array([[np.convolve(_HAT[i], _HAT[j]) for j in (0, 1)] for i in (0, 1)])
    # Corner pairs (p, q) with p = (i, k), q = (j, l): 4 x 4 by 3 x 3 moments.
    expand = np.einsum("ija,klb->ikjlab", products, products).reshape(4, 4, 9)
    blocks = np.einsum("pqm,cm->cpq", expand, m.weight)
    right = np.einsum("pm,cm->cp", np.einsum("ia,kb->ikab", _HAT, _HAT).reshape(4, 4), m.value)
    nodes = np.stack(corners(m.shape, np.arange(m.weight.shape[0])), axis=-1)
    n = m.nearest.size
    rows = np.broadcast_to(nodes[:, :, None], blocks.shape).reshape(-1)
    columns = np.broadcast_to(nodes[:, None, :], blocks.shape).reshape(-1)
    # In a curve two corners are one node, the second of which carries nothing (u = 0).
    matrix = csr_array((blocks.reshape(-1), (rows, columns)), shape=(n, n))
    matrix.sum_duplicates()
    matrix.eliminate_zeros()
    return matrix, np.asarray(
        np.bincount(nodes.reshape(-1), right.reshape(-1), n), dtype=np.float64
    )


def coverage(m: Moments) -> FloatArray:
    """Sums of hat weights per node, shape (nodes,): how many samples bear on each."""
    w = m.weight
    sums = np.stack(
        [
            w[:, 0] - w[:, 1] - w[:, 3] + w[:, 4],
            w[:, 1] - w[:, 4],
            w[:, 3] - w[:, 4],
            w[:, 4],
        ],
        axis=-1,
    )
    nodes = np.stack(corners(m.shape, np.arange(w.shape[0])), axis=-1)
    found = np.bincount(nodes.reshape(-1), np.maximum(sums, 0.0).reshape(-1), m.nearest.size)
    return np.asarray(found, dtype=np.float64)
