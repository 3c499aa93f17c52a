"""A basis in which the data's form and the roughness are both diagonal, for any cells.

The straight directions are taken out first: they have no roughness at all, and left in they
would be blurred by the rounding of the rough ones, whose size goes with the cube of the number
of breakpoints; what a level of the data weighs would then depend on how high it is.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from ..core.table import Table
from .roughness import scaled_breakpoints
from .threads import one_thread

Parts = tuple[FloatArray, FloatArray]

SILENT = 1e-12
"""A direction with less than this share of the data's form is one that no data speak of."""

PASSES = 3
"""Passes of refinement, after which the hair that keeps a form regular no longer shows."""


def common_basis(
    data: FloatArray, rough: FloatArray, straight: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the basis, and the data's share of each direction.

    Parameters
    ----------
    data : float array, shape (k, k) or (k,)
        The data's form, or its diagonal; not negative.
    rough : float array, shape (k, k)
        The roughness as a quadratic form; not negative.
    straight : float array, shape (k, q)
        Columns span the directions without roughness.

    Returns
    -------
    float array, shape (m,)
        mu, where the data's form is mu and both together 1: exactly 1 for a straight direction.
    float array, shape (k, m)
        The directions; what neither data nor roughness speak of is left out.
    """
    from scipy.linalg import eigh, qr

    def seen(z: FloatArray) -> FloatArray:
        return np.asarray(data[:, None] * z if data.ndim == 1 else data @ z)

    with one_thread():
        level, silent = parted(straight, seen)
        taken = np.concatenate([seen(level), silent], axis=1)
        # Only the part of the others that data and roughness both see apart from the straight.
        rest = qr(taken)[0][:, taken.shape[1] :] if taken.size else np.eye(rough.shape[0])
        inner = rest.T @ seen(rest)
        inner = (inner + inner.T) / 2
        both = inner + rest.T @ (rough @ rest)
        both = (both + both.T) / 2
        try:
            share, turned = eigh(inner, both)
        except np.linalg.LinAlgError:  # weights so unequal that rounding shows: a hair helps
            both[np.diag_indices_from(both)] += SILENT * max(float(np.abs(both).max()), 1e-300)
            share, turned = eigh(inner, both)
    basis = np.concatenate([rest @ turned, level], axis=1)
    share = np.clip(share, 0.0, np.nextafter(1.0, 0.0))
    return np.concatenate([share, np.ones(level.shape[1])]), basis


def parted(straight: FloatArray, seen: Callable[[FloatArray], FloatArray]) -> Parts:
    """Part straight directions into those the data tell apart and those no data speak of.

    Parameters
    ----------
    straight : float array, shape (k, q)
        Columns span the directions without roughness.
    seen : callable
        The data's form times columns.

    Returns
    -------
    float array, shape (k, r)
        Directions in which the data's form is the unit matrix.
    float array, shape (k, q - r)
    """
    if not straight.shape[1]:
        return straight, straight
    plain = np.linalg.qr(straight)[0]
    form = plain.T @ seen(plain)
    sizes, turn = np.linalg.eigh((form + form.T) / 2)
    speaks = sizes > SILENT * max(float(sizes[-1]), 1e-300)
    turned = plain @ turn
    return turned[:, speaks] / np.sqrt(sizes[speaks]), turned[:, ~speaks]


@dataclass(frozen=True, eq=False)
class Planes:
    """A table as planes (lines, blocks) over the axes smoothed along, one per place of the others.

    Parameters
    ----------
    cells : int array, shape (planes, m)
        Flat cells of each plane.
    basis : float array, shape (m, q)
        Columns span what is straight along every axis of a plane.
    """

    cells: IntArray
    basis: FloatArray

    def forms(self, weights: FloatArray) -> FloatArray:
        """Weighted squares of the basis in each plane, shape (planes, q, q)."""
        q = self.basis.shape[1]
        squares = (self.basis[:, :, None] * self.basis[:, None, :]).reshape(-1, q * q)
        return np.asarray((weights[self.cells] @ squares).reshape(-1, q, q))

    def nearest(self, weights: FloatArray, data: FloatArray) -> FloatArray:
        """The straight values nearest to flat data, by weighted squares, shape (cells,)."""
        forms = self.forms(weights)
        size = np.trace(forms, axis1=1, axis2=2)
        hair = SILENT * np.where(size > 0, size, 1.0)
        steady = forms + hair[:, None, None] * np.eye(self.basis.shape[1])
        found: FloatArray = np.zeros(data.size)
        for _ in range(PASSES):
            right = (weights * (data - found))[self.cells] @ self.basis
            shares = np.linalg.solve(steady, right[:, :, None])[:, :, 0]
            found[self.cells] += shares @ self.basis.T
        return found

    def vanishing(self, fixed: BoolArray) -> FloatArray:
        """What is straight and nil at the fixed cells, at the others, shape (k, q)."""
        forms = self.forms(fixed.astype(np.float64))
        sizes, turn = np.linalg.eigh(forms)
        nil = sizes <= SILENT * float(np.square(self.basis).sum())
        plane, which = np.nonzero(nil)
        columns = self.basis @ turn[plane, :, which].T  # (m, number)
        found: FloatArray = np.zeros((fixed.size, plane.size))
        found[self.cells[plane].T, np.arange(plane.size)] = columns
        return found[~fixed]


def planes_of(table: Table, along: Sequence[int]) -> Planes:
    """Return a table's planes over the axes smoothed along."""
    others = [n for n in range(len(table.axes)) if n not in along]
    order = [*others, *sorted(along)]
    flat = np.arange(table.values.size).reshape(table.shape).transpose(order)
    basis: FloatArray = np.ones((1, 1))
    for number in sorted(along):
        u = scaled_breakpoints(table.axes[number])
        basis = np.asarray(np.kron(basis, np.stack([1 - u, u], axis=1)), dtype=np.float64)
    return Planes(flat.reshape(-1, basis.shape[0]), basis)
