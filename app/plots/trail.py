"""The operating point and the way it came, at the true places of a table's axes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calib_model.core.arrays import FloatArray
from calib_model.core.roles import QUANTITIES
from calib_model.core.table import Table
from calib_model.core.units import convert
from calib_model.errors import BitepointError
from calib_model.lookup import lookup


@dataclass(frozen=True, eq=False)
class Trail:
    """Operating points of one table, the present one last.

    Parameters
    ----------
    places : tuple of float arrays, shape (n,)
        One per axis, in the axis's unit; NaN where it is not known.
    values : float array, shape (n,)
        What the controller reads there.
    """

    places: tuple[FloatArray, ...]
    values: FloatArray

    def inside(self, table: Table) -> bool:
        """Tell whether the present point lies within the axes."""
        return all(
            axis.values[0] <= place[-1] <= axis.values[-1]
            for axis, place in zip(table.axes, self.places, strict=True)
        )

    def clipped(self, table: Table, number: int) -> FloatArray:
        """Return places along an axis, those beyond it at its end: there the table is read."""
        values = table.axes[number].values
        return np.clip(self.places[number], values[0], values[-1])


def trail_of(
    table: Table, head: Mapping[str, float], before: Mapping[str, FloatArray]
) -> Trail | None:
    """Return the operating points of a table, or None if it does not read what is known.

    Parameters
    ----------
    table : Table
    head : mapping of input quantity to number
        The present point, in the controller's units.
    before : mapping of input quantity to float array, shape (n,)
        The seconds before it, oldest first.
    """
    names = [axis.quantity for axis in table.axes]
    if not names or any(name not in head for name in names):
        return None
    if not all(axis.ordered for axis in table.axes):
        return None
    length = min((len(before[name]) for name in names if name in before), default=0)
    if any(name not in before for name in names):
        length = 0
    places = []
    try:
        for axis, name in zip(table.axes, names, strict=True):
            way = np.asarray(before[name], float)[-length:] if length else np.empty(0)
            way = np.append(way, float(head[name]))
            unit = QUANTITIES.get(name, axis.unit)
            places.append(way if unit == axis.unit else convert(way, unit, axis.unit))
        values = lookup(table, places)
    except BitepointError:
        return None
    return Trail(tuple(places), np.asarray(values))
