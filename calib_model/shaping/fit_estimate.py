"""One table estimated from samples, before rules: robust rounds, strength, standard error."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.numbers import short, with_unit
from ..core.table import Table
from .assembly import Moments, coverage, gather_moments, normal_equations
from .fit_options import FitOptions, refuse_few, states
from .fit_residuals import influence, lack_of_fit, spread_of
from .fit_strength import DEFAULT, automatic, solve_columns
from .roughness import axes_along, penalty
from .samples import Samples, SamplesRefused
from .screening import Screening, screened
from .spectrum_basis import Planes, planes_of

ROUNDS = 30
CLOSE = 1e-7
"""Robust rounds end when no node moves by more than this share of the noise, or ..."""
CLOSE_ENOUGH = 0.1
"""... of many samples, by more than this share of a node's standard error."""
MANY = 100_000
FEW = 20_000
"""Samples that tell where a table cannot follow."""
APART = 3.0
"""A table cannot follow where most samples of a cell lie so many times the noise off."""
MOST_COUNTED = 4_100
"""Up to how many nodes the degrees of freedom are counted."""
BEFORE_STRENGTH = 3
"""Robust rounds before the strength is chosen anew."""
FARTHEST = 4.0
"""A table's range may be so many times the samples' own range along an axis; beyond, filling is
guessing."""


@dataclass(frozen=True, eq=False)
class Estimate:
    """A table estimated from samples, rules aside.

    Parameters
    ----------
    table : Table
    samples : Samples
        Those used.
    screening : Screening
    normal : sparse array, shape (k, k)
        ``H'WH``, robust weights and the samples' own in it.
    right : float array, shape (k,)
        ``H'Wz``.
    plain : sparse array, shape (k, k)
        The same without robust weights.
    rough : sparse array, shape (k, k)
        Roughness times its weight, in the units of `normal`.
    strength : float
        Lambda, relative to the mean coverage.
    chosen : bool
        Whether it was chosen from the data.
    scale : float
        Standard deviation of the noise as the loss sees it.
    sigma : float
        Standard deviation to go by for the standard error.
    values : float array, shape (k,)
        Node values without rules.
    coverage, nearest : float arrays, shape (k,)
    edf : float
    rounds : int
    parts : tuple of Estimate
        Of single units under test, nominal or not, where this is a mean of units.
    """

    table: Table
    samples: Samples
    screening: Screening
    normal: Any
    right: FloatArray
    plain: Any
    rough: Any
    strength: float
    chosen: bool
    scale: float
    sigma: float
    values: FloatArray
    coverage: FloatArray
    nearest: FloatArray
    edf: float
    rounds: int
    parts: tuple[Estimate, ...] = ()

    def state(self, least: int) -> Any:
        """How each node is known, in the table's shape."""
        return states(self.coverage, self.nearest, least).reshape(self.table.shape)


