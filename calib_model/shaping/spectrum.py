"""Choosing how strongly to smooth, without rules: every strength from one decomposition.

With weights W and roughness R, a basis is found in which both are diagonal: W becomes mu and
W + R becomes 1.  A strength lambda then weighs each direction by ``mu / (mu + lambda (1 - mu))``.
On a full grid without weights the basis comes from one small decomposition per axis.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.table import Table
from .roughness import roughness_rows, scaled_breakpoints
from .spectrum_basis import common_basis, planes_of

GCV_FACTOR = 1.4
"""How much dearer than plain cross-validation a degree of freedom is: neighbours' errors are often
alike, and plain cross-validation then follows the noise."""
WEAKEST, STRONGEST = 1e-8, 1e5
"""Range of strengths; above, solvers no longer agree and the straight limit is meant."""
CRITERIA = ("gcv", "reml")
_GRID = 79


@dataclass(frozen=True, eq=False)
class Spectrum:
    """Data and roughness in the basis in which both are diagonal.

    Parameters
    ----------
    share : float array, shape (k,)
        mu: 1 for a direction without roughness, 0 for one that no data speak of.
    data : float array, shape (k,)
        The data in that basis.
    pull : float array, shape (k,)
        What fixed neighbours add to the roughness's gradient; nil without any.
    rest : float
        Roughness of the fixed neighbours among themselves.
    count : int
        Number of cells with data.
    size : float
        Weighted sum of squares of the values, their straight part included.
    """

    share: FloatArray
    data: FloatArray
    pull: FloatArray
    rest: float
    count: int
    size: float

    @property
    def straight(self) -> int:
        """Number of directions without roughness."""
        return int((self.share >= 1.0).sum())

    def edf(self, strength: float) -> float:
        """Effective degrees of freedom."""
        if np.isinf(strength):
            return float(self.straight)
        return float((self.share / (self.share + strength * (1 - self.share))).sum())

    def coordinates(self, strength: float) -> FloatArray:
        """The smoothed values in the basis."""
        mu = self.share
        return np.asarray((mu * self.data - strength * self.pull) / (mu + strength * (1 - mu)))

    def score(self, strength: FloatArray, criterion: str) -> FloatArray:
        """Value of a criterion at several strengths; the least is best."""
        mu, lam = self.share[:, None], strength[None, :]
        if criterion == "gcv" and not self.pull.any():
            # The same with fewer passes: what is kept of each direction says it all.
            kept = mu / (mu + lam * (1 - mu))
            missed = (self.share * self.data**2) @ np.square(1 - kept)
            return self._validated(missed, kept.sum(axis=0))
        weight = mu + lam * (1 - mu)
        z = (mu * self.data[:, None] - lam * self.pull[:, None]) / weight
        missed = (mu * (self.data[:, None] - z) ** 2).sum(axis=0)
        n = self.count
        if criterion == "gcv":
            return self._validated(missed, (mu / weight).sum(axis=0))
        rough = ((1 - mu) * z**2 + 2 * self.pull[:, None] * z).sum(axis=0) + self.rest
        straight = self.straight
        rank = self.share.size - straight
        both = np.maximum(missed + strength * np.maximum(rough, 0.0), 1e-300)
        return np.asarray(
            (n - straight) * np.log(both) + np.log(weight).sum(axis=0) - rank * np.log(strength)
        )

    def _validated(self, missed: FloatArray, edf: FloatArray) -> FloatArray:
        """Cross-validation's score from sums of squares and degrees of freedom."""
        n = self.count
        room = n - GCV_FACTOR * edf
        return np.where(room > 1e-9 * n, n * missed / np.maximum(room, 1e-9 * n) ** 2, np.inf)

    def best(self, criterion: str) -> float:
        """Return the strength that a criterion asks for; infinite if it asks for the straight."""
        if self.count <= 2 or self.straight == self.share.size:
            return np.inf
        grid = np.logspace(np.log10(WEAKEST), np.log10(STRONGEST), _GRID)
        score = self.score(grid, criterion)
        at = int(np.argmin(score))
        missed = float((self.share * (self.data - self.coordinates(STRONGEST)) ** 2).sum())
        if at == _GRID - 1 or missed <= 1e-20 * max(self.size, 1e-300):
            return np.inf
        if at == 0:
            return WEAKEST
        fine = np.logspace(np.log10(grid[at - 1]), np.log10(grid[at + 1]), 25)
        return float(fine[int(np.argmin(self.score(fine, criterion)))])


