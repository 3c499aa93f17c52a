"""An independent look at an answer: whether it meets the conditions of an optimum.

For ``minimise 1/2 z'Pz + q'z`` under rows and limits, the conditions of Karush, Kuhn and Tucker
are: every row holds, the multipliers of inequalities are not negative, a row that is slack has
none, and ``Pz + q`` is balanced by rows and limits.  Nothing here is taken from a solver but the
answer and the multipliers it claims.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray


def kkt_residual(
    hessian: Any,
    gradient: FloatArray,
    matrix: Any,
    bound: FloatArray,
    equal: BoolArray,
    lower: FloatArray,
    upper: FloatArray,
    z: FloatArray,
    multipliers: FloatArray,
) -> float:
    """Return the largest violation of the conditions of an optimum, relative to the data.

    Parameters
    ----------
    hessian : sparse array, shape (k, k)
    gradient : float array, shape (k,)
    matrix : sparse array, shape (r, k)
    bound : float array, shape (r,)
    equal : bool array, shape (r,)
    lower, upper : float arrays, shape (k,)
    z : float array, shape (k,)
    multipliers : float array, shape (r,)
        Of the rows.  Those of the limits are what is left over, so they need not be given.

    Returns
    -------
    float
        The largest of: excess of a row or limit, negative multiplier, multiplier times slack,
        and what is left unbalanced in ``Pz + q + A'y``.
    """
    curve = hessian @ z
    pull = matrix.T @ multipliers if matrix.shape[0] else np.zeros_like(z)
    size = 1.0 + max(np.abs(curve).max(initial=0), np.abs(gradient).max(initial=0))
    rest = curve + gradient + pull
    room_down, room_up = z - lower, upper - z
    # A limit may only push inward, and only where it is reached.
    with np.errstate(invalid="ignore"):
        by_lower = np.where(rest > 0, np.minimum(rest / size, np.maximum(room_down, 0)), 0.0)
        by_upper = np.where(rest < 0, np.minimum(-rest / size, np.maximum(room_up, 0)), 0.0)
    slack = bound - matrix @ z if matrix.shape[0] else np.zeros(0)
    inequality = ~equal
    parts = [
        by_lower,
        by_upper,
        -room_down,
        -room_up,
        np.abs(slack[equal]),
        -slack[inequality],
        -multipliers[inequality] / size,
        np.minimum(np.abs(multipliers[inequality]) / size, np.maximum(slack[inequality], 0)),
    ]
    return float(max((p.max(initial=0.0) for p in parts), default=0.0))