def estimate(
    table: Table, samples: Samples, options: FitOptions, *, strength: float | None = None
) -> Estimate:
    """Estimate a curve or map from samples, rules aside.

    Parameters
    ----------
    table : Table
        Its axes, limits and, where nodes without data keep them, values.
    samples : Samples
    options : FitOptions
    strength : float, optional
        Overrides the options'.

    Raises
    ------
    SamplesRefused
        If there are too few samples, or filling what they do not reach would be guessing.
    """
    kept, screening = screened(table, samples, hold=options.hold)
    refuse_few(len(kept), kept.total)
    if options.elsewhere == "fill":
        _refuse_far(table, screening)
    centre, size = _mean_and_size(kept)
    floor = max(noise_floor(table), 1e-12 * size)
    along = axes_along(table, options.along)
    shape_of_rough = penalty(table, along)
    wanted = options.strength if strength is None else strength

    first = gather_moments(table.axes, kept, centre=centre)
    plain, _ = normal_equations(first)
    cover = coverage(first)
    fixed = _fixed(table, cover) if options.elsewhere == "keep" else None
    planes = planes_of(table, along)
    solver = _Solver(shape_of_rough, fixed, planes, centre, kept.total, wanted)
    values = solver.solve(first, choose=options.loss == "squares")
    rounds, scale, moments = 0, 0.0, first
    if options.loss == "squares":
        scale = spread_of(table.axes, kept, values + centre).scale
    else:
        robust = _Robust(table, solver, options.loss, centre, floor)
        settle = BEFORE_STRENGTH
        if len(kept) > MANY:
            # A part of many samples tells where to begin, so that few rounds see them all.
            part = kept.thinned(MANY)
            values, *_ = robust.rounds(part, values, settle, choose=False)
            settle = 0
        values, scale, moments, rounds = robust.rounds(kept, values, settle, choose=True)
    normal, right = normal_equations(moments)
    rough = shape_of_rough * (solver.strength * moments.total / right.size)
    edf = solver.edf(plain, shape_of_rough * (solver.strength * first.total / right.size))
    sigma = _sigma(table, kept, values + centre, options.loss, max(scale, floor), edf)
    sigma = max(sigma, floor)
    return Estimate(
        table,
        kept,
        screening,
        normal,
        right + centre * np.asarray(normal.sum(axis=1)).reshape(-1),
        plain,
        rough,
        solver.strength,
        solver.chosen,
        max(scale, floor) if options.loss != "squares" else scale,
        sigma,
        values + centre,
        cover,
        first.nearest,
        edf,
        rounds,
    )


@dataclass(frozen=True)
class _Robust:
    """Rounds of weights from residuals and values from weights."""

    table: Table
    solver: _Solver
    loss: str
    centre: float
    floor: float

    def rounds(
        self, samples: Samples, values: FloatArray, settle: int, *, choose: bool
    ) -> tuple[FloatArray, float, Moments, int]:
        """Return values, noise, moments and the number of rounds it took.

        `settle` rounds come first: with Huber's loss, and before the strength is chosen, since
        far samples would spoil the one and the biweight forgets them.
        """
        axes, centre = self.table.axes, self.centre
        n = len(samples)
        some = samples if n <= 4 * MANY else samples.thinned(MANY)
        few = samples if n <= FEW else samples.thinned(FEW)
        close = CLOSE if n < MANY else CLOSE_ENOUGH * float(np.sqrt(values.size / n))
        for count in range(ROUNDS):
            spread = spread_of(axes, some, values + centre)
            scale = max(spread.scale, self.floor)
            if spread.mean_square > (APART * scale) ** 2:
                lack = lack_of_fit(axes, few, values + centre)
                scale = lack if lack > APART * scale else scale
            loss = "huber" if count < settle else self.loss
            moments = gather_moments(
                axes, samples, node_values=values + centre, loss=loss, scale=scale, centre=centre
            )
            new = self.solver.solve(moments, choose=choose and count == settle)
            moved = float(np.abs(new - values).max())
            values = new
            if count > settle and moved <= close * scale:
                break
        return values, scale, moments, count + 1


def noise_floor(table: Table) -> float:
    """Least noise to go by: rounding to storage, or a billionth of the range."""
    return max(table.storage.resolution / 12**0.5, 1e-9 * table.span, 1e-100)


def _mean_and_size(samples: Samples) -> tuple[float, float]:
    """Mean of the values, and the largest of their sizes."""
    total = count = size = 0.0
    for index, _, values in samples.chunks(1 << 18):
        weights = samples.weights_at(index)
        total += float(weights @ values)
        size = max(size, float(np.abs(values).max()))
        count += float(weights.sum())
    return total / max(count, 1e-300), size


def _fixed(table: Table, cover: FloatArray) -> FloatArray:
    """Present values of nodes without data; NaN where samples speak."""
    present = table.values.reshape(-1)
    if np.isnan(present[cover <= 1e-9]).any():
        raise SamplesRefused(
            f"{table.label} has empty cells where there are no samples, so they cannot be kept.",
            "Let nodes without data be filled, or fill these cells first.",
        )
    return np.where(cover > 1e-9, np.nan, present)


