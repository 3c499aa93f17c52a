"""The two quadratic programme solvers behind one call, in their own words of success.

A solver that does not report success says nothing here: whether rules are at odds is settled by
`calib_model.shaping.conflict`, never by a solver's word.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray

ACCURACY, FINER = 1e-8, 1e-12
"""What is asked of a solver; and what where rows lie closer together than that."""


@dataclass(frozen=True)
class QuadraticProgramme:
    """Minimise ``1/2 z'Pz + q'z`` under ``A z <= b`` (``==`` where `equal`) and limits of z."""

    hessian: Any
    gradient: FloatArray
    matrix: Any
    bound: FloatArray
    equal: BoolArray
    lower: FloatArray
    upper: FloatArray


@dataclass(frozen=True)
class Raw:
    """A solver's answer: values, multipliers of rows, lower and upper limits (not negative)."""

    z: FloatArray
    rows: FloatArray
    lower: FloatArray
    upper: FloatArray
    solver: str


def piqp(programme: QuadraticProgramme, accuracy: float = ACCURACY) -> Raw | None:
    """Solve with PIQP; None if it does not report success."""
    import piqp as library
    from scipy.sparse import csc_matrix

    p, equal = programme, programme.equal
    solver = library.SparseSolver()
    solver.settings.eps_abs = accuracy
    solver.settings.eps_rel = accuracy / 10
    solver.settings.max_iter = 400
    strict = ~equal
    some_equal, some_rows = bool(equal.any()), bool(strict.any())
    solver.setup(
        csc_matrix(p.hessian),
        p.gradient,
        csc_matrix(p.matrix[np.flatnonzero(equal)]) if some_equal else None,
        p.bound[equal] if some_equal else None,
        csc_matrix(p.matrix[np.flatnonzero(strict)]) if some_rows else None,
        None,
        p.bound[strict] if some_rows else None,
        p.lower,
        p.upper,
    )
    if solver.solve() != library.PIQP_SOLVED:
        return None
    result = solver.result
    rows = np.zeros(p.bound.size)
    if some_equal:
        rows[equal] = result.y
    if some_rows:
        rows[strict] = result.z_u
    return _sane(
        Raw(np.array(result.x), rows, np.array(result.z_bl), np.array(result.z_bu), "PIQP")
    )


def clarabel(programme: QuadraticProgramme, accuracy: float = ACCURACY) -> Raw | None:
    """Solve with Clarabel; None if it does not report success."""
    import clarabel as library
    from scipy.sparse import csc_matrix, identity, triu, vstack

    p, equal = programme, programme.equal
    k = p.gradient.size
    has_low, has_high = np.isfinite(p.lower), np.isfinite(p.upper)
    unit = identity(k, format="csr")
    blocks = [
        csc_matrix(p.matrix[np.flatnonzero(equal)]),
        csc_matrix(p.matrix[np.flatnonzero(~equal)]),
        csc_matrix(-unit[np.flatnonzero(has_low)]),
        csc_matrix(unit[np.flatnonzero(has_high)]),
    ]
    right = np.concatenate([p.bound[equal], p.bound[~equal], -p.lower[has_low], p.upper[has_high]])
    cones = [
        library.ZeroConeT(int(equal.sum())),
        library.NonnegativeConeT(right.size - int(equal.sum())),
    ]
    settings = library.DefaultSettings()
    settings.verbose = False
    settings.tol_feas = settings.tol_gap_abs = settings.tol_gap_rel = accuracy / 10
    settings.max_threads = 1
    answer = library.DefaultSolver(
        csc_matrix(triu(p.hessian)), p.gradient, csc_matrix(vstack(blocks)), right, cones, settings
    ).solve()
    if str(answer.status) not in ("Solved", "AlmostSolved"):
        return None
    dual = np.array(answer.z)
    ends = np.cumsum([int(equal.sum()), int((~equal).sum()), int(has_low.sum())])
    rows, low, high = np.zeros(p.bound.size), np.zeros(k), np.zeros(k)
    rows[equal], rows[~equal] = dual[: ends[0]], dual[ends[0] : ends[1]]
    low[has_low], high[has_high] = dual[ends[1] : ends[2]], dual[ends[2] :]
    return _sane(Raw(np.array(answer.x), rows, low, high, "Clarabel"))


def _sane(raw: Raw) -> Raw | None:
    finite = all(np.isfinite(part).all() for part in (raw.z, raw.rows, raw.lower, raw.upper))
    return raw if finite else None
