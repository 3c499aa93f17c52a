"""The one quadratic programme behind every shaping tool.

``minimise 1/2 z'Pz + q'z`` over the cells that may move, under the rules in force.  Values are
scaled by their table's span; the answer is polished, put in order in the last bit, and looked at
anew (`calib_model.shaping.kkt`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..errors import BitepointError
from .bending import with_bending, without_bending
from .conflict import contradictory, plainly_contradictory
from .kkt import kkt_residual
from .polish import polish
from .problem import RuleSystem
from .reduce import carried, order_pairs
from .solvers import ACCURACY, FINER, QuadraticProgramme, Raw, clarabel, piqp

Solver = Callable[[QuadraticProgramme, float], Raw | None]

RESIDUAL = 1e-6
"""Largest residual of the conditions of an optimum that an answer may have."""


class NotSolved(BitepointError):
    """Neither solver gave an answer that holds."""


class AtOdds(BitepointError):
    """The rules in force and the locks cannot all hold.

    Parameters
    ----------
    system : RuleSystem
        What cannot hold; `calib_model.shaping.conflict.explain` names the parts at odds.
    """

    def __init__(self, system: RuleSystem) -> None:
        self.system = system
        super().__init__(
            "The rules in force and the locked cells cannot all hold.",
            "Unlock a cell or change a rule.",
        )


@dataclass(frozen=True, eq=False)
class Solution:
    """An answer to a quadratic programme under rules.

    Parameters
    ----------
    values : float array, shape (n,)
        All stacked cells of the system.
    solver : str
        Which solver found it; empty if none was needed.
    residual : float
        Largest violation of the conditions of an optimum, in shares of the tables' spans.
    active : int array
        Rows of the system that hold the answer back.
    polished : bool
    """

    values: FloatArray
    solver: str
    residual: float
    active: IntArray
    polished: bool


def minimise(
    system: RuleSystem,
    hessian: Any,
    gradient: FloatArray,
    *,
    bending: Any = None,
    prove: bool = True,
    loose: bool = False,
) -> Solution:
    """Minimise ``1/2 z'Pz + q'z`` over the cells that may move, under the rules in force.

    Parameters
    ----------
    system : RuleSystem
    hessian : sparse array, shape (n, n)
        Symmetric, positive semidefinite, over the stacked cells.
    gradient : float array, shape (n,)
    bending : sparse array, shape (m, n), optional
        Rows ``D`` of which ``1/2 |D z|**2`` counts besides: a roughness that outweighs the rest.
    prove : bool
        Whether to look for a contradiction where the solvers fail; if not, that is `NotSolved`.
    loose : bool
        Whether half of each tolerance has been given away already.

    Raises
    ------
    AtOdds
        If the rules and locks cannot all hold (told by a proof, not by a solver's word).
    NotSolved
        If no solver gives an answer that holds.
    """
    reduced = system.reduced
    if reduced.clash:
        raise AtOdds(system)
    if not reduced.free.size:
        held = _evened(system, reduced.full(np.empty(0)))
        return Solution(held, "", 0.0, np.empty(0, dtype=np.int64), True)
    tightened = np.zeros(reduced.bound.size)
    for _ in range(3):
        programme, unscaled, row_scale = _scaled(system, hessian, gradient, tightened, bending)
        answer = _best(programme, piqp)
        if answer is None:
            # Cheap to show, and saves the second solver's time; the rest is costly.
            if prove and plainly_contradictory(system):
                raise AtOdds(system)
            answer = _best(programme, clarabel)
        if answer is None:
            if prove and contradictory(system):
                raise AtOdds(system)
            if not loose and (reduced.tolerance > 0).any():
                # Rows that hold together only within their tolerances.
                looser = system.with_reduced(reduced.loosened(0.5))
                return minimise(looser, hessian, gradient, bending=bending, prove=False, loose=True)
            raise NotSolved(
                "No values were found that obey the rules, though no contradiction was found "
                "either.",
                "Use less smoothing or a wider limit, and try again.",
            )
        raw, residual, polished = answer
        raw = without_bending(raw, reduced.free.size, reduced.bound.size)
        z = reduced.tidy(unscaled(raw.z))
        with np.errstate(invalid="ignore"):
            over = reduced.matrix @ z - reduced.bound
        over = np.where(reduced.equal, np.abs(over), over)
        late = over - reduced.tolerance
        if not (late > 0).any():
            full = _evened(system, reduced.full(z))
            active = _active(system, raw, row_scale)
            return Solution(full, raw.solver, residual, active, polished)
        # Just outside by rounding: ask for a little more where that is possible.
        tightened = tightened + np.where(reduced.equal, 0.0, 2 * np.maximum(late, 0.0))
    raise NotSolved(
        "The values found miss a rule by more than its tolerance.",
        "Loosen the rule by a rounding step, or lock fewer cells.",
    )


def _evened(system: RuleSystem, values: FloatArray) -> FloatArray:
    """Mend order that rounding left broken among cells whose values sums of others prescribe."""
    broken = system.broken(values)
    if not broken.size:
        return values
    low, high = order_pairs(system.matrix, system.bound, system.tolerance, system.equal)
    even = carried(values, low, high, up=True)
    near = bool((np.abs(even - values) <= 1e-12 * system.span).all())
    return even if near and system.broken(even).size < broken.size else values


def _scaled(
    system: RuleSystem, hessian: Any, gradient: FloatArray, tightened: FloatArray, bending: Any
) -> tuple[QuadraticProgramme, Any, FloatArray]:
    """The programme in shares of the tables' spans, rows with largest coefficient 1."""
    from scipy.sparse import csc_array, csr_array

    reduced = system.reduced
    free = reduced.free
    span = system.span[free]
    centre = np.nan_to_num(system.values[free])
    centre = np.clip(
        centre, np.minimum(reduced.lower, reduced.upper), np.maximum(reduced.lower, reduced.upper)
    )
    inner = csr_array(hessian)
    pull = gradient[free]
    if free.size < system.size:
        base = np.nan_to_num(reduced.base)
        base[free] = 0.0
        inner = inner[free]
        pull = pull + inner @ base
        inner = inner[:, free]
    pull = pull + inner @ centre
    # Scaled entry by entry: products of small sparse arrays would cost more than solving.
    entries = inner.data * np.repeat(span, np.diff(inner.indptr)) * span[inner.indices]
    p = csc_array(csr_array((entries, inner.indices, inner.indptr), shape=inner.shape))
    q = span * pull
    weight = max(float(np.abs(p.diagonal()).max(initial=0.0)), 1e-300)
    rows = reduced.matrix
    lengths = np.diff(rows.indptr)
    scaled = rows.data * span[rows.indices]
    largest = np.ones(lengths.size)
    if scaled.size:
        largest = np.maximum.reduceat(np.abs(scaled), rows.indptr[:-1])
    row_scale = 1.0 / np.where(largest > 0, largest, 1.0)
    matrix = csr_array(
        (scaled * np.repeat(row_scale, lengths), rows.indices, rows.indptr), shape=rows.shape
    )
    bound = (reduced.bound - tightened - rows @ centre) * row_scale
    programme = QuadraticProgramme(
        csc_array(p / weight),
        q / weight,
        matrix,
        bound,
        reduced.equal,
        (reduced.lower - centre) / span,
        (reduced.upper - centre) / span,
    )
    if bending is not None:
        present = reduced.full(centre)
        ties = csr_array(bending)
        programme = with_bending(
            programme, ties[:, free], -(ties @ np.nan_to_num(present)), span, weight
        )
    return programme, lambda u: centre + span * u, row_scale


def _best(programme: QuadraticProgramme, solver: Solver) -> tuple[Raw, float, bool] | None:
    """A solver's answer, polished where that succeeds; None if it does not meet the conditions."""
    rough: Raw | None = None
    for accuracy in (ACCURACY, FINER):
        raw = solver(programme, accuracy)
        if raw is None:
            break
        rough = raw
        polished = polish(programme, raw)
        if polished is not None:
            residual = _residual(programme, polished)
            if residual < RESIDUAL:
                return polished, residual, True
    if rough is None:
        return None
    residual = _residual(programme, rough)
    return (rough, residual, False) if residual < RESIDUAL else None


def _residual(p: QuadraticProgramme, raw: Raw) -> float:
    return kkt_residual(
        p.hessian, p.gradient, p.matrix, p.bound, p.equal, p.lower, p.upper, raw.z, raw.rows
    )


def _active(system: RuleSystem, raw: Raw, row_scale: FloatArray) -> IntArray:
    """Rows of the system with a multiplier that matters."""
    reduced = system.reduced
    most = max(float(np.abs(p).max(initial=0.0)) for p in (raw.rows, raw.lower, raw.upper))
    matters = 1e-7 * max(most, 1e-12)
    rows = reduced.rows[np.abs(raw.rows) > matters]
    low = reduced.lower_row[raw.lower > matters]
    high = reduced.upper_row[raw.upper > matters]
    found = np.concatenate([rows, low, high])
    return np.unique(found[found >= 0])