def _refuse_far(table: Table, screening: Screening) -> None:
    for axis, low, high in zip(table.axes, screening.least, screening.most, strict=True):
        if len(axis) < 2:
            continue
        reached = high - low
        if reached * FARTHEST < axis.span:
            where = (
                f"only at {with_unit(low, axis.unit, 4)}"
                if reached <= 1e-9 * axis.span
                else f"from {short(low, 4)} to {with_unit(high, axis.unit, 4)} only"
            )
            raise SamplesRefused(
                f"The samples lie {where} of {axis.label.lower()}, which runs from "
                f"{short(float(axis.values[0]), 4)} to "
                f"{with_unit(float(axis.values[-1]), axis.unit, 4)}: the rest would be guessed.",
                "Measure more of it, or keep the present values where there are no samples.",
            )


class _Solver:
    """Solves ``(N + lambda R) z = b`` with some nodes fixed."""

    def __init__(
        self,
        rough: Any,
        fixed: FloatArray | None,
        planes: Planes,
        centre: float,
        count: float,
        strength: float | None,
    ) -> None:
        self.rough, self.count = rough, count
        k = rough.shape[0]
        self.free = np.arange(k) if fixed is None else np.flatnonzero(np.isnan(fixed))
        self.base = np.zeros(k) if fixed is None else np.nan_to_num(fixed - centre)
        held = np.ones(k, dtype=bool)
        held[self.free] = False
        self.planes, self.held = planes, held
        self.wanted = strength
        self.strength = DEFAULT if strength is None else strength
        self.chosen = False

    def solve(self, moments: Moments, *, choose: bool) -> FloatArray:
        """Node values less the centre."""
        normal, right = normal_equations(moments)
        per_node = moments.total / right.size
        free = self.free
        rough = self.rough[free]
        inner = rough[:, free]
        rest = right[free]
        if free.size < right.size:
            rest = rest - normal[free] @ self.base
        if choose and self.wanted is None:
            self.strength, self.chosen = automatic(
                normal[free][:, free] / per_node,
                rest / per_node,
                moments.square / per_node,
                inner,
                self.count,
                self.planes.vanishing(self.held),
            )
        rest = rest - self.strength * per_node * (rough @ self.base)
        form = normal[free][:, free] + self.strength * per_node * inner
        values = self.base.copy()
        values[free] = _solved(form, rest)
        return values

    def edf(self, normal: Any, rough: Any) -> float:
        """Effective degrees of freedom: trace of ``(N + R)^-1 N``."""
        free = self.free
        form = (normal + rough)[free][:, free]
        part = normal[free][:, free]
        if free.size > MOST_COUNTED:
            return float(free.size)
        return float(np.trace(solve_columns(_factor(form), part.toarray())))


def _factor(form: Any) -> Any:
    from scipy.sparse import csc_array, diags_array
    from scipy.sparse.linalg import splu

    size = max(float(form.diagonal().max(initial=0.0)), 1e-300)
    # A hair on the diagonal: a node that nothing speaks of stays at the mean.
    steady = csc_array(form + diags_array(np.full(form.shape[0], 1e-13 * size)))
    return splu(steady, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})


def _solved(form: Any, right: FloatArray) -> FloatArray:
    factor = _factor(form)
    values = factor.solve(right)
    for _ in range(2):
        values = values + factor.solve(right - form @ values)
    if not np.isfinite(values).all():
        raise SamplesRefused(
            "The samples do not determine the table.", "Use more roughness weight, or more data."
        )
    return np.asarray(values)


def _sigma(
    table: Table, samples: Samples, values: FloatArray, loss: str, scale: float, edf: float
) -> float:
    """Standard deviation to multiply the standard error with."""
    n = samples.total
    room = max(n - edf, 1.0)
    # Means of so many residuals need no more than a part of them.
    some = samples if n <= 4 * MANY else samples.thinned(MANY)
    square, slope = influence(table.axes, some, values, loss, scale)
    if slope <= 0.05:
        return scale
    return float(scale * np.sqrt(square * n / room) / slope)
