"""What a comparison of two sets gives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from calib_model.compare.cells import CellChange, cell_changes
from calib_model.compare.fields import FieldChange
from calib_model.compare.threshold import Threshold
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import short, with_unit
from calib_model.core.table import Table

if TYPE_CHECKING:
    from calib_model.rules.check import Finding


class State(StrEnum):
    """How one table stands in the two sets.

    Where several apply, the one that hinders a comparison most is named; `TableComparison.fields`
    lists them all.
    """

    SAME = "same"
    ROUNDING = "only by rounding"
    """Values differ, but the controller stores them as the same numbers; nothing else differs."""
    BELOW = "below threshold"
    """Values differ by no more than a threshold that was asked for; nothing else differs."""
    CHANGED = "changed"
    STORAGE_DIFFERS = "storage differs"
    AXES_DIFFER = "axes differ"
    UNITS_DIFFER = "units differ"
    ONLY_FIRST = "only in first"
    ONLY_SECOND = "only in second"


@dataclass(frozen=True)
class TableComparison:
    """One table in two sets.

    Parameters
    ----------
    id : str
    state : State
    first, second : Table or None
        None where the set has no such table.
    cells_changed : int or None
        Number of cells with another value; of points of the union grid where axes differ; None
        where values cannot be compared (one table only, units of different kinds, an axis out
        of order).
    largest : float or None
        The difference (second less first) of largest size, in `unit`; None if no two numbers
        differ.
    fields : tuple of FieldChange
        Everything that differs besides the values.
    breaches : tuple of Finding
        Where the relation between the modes does not hold.
    note : str
        Why values could not be compared, or how they were.
    emptied : int
        How many of the changed cells are empty in one of the two: their difference has no size.
    threshold : Threshold or None
        Cells that differ by no more are not among `cells_changed` and `cells`.
    """

    id: str
    state: State
    first: Table | None
    second: Table | None
    cells_changed: int | None = 0
    largest: float | None = None
    fields: tuple[FieldChange, ...] = ()
    breaches: tuple[Finding, ...] = ()
    note: str = ""
    emptied: int = 0
    threshold: Threshold | None = None

    @property
    def table(self) -> Table:
        """The first set's table, else the second's."""
        table = self.first if self.first is not None else self.second
        assert table is not None
        return table

    @property
    def unit(self) -> str:
        """Unit of the differences: the first table's; a converted second counts in it."""
        return self.table.unit

    @property
    def percent_of_range(self) -> float | None:
        """Size of the largest difference in percent of the first table's range."""
        if self.largest is None:
            return None
        span = self.table.span
        return None if span == 0 else 100 * abs(self.largest) / span

    @property
    def storage_steps(self) -> float | None:
        """Size of the largest difference in storage steps; None for float storage."""
        step = self.table.storage.resolution
        return None if self.largest is None or step == 0 else abs(self.largest) / step

    @cached_property
    def cells(self) -> tuple[CellChange, ...]:
        """The changed cells, in the table's order; computed when first asked for."""
        if self.first is None or self.second is None or not self.cells_changed:
            return ()
        cells = cell_changes(self.first, self.second)
        if self.threshold is None:
            return cells
        difference = np.array([cell.difference for cell in cells])
        counts = self.threshold.beyond(difference, self.first)
        return tuple(cell for cell, counted in zip(cells, counts, strict=True) if counted)

    def words(self) -> str:
        """Say in one line what differs, such as ``3 cells changed, largest −15 N·m``."""
        parts = []
        if self.cells_changed:
            what = "point" if self.state is State.AXES_DIFFER else "cell"
            plural = "" if self.cells_changed == 1 else "s"
            parts.append(f"{self.cells_changed} {what}{plural} changed")
            if self.largest is not None:
                sign = "+" if self.largest > 0 else ""
                most = f"largest {sign}{with_unit(self.largest, self.unit)}"
                more = []
                if self.percent_of_range is not None:
                    more.append(f"{short(self.percent_of_range, 3)} % of range")
                if self.storage_steps is not None:
                    more.append(f"{short(self.storage_steps, 4)} storage steps")
                parts.append(most + (f" ({', '.join(more)})" if more else ""))
        elif self.cells_changed == 0 and self.threshold is not None:
            parts.append(f"no value differs by more than {self.threshold.words()}")
        elif self.cells_changed == 0 and self.state is not State.SAME:
            parts.append("values the same")
        if self.note:
            parts.append(self.note)
        if self.fields:
            parts.append("differs in " + ", ".join(dict.fromkeys(f.field for f in self.fields)))
        return "; ".join(parts)


@dataclass(frozen=True)
class Comparison:
    """Two sets compared, table by table.

    Parameters
    ----------
    first, second : CalibrationSet
    tables : mapping of id to TableComparison
        Every table of either set: the first's order, then those that only the second has.
    fields : tuple of FieldChange
        What differs in what the sets say of themselves, and in axes that no table uses.
    relation : str
        Which relation between modes was checked, in words, or why none was.
    """

    first: CalibrationSet
    second: CalibrationSet
    tables: Mapping[str, TableComparison]
    fields: tuple[FieldChange, ...] = ()
    relation: str = ""

    @cached_property
    def differing(self) -> tuple[TableComparison, ...]:
        """The tables that are not the same, nor within a threshold that was asked for."""
        alike = (State.SAME, State.BELOW)
        return tuple(t for t in self.tables.values() if t.state not in alike)

    @cached_property
    def breaches(self) -> tuple[Finding, ...]:
        """Every breach of a relation between the modes."""
        return tuple(b for t in self.tables.values() for b in t.breaches)

    @property
    def same(self) -> bool:
        """Whether both have the same content; name, revision and description are not content."""
        return not self.differing and not any(f.is_content for f in self.fields)

    def count(self, state: State) -> int:
        """Return how many tables are in a state."""
        return sum(1 for t in self.tables.values() if t.state is state)


def largest_of(difference: np.ndarray) -> float | None:
    """Return the entry of largest size, sign kept; NaN left out; None if there is no other."""
    finite = difference[~np.isnan(difference)]
    if finite.size == 0:
        return None
    largest = float(finite[np.argmax(np.abs(finite))])
    return largest or None
