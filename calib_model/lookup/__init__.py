"""The lookup: what a controller reads from a table at a point."""

from __future__ import annotations

import sys

import numpy as np

from calib_model.called import CalledModule
from calib_model.core.arrays import FloatArray
from calib_model.core.table import Table
from calib_model.lookup import compiled as _compiled
from calib_model.lookup import reference as _reference
from calib_model.lookup.reference import Points, lookup_values, weights

__all__ = ["Points", "lookup", "lookup_values", "weights"]

# Below this the compiled form saves less than its preparation costs; and bringing it into the
# process (about half a second) pays only for several million points.
_WORTH_CALLING = 2_000
_WORTH_LOADING = 5_000_000


def lookup(table: Table, points: Points, *, compiled: bool | None = None) -> FloatArray:
    """Read a table at some points.

    Parameters
    ----------
    table : Table
    points : sequence of array_like, or mapping of str to array_like
        One array per axis, in the axes' units and broadcastable to each other, or a mapping
        that gives one by the axis's input quantity (or name); it may hold more than is read.
    compiled : bool, optional
        Which of the two implementations to use; they agree in the last bit.  By default the
        compiled one where it saves time.  Where numba is not installed numpy does it all.

    Returns
    -------
    ndarray of float64, of the points' broadcast shape (no dimensions for a scalar table)
        In the table's unit.  NaN where a point is NaN or an empty cell contributes.

    Raises
    ------
    LookupProblem
        If an axis is out of order, or the points do not fit the axes.

    Examples
    --------
    >>> from calib_model.core.axis import Axis
    >>> curve = Table("fade", [1.0, 0.5], (Axis([0.0, 100.0], quantity="vehicle_speed"),))
    >>> lookup(curve, {"vehicle_speed": [0.0, 50.0, 130.0]})
    array([1.  , 0.75, 0.5 ])
    """
    arrays = [np.asarray(p, dtype=np.float64) for p in _reference.arranged(table, points)]
    if compiled is None:
        count = max((a.size for a in arrays), default=0)
        compiled = count >= (_WORTH_CALLING if _compiled.loaded() else _WORTH_LOADING)
    if compiled:
        return _compiled.lookup_values(table.axes, table.values, arrays, table.id)
    return _reference.lookup_values(table.axes, table.values, arrays, table.id)


sys.modules[__name__].__class__ = CalledModule
