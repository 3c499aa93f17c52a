"""Smooth a table, or the selected part of it, under all rules in force.

Penalised least squares on the true breakpoints: near the present values, with little curvature
along each axis (Whittaker; Eilers 2003).  The strength is chosen by generalised cross-validation
that is wary of correlated noise, by restricted likelihood, or by the user.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from ..core.arrays import BoolArray, FloatArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short
from ..core.table import Table
from ..errors import EditRefused
from .problem import RuleSystem, gather
from .proposal import Diagnostics, Proposal
from .repair import before_and_after, broken_parts, not_stated, remarks, saturated, with_values
from .roughness import axes_along, bending_rows, penalty
from .solve import Solution, minimise
from .spectrum import (
    CRITERIA,
    STRONGEST,
    WEAKEST,
    GridSpectrum,
    Spectrum,
    dense_spectrum,
    grid_spectrum,
)
from .spectrum_basis import planes_of
from .storing import SECONDS, Stored, to_storage
from .words import parts_of

MOST_CELLS = 40_000
MOST_WEIGHTED = 1_200
"""Up to how many cells an automatic strength heeds weights and gaps exactly."""
FEW_CELLS = 25
ROUND_OFF = 1e-12
"""What share of a table's largest value counts as the solver's rounding."""
STRONG = 1.0
"""From here on it is worth trying without rules first: a solver's digits go to the roughness, and
a table that is straight and obeys its rules would come back moved.  With rules, the roughness
gets unknowns of its own (`calib_model.shaping.bending`)."""
REFINEMENTS = 3
STRAIGHT = float("inf")
"""The strength that leaves no curvature at all."""


@dataclass(frozen=True)
class StrengthChoice:
    """A smoothing strength, its effective degrees of freedom, and what is to be said about it."""

    strength: float
    edf: float
    criterion: str
    warnings: tuple[str, ...] = ()


class Smoother:
    """Smooths one table at any strength; made once, asked often (a slider being drawn).

    Parameters
    ----------
    content : CalibrationSet
    table : str
        Id of the table.
    selection : bool array of the table's shape, optional
        Cells that may move; all by default.
    weights : array_like of the table's shape, not negative, optional
        How much each cell's present value counts; 1 by default, 0 for an empty cell.
    along : sequence of int, optional
        Axes to smooth along, numbered from 0; all that can be, by default.  (0, 1) smooths a
        table with more axes plane by plane.
    factors : mapping of int to float, optional
        How much curvature along an axis counts, by its number: a strength is multiplied by it.
        1 for an axis that is not named; 0 leaves an axis out.
    against : sequence of CalibrationSet
        Sets of other modes, for the relation between modes.
    without : iterable of str
        Kinds of rule to leave out.

    Raises
    ------
    EditRefused
        If there is nothing to smooth: no axis with three breakpoints, no values, all locked.
    """

    def __init__(
        self,
        content: CalibrationSet,
        table: str,
        *,
        selection: BoolArray | None = None,
        weights: npt.ArrayLike | None = None,
        along: Sequence[int] | None = None,
        factors: Mapping[int, float] | None = None,
        against: Sequence[CalibrationSet] = (),
        without: Iterable[str] = (),
    ) -> None:
        self.content = content
        self.table: Table = content[table]
        if self.table.values.size > MOST_CELLS:
            raise EditRefused(
                f"{self.table.label} has more than {MOST_CELLS} cells.", "Select a part of it."
            )
        counts = self._counts(factors or {})
        self.along = tuple(n for n in axes_along(self.table, along) if counts[n] > 0)
        self.factors = tuple(counts[n] for n in self.along)
        if not self.along:
            raise EditRefused(
                f"{self.table.label} has no axis with three breakpoints or more to smooth along.",
                "Choose another axis or table.",
            )
        self.selection = (
            np.ones(self.table.shape, dtype=bool) if selection is None else selection.astype(bool)
        )
        if self.selection.shape != self.table.shape:
            raise EditRefused("The selection does not fit the table.", "Select again.")
        if not self.selection.any():
            raise EditRefused("No cell is selected.", "Select the cells to smooth.")
        self._weights_given = weights is not None
        self.weights = self._checked(weights)
        self.without = tuple(without)
        self.against = tuple(against)
        self.system: RuleSystem = gather(
            content,
            [table],
            against=against,
            allowed=None if selection is None else {table: self.selection},
            without=self.without,
        )
        outside = ~self.selection & ~np.isfinite(self.table.values)
        if outside.any():
            raise EditRefused(
                f"{self.table.label} has empty cells outside the selection.",
                "Fill them, or select them as well.",
            )

    def _counts(self, factors: Mapping[int, float]) -> list[float]:
        """How much curvature along each axis of the table counts."""
        counts = [1.0] * len(self.table.axes)
        for number, factor in factors.items():
            if not 0 <= number < len(counts):
                raise EditRefused(
                    f"{self.table.label} has no axis {number + 1}.", f"It has {len(counts)}."
                )
            if not 0 <= factor < np.inf:
                label = self.table.axes[number].label.lower()
                raise EditRefused(
                    f"The factor of {short(factor)} along {label} is no number of 0 or more.",
                    "Give 1 for the strength itself, 0 to leave the axis out.",
                )
            counts[number] = float(factor)
        return counts

    def _checked(self, weights: npt.ArrayLike | None) -> FloatArray:
        """Weights per cell, flat, 1 on average where cells are selected and filled."""
        filled = np.isfinite(self.table.values)
        if weights is None:
            given = np.ones(self.table.shape)
        else:
            given = np.array(weights, dtype=np.float64)
            if given.shape != self.table.shape:
                raise EditRefused(
                    f"Weights of shape {given.shape} do not fit {self.table.label}, whose shape "
                    f"is {self.table.shape}."
                )
            if not np.isfinite(given).all() or (given < 0).any():
                raise EditRefused("A weight is negative or not a number.", "Give weights >= 0.")
        given = np.where(filled, given, 0.0)
        counted = self.selection & (given > 0)
        if not counted.any():
            raise EditRefused(
                f"No selected cell of {self.table.label} holds a value that counts.",
                "Fill some cells, or give them weight.",
            )
        return np.asarray((given / given[counted].mean()).reshape(-1))

    @cached_property
    def data(self) -> FloatArray:
        """Present values, flat; 0 where empty or not finite (those have no weight)."""
        return np.nan_to_num(self.system.values)

    @cached_property
    def penalty(self) -> Any:
        """The roughness as a quadratic form."""
        return penalty(self.table, self.along, self.factors)

    @cached_property
    def _grid(self) -> GridSpectrum | None:
        """Closed form of a full, unweighted grid; None otherwise."""
        full = bool(self.selection.all()) and bool((self.weights == 1.0).all())
        return grid_spectrum(self.table, self.along, self.factors) if full else None

    @cached_property
    def spectrum(self) -> Spectrum:
        """All strengths at once, rules and locks aside."""
        if self._grid is not None:
            return self._grid.spectrum
        chosen = np.flatnonzero(self.selection.reshape(-1))
        if chosen.size > MOST_WEIGHTED:
            filled = self.table.with_values(self.data.reshape(self.table.shape))
            return grid_spectrum(filled, self.along, self.factors).spectrum
        return dense_spectrum(
            self.table,
            self.along,
            self.penalty,
            self.weights,
            self.data,
            self.selection.reshape(-1),
        )

    def choose(self, criterion: str = "gcv") -> StrengthChoice:
        """Choose the strength automatically.

        Parameters
        ----------
        criterion : ``gcv`` or ``reml``
            Generalised cross-validation with degrees of freedom 1.4 times as dear, or restricted
            maximum likelihood.
        """
        if criterion not in CRITERIA:
            raise EditRefused(
                f"{criterion!r} is no way to choose.", f"Use {' or '.join(CRITERIA)}."
            )
        return self.at(self.spectrum.best(criterion), criterion)

    def at(self, strength: float, criterion: str = "") -> StrengthChoice:
        """Return what a strength means.

        Raises
        ------
        EditRefused
            If it is negative or not a number.
        """
        if not strength >= 0:
            raise EditRefused("A smoothing strength cannot be negative.", "Give 0 or more.")
        if strength > STRONGEST:
            strength = STRAIGHT
        edf = self.spectrum.edf(strength)
        count = self.spectrum.count
        said = []
        if criterion and edf > 0.9 * count:
            said.append(
                f"The automatic strength hardly smooths ({short(edf, 4)} of {count} degrees of "
                "freedom): it takes the values for free of noise. Choose a strength by eye."
            )
        elif criterion and count < FEW_CELLS:
            said.append(
                f"With {count} values an automatic strength is uncertain; look at the outcome."
            )
        if criterion and np.count_nonzero(self.selection) > MOST_WEIGHTED and self._grid is None:
            said.append("The automatic strength was chosen as if every cell weighed the same.")
        return StrengthChoice(float(strength), edf, criterion, tuple(said))

    def strength_for(self, edf: float) -> float:
        """Return the strength with so many effective degrees of freedom."""
        low, high = np.log(WEAKEST), np.log(STRONGEST)
        if edf >= self.spectrum.edf(WEAKEST):
            return 0.0
        if edf <= self.spectrum.edf(STRONGEST):
            return STRAIGHT
        for _ in range(60):
            middle = (low + high) / 2
            if self.spectrum.edf(float(np.exp(middle))) > edf:
                low = middle
            else:
                high = middle
        return float(np.exp((low + high) / 2))

    # -- the answer ----------------------------------------------------------------------

    def propose(
        self, choice: StrengthChoice | float, *, on_raster: bool = True, seconds: float = SECONDS
    ) -> Proposal:
        """Return the smoothed table.

        Parameters
        ----------
        choice : Choice or float
            A strength, as `choose` or `at` give it.
        on_raster : bool
            Whether the values are to be such as storage can hold.
        seconds : float
            Time to look for stored values that keep rules which rounding breaks; 0 while a
            slider is drawn.

        Raises
        ------
        AtOdds
            If locks and rules cannot all hold.
        NotSolved
            If no answer was found.
        """
        chosen = choice if isinstance(choice, StrengthChoice) else self.at(float(choice))
        solution, remark = self.solution(chosen.strength)
        stored = (
            to_storage(self.system, solution.values, seconds=seconds)
            if on_raster
            else Stored(solution.values, np.empty(0, dtype=np.int64), "unrounded")
        )
        sets = with_values(self.system, stored.values)
        before, after = before_and_after(self.system, stored.values)
        # A table that is smooth already comes back with the solver's rounding: that is no change.
        after = {p: before[p] if _same(before[p], t) else t for p, t in after.items()}
        ideal = self.system.unstacked(solution.values)
        return Proposal(
            f"Smooth {self.table.label}",
            before,
            after,
            self._settings(chosen, on_raster),
            Diagnostics(
                solver=solution.solver,
                residual=solution.residual,
                active=parts_of(self.system, solution.active.tolist()),
                broken=broken_parts(self.system, stored),
                not_stated=not_stated(self.system),
                strength=chosen.strength,
                edf=chosen.edf,
                figures={"stored": stored.method, "cells": int(self.spectrum.count)},
            ),
            (
                *chosen.warnings,
                *remark,
                *saturated(self.system, solution.values, stored),
                *remarks(self.system, stored, sets, "smoothed"),
            ),
            {
                p: z
                for p, z in ideal.items()
                if not np.array_equal(z, after[p].values, equal_nan=True)
            },
        )

    def _settings(self, choice: StrengthChoice, on_raster: bool) -> dict[str, Any]:
        how = {"gcv": "automatic, cross-validated", "reml": "automatic, by likelihood"}
        settings: dict[str, Any] = {
            "strength": how.get(choice.criterion, "given"),
            "along": [
                self.table.axes[n].label.lower() + (f" (times {short(f)})" if f != 1 else "")
                for n, f in zip(self.along, self.factors, strict=True)
            ],
        }
        if not self.selection.all():
            settings["cells"] = int(self.selection.sum())
        if self._weights_given:
            settings["weights"] = "given"
        if self.without:
            settings["without"] = list(self.without)
        settings["rounded to storage"] = "yes" if on_raster else "no"
        return settings

    def solution(self, strength: float) -> tuple[Solution, tuple[str, ...]]:
        """Return the exact values at a strength, and a remark where the limit was not reached."""
        remark: tuple[str, ...] = ()
        if np.isinf(strength):
            free = self._obeying(self._straight())
            if free is not None:
                return free, remark
            strength = STRONGEST
            said = "Rules, locks or neighbours do not allow a straight answer; the strongest "
            remark = (said + "smoothing short of it was taken.",)
        free = self._obeying(self._unbound(strength))
        if free is not None:
            return free, remark
        pull = -(self.weights * self.data)
        if strength < STRONG:
            return minimise(self.system, self._form(strength), pull), remark
        rows = np.sqrt(strength) * bending_rows(self.table, self.along, self.factors)
        return minimise(self.system, self._form(0.0), pull, bending=rows), remark

    def _form(self, strength: float) -> Any:
        from scipy.sparse import csr_array, diags_array

        return csr_array(diags_array(self.weights) + strength * self.penalty)

    def _unbound(self, strength: float) -> FloatArray | None:
        """Values without rules but with pinned cells; None if that is no short way."""
        from scipy.sparse import csc_array
        from scipy.sparse.linalg import splu

        if strength == 0 and (self.weights > 0).all():
            return self.data
        reduced = self.system.reduced
        if self._grid is not None and reduced.free.size == self.data.size:
            return self._grid.values(strength).reshape(-1)
        if not reduced.free.size or reduced.clash or (reduced.bound.size and strength < STRONG):
            return None  # with rules, trying without them costs as much as it may save
        # What is straight has no roughness: solved for what departs from it, a strong smoothing
        # loses no digits to the level of the values.
        free = reduced.free
        present = reduced.full(self.data[free])
        straight = self._nearest_straight(np.nan_to_num(present))
        held = np.nan_to_num(present - straight)
        held[free] = 0.0
        form = self._form(strength)[free]
        inner = csc_array(form[:, free])
        try:
            factor = splu(inner, permc_spec="MMD_AT_PLUS_A")
        except RuntimeError:  # a hole that nothing speaks of
            return None
        right = (self.weights * (self.data - straight))[free] - form @ held
        departs = factor.solve(right)
        for _ in range(REFINEMENTS):
            departs = departs + factor.solve(right - inner @ departs)
        return reduced.full(straight[free] + departs)

    def _nearest_straight(self, present: FloatArray) -> FloatArray:
        """The straight values nearest to present ones, fixed cells weighing like any other."""
        weights = np.where(self.selection.reshape(-1), self.weights, 1.0)
        return planes_of(self.table, self.along).nearest(weights, present)

    def _straight(self) -> FloatArray | None:
        """Values without any roughness: the weighted straight line, plane, ..."""
        reduced = self.system.reduced
        present = np.nan_to_num(reduced.full(self.data[reduced.free]))
        straight = self._nearest_straight(present)
        held = np.ones(present.size, dtype=bool)
        held[reduced.free] = False
        near = ROUND_OFF * float(np.max(np.abs(present), initial=0.0))
        # Fixed cells allow it only where they lie on it already.
        if (np.abs(straight - present)[held] > near).any():
            return None
        return reduced.full(straight[reduced.free])

    def _obeying(self, values: FloatArray | None) -> Solution | None:
        """The values as an answer if they obey every rule as they are."""
        reduced = self.system.reduced
        if values is None or reduced.clash or not np.isfinite(values[reduced.free]).all():
            return None
        free = values[reduced.free]
        if (free < reduced.lower).any() or (free > reduced.upper).any():
            return None
        over = reduced.matrix @ free - reduced.bound
        over = np.where(reduced.equal, np.abs(over), over)
        if (over > reduced.tolerance).any():
            return None
        nothing = np.empty(0, dtype=np.int64)
        return Solution(reduced.full(free), "", 0.0, nothing, True)


def _same(before: Table, after: Table) -> bool:
    """Tell whether two states differ by no more than rounding."""
    filled = before.values[np.isfinite(before.values)]
    near = ROUND_OFF * float(np.max(np.abs(filled), initial=0.0))
    return bool(np.allclose(after.values, before.values, rtol=0, atol=near, equal_nan=True))


def smooth(
    content: CalibrationSet,
    table: str,
    strength: float | str = "auto",
    *,
    selection: BoolArray | None = None,
    weights: npt.ArrayLike | None = None,
    along: Sequence[int] | None = None,
    factors: Mapping[int, float] | None = None,
    against: Sequence[CalibrationSet] = (),
    without: Iterable[str] = (),
    on_raster: bool = True,
) -> Proposal:
    """Return a smoothed table; see `Smoother`.

    Parameters
    ----------
    content : CalibrationSet
    table : str
    strength : float, ``auto``, ``likelihood`` or ``straight``
        Lambda, on axes and values scaled to their ranges; ``auto`` chooses by cross-validation,
        ``likelihood`` (also ``reml``) by restricted likelihood.
    selection, weights, along, factors, against, without
        See `Smoother`.
    on_raster : bool
        Whether the values are to be such as storage can hold.
    """
    smoother = Smoother(
        content,
        table,
        selection=selection,
        weights=weights,
        along=along,
        factors=factors,
        against=against,
        without=without,
    )
    if isinstance(strength, str):
        if strength == "straight":
            return smoother.propose(smoother.at(STRAIGHT), on_raster=on_raster)
        criterion = {"auto": "gcv", "likelihood": "reml"}.get(strength, strength)
        return smoother.propose(smoother.choose(criterion), on_raster=on_raster)
    return smoother.propose(smoother.at(float(strength)), on_raster=on_raster)