@dataclass(frozen=True, eq=False)
class GridSpectrum:
    """The spectrum of a full, unweighted grid, and the way back to values."""

    spectrum: Spectrum
    bases: tuple[FloatArray, ...]
    shape: tuple[int, ...]

    def values(self, strength: float) -> FloatArray:
        """Smoothed values, in the table's shape."""
        z = self.spectrum.coordinates(strength) * np.sqrt(self.spectrum.share)
        return _turned(z.reshape(self.shape), self.bases, back=True)


def grid_spectrum(
    table: Table, along: Sequence[int], factors: Sequence[float] | None = None
) -> GridSpectrum:
    """Return the spectrum of a full grid without weights: one decomposition per axis.

    Parameters
    ----------
    table : Table
    along : sequence of int
    factors : sequence of float, optional
        How much the roughness along each of these axes counts; 1 by default.
    """
    counts = dict(zip(along, factors or [1.0] * len(along), strict=True))
    bases, sizes = [], []
    for number, axis in enumerate(table.axes):
        if number in along:
            rows = roughness_rows(scaled_breakpoints(axis)).toarray()
            values, vectors = np.linalg.eigh(counts[number] * (rows.T @ rows))
            values[:2] = 0.0  # exactly: constant and straight
        else:
            values, vectors = np.zeros(len(axis)), np.eye(len(axis))
        bases.append(vectors)
        sizes.append(np.maximum(values, 0.0))
    rough = np.zeros(table.shape)
    for number, values in enumerate(sizes):
        rough = rough + values.reshape([-1 if a == number else 1 for a in range(rough.ndim)])
    share = 1.0 / (1.0 + rough.reshape(-1))
    data = _turned(table.values, tuple(bases), back=False).reshape(-1) / np.sqrt(share)
    nothing = np.zeros(share.size)
    size = float(np.square(table.values).sum())
    found = Spectrum(share, data, nothing, 0.0, share.size, size)
    return GridSpectrum(found, tuple(bases), table.shape)


def _turned(values: FloatArray, bases: Sequence[FloatArray], *, back: bool) -> FloatArray:
    for number, basis in enumerate(bases):
        turn = basis if back else basis.T
        values = np.moveaxis(np.tensordot(turn, values, axes=(1, number)), 0, number)
    return values


def dense_spectrum(
    table: Table,
    along: Sequence[int],
    rough: Any,
    weights: FloatArray,
    data: FloatArray,
    selection: BoolArray,
) -> Spectrum:
    """Return the spectrum of any cells, the others fixed.

    Parameters
    ----------
    table : Table
    along : sequence of int
        Axes smoothed along.
    rough : sparse array, shape (cells, cells)
        The roughness as a quadratic form.
    weights, data : float arrays, shape (cells,)
        No value of any weight may be NaN, nor a fixed one.
    selection : bool array, shape (cells,)
        The cells that may move.
    """
    chosen, fixed = np.flatnonzero(selection), np.flatnonzero(~selection)
    planes = planes_of(table, along)
    # What is straight has no roughness, whatever its size: without it digits are left for the rest.
    straight = planes.nearest(np.where(selection, weights, 1.0), data)
    rest = np.where(~selection | (weights > 0), data - straight, 0.0)
    share, basis = common_basis(
        weights[chosen], rough[chosen][:, chosen].toarray(), planes.vanishing(~selection)
    )
    weighted = weights[chosen] * rest[chosen]
    rougher = rough[chosen] @ np.where(selection, rest, 0.0)
    pull = rough[chosen] @ np.where(selection, 0.0, rest)
    held = float(rest[fixed] @ (rough[fixed][:, fixed] @ rest[fixed]))
    return Spectrum(
        share,
        basis.T @ (weighted + rougher),
        basis.T @ pull,
        held,
        int((weights[chosen] > 0).sum()),
        float((weights * data**2)[chosen].sum()),
    )
