"""What a table's axes are fed along a drive: quantities by name, each with its unit."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from ..core import units
from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.table import Table
from ..errors import BitepointError, UnitProblem


class NotFed(BitepointError):
    """A table cannot be read along a drive."""


class Feeds:
    """The input quantities known along a drive.

    Parameters
    ----------
    known : mapping of quantity to float array, shape (T,)
        NaN where it is not known.
    unit_of : mapping of quantity to str
        In which unit they are given.
    absent : mapping of quantity to str
        Why one is not there, in words.
    """

    def __init__(
        self,
        known: Mapping[str, FloatArray],
        unit_of: Mapping[str, str],
        absent: Mapping[str, str] | None = None,
    ) -> None:
        self.known = known
        self.unit_of = unit_of
        self.absent = absent or {}
        self._converted: dict[tuple[str, str], FloatArray] = {}

    def points(self, table: Table) -> tuple[FloatArray, ...]:
        """Return one array per axis, shape (T,), in the axis's unit.

        Raises
        ------
        NotFed
            If an axis is out of order, reads no known quantity, or has a unit of another kind.
        """
        self.require(table)
        return tuple(self._in_unit(axis) for axis in table.axes)

    def require(self, table: Table) -> None:
        """Raise `NotFed` if a table cannot be read."""
        for axis in table.axes:
            if not axis.quantity:
                raise NotFed(
                    f"Its axis {axis.label} is bound to no input quantity.", "Bind it in Tune."
                )
            if axis.quantity not in self.known:
                reason = self.absent.get(axis.quantity, "the drive does not give it")
                raise NotFed(f"It reads {words_of(axis.quantity)}: {reason}.")
            if not axis.ordered:
                raise NotFed(
                    f"The breakpoints of its axis {axis.label} do not rise.", "Put them in order."
                )
            own = self.unit_of[axis.quantity]
            if not units.same_kind(own, axis.unit):
                raise NotFed(
                    f"Its axis {axis.label} is in {axis.unit}, but {words_of(axis.quantity)} "
                    f"is in {own}.",
                    "Mend the axis's unit.",
                )

    def _in_unit(self, axis: Axis) -> FloatArray:
        own = self.unit_of[axis.quantity]
        array = self.known[axis.quantity]
        if own == axis.unit:
            return array
        key = (axis.quantity, axis.unit)
        if key not in self._converted:
            try:
                made = np.ascontiguousarray(units.convert(array, own, axis.unit))
            except UnitProblem as problem:
                raise NotFed(str(problem)) from None
            self._converted[key] = made
        return self._converted[key]


def words_of(quantity: str) -> str:
    """Return a quantity's name for reading: ``ambient temperature``."""
    return quantity.replace("_", " ")
