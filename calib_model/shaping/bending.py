"""A strong roughness as unknowns of its own.

As a quadratic form, a roughness of strength 1e5 outweighs the pull of the present values by nine
powers of ten and more.  What is straight has no roughness and is settled by that pull alone, which
then lies below a solver's accuracy: answers were off by a quarter of the span, and every condition
of an optimum looked met.  With the changes of slope as unknowns ``t`` of their own, tied to the
values by ``D z = t``, no number outweighs another, and the same solvers, polish and conditions
tell the answer to rounding.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from .solvers import QuadraticProgramme, Raw


def with_bending(
    programme: QuadraticProgramme, rows: Any, rest: FloatArray, span: FloatArray, weight: float
) -> QuadraticProgramme:
    """Return a programme to whose objective ``1/2 |rows x - rest|**2`` is added.

    Parameters
    ----------
    programme : QuadraticProgramme
        Over ``u``, with ``x = span * u``, its objective divided by `weight`.
    rows : scipy.sparse.csr_array, shape (m, k)
        Over ``x``.
    rest : float array, shape (m,)
    span : float array, shape (k,)
    weight : float

    Returns
    -------
    QuadraticProgramme
        Over ``u`` and then the unknowns of their own; its rows are the given ones and then the
        ties.  `without_bending` takes its answers back.
    """
    from scipy.sparse import block_array, csc_array, csr_array, diags_array, eye_array

    scaled = csr_array(rows * span)
    largest = abs(scaled).max(axis=1).toarray().reshape(-1)
    kept = np.flatnonzero(largest > 0)  # a row without a free cell is a constant
    scaled, largest, rest = csr_array(scaled[kept]), largest[kept], rest[kept]
    ties = csr_array(diags_array(1.0 / largest) @ scaled)
    m = kept.size
    shares = diags_array(-np.sqrt(weight) / largest)
    nothing = np.full(m, np.inf)
    p = programme
    return replace(
        p,
        hessian=csc_array(block_array([[p.hessian, None], [None, eye_array(m)]])),
        gradient=np.concatenate([p.gradient, np.zeros(m)]),
        matrix=csr_array(block_array([[p.matrix, csr_array((p.bound.size, m))], [ties, shares]])),
        bound=np.concatenate([p.bound, rest / largest]),
        equal=np.concatenate([p.equal, np.ones(m, dtype=bool)]),
        lower=np.concatenate([p.lower, -nothing]),
        upper=np.concatenate([p.upper, nothing]),
    )


def without_bending(raw: Raw, cells: int, rows: int) -> Raw:
    """Return the answer for the values alone, with the multipliers of the given rows."""
    return replace(
        raw, z=raw.z[:cells], rows=raw.rows[:rows], lower=raw.lower[:cells], upper=raw.upper[:cells]
    )
