"""A proposal that changes axes or adds a table, and how values settle on new breakpoints."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import with_unit
from ..core.table import Table
from ..editing.axes import AxisError, axis_error
from ..editing.change import Change, SharedAxisEdit, TableEdit
from ..lookup.reference import lookup_values
from .problem import Place, gather
from .proposal import Proposal
from .repair import remarks, with_values
from .solve import AtOdds, NotSolved, minimise
from .storing import to_storage

ROUNDING = 1e-12
"""Share of the range that counts as rounding, not as another reading."""


@dataclass(frozen=True, eq=False)
class AxisProposal(Proposal):
    """Tables on other breakpoints.

    Parameters
    ----------
    shared : tuple of SharedAxisEdit
        Shared axes that change with them.
    errors : mapping of table id to AxisError
        How far each table's reading moves.
    """

    shared: tuple[SharedAxisEdit, ...] = ()
    errors: Mapping[str, AxisError] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        """Whether nothing would change."""
        same = all(self.before.get(place) == table for place, table in self.after.items())
        return same and not self.shared

    @property
    def summary(self) -> str:
        """What would move, in words, one sentence per table."""
        parts = [super().summary]
        for place, table in self.after.items():
            old = self.before.get(place)
            if old is None:
                parts.append(f"{table.label} is added ({table.kind}, {table.values.size} cells).")
                continue
            parts += [
                f"{table.label}: {len(b)} breakpoints of {b.label.lower()} in place of {len(a)}."
                for a, b in zip(old.axes, table.axes, strict=True)
                if a.values.tobytes() != b.values.tobytes()
            ]
        return " ".join(filter(None, parts))

    def change(self, title: str = "", set_number: int = 0) -> Change:
        """Return the one undoable change; see `Proposal.change`."""
        made = super().change(title, set_number)
        if set_number:
            return made
        added = tuple(
            TableEdit(None, table)
            for place, table in self.after.items()
            if place[0] == 0 and place not in self.before
        )
        return replace(made, edits=(*self.shared, *made.edits, *added))


def settled(
    content: CalibrationSet, table: Table, shared: Mapping[str, Axis] | None = None
) -> tuple[FloatArray, tuple[str, ...]]:
    """Return a table's values as storage can hold them, under the rules in force.

    Values that obey every rule are only rounded; others move to the nearest that do.

    Parameters
    ----------
    content : CalibrationSet
        The set without the table's new values.
    table : Table
        With the wanted values, not rounded.
    shared : mapping of id to Axis, optional
        Shared axes that change with it.

    Returns
    -------
    float array, the table's shape
    tuple of str
        What is to be said about it.
    """
    tables: dict[str, Table | None] = {table.id: table}
    for id, axis in (shared or {}).items():
        for user in content.users_of(id):
            if user.id != table.id:
                tables[user.id] = _standing_in(user, id, axis)
    trial = content.replaced(tables, dict(shared or {}))
    system = gather(trial, [table.id])
    system.allowed[:] &= np.isfinite(system.values)
    said: list[str] = []
    target = system.values
    ideal = target
    if system.broken(target).size:
        from scipy.sparse import diags_array

        hessian = diags_array(1.0 / system.span**2).tocsr()
        try:
            ideal = minimise(system, hessian, -(hessian @ np.nan_to_num(target))).values
        except (AtOdds, NotSolved) as problem:
            values = table.storage.nearest(table.values)
            return values, (f"The rules in force do not hold on these breakpoints: {problem}",)
        apart = float(np.nanmax(np.abs(ideal - target)))
        if apart > max(table.storage.resolution, 1e-9 * table.span):
            said.append(
                f"The rules in force move values by up to {with_unit(apart, table.unit, 3)}."
            )
    stored = to_storage(system, ideal, target)
    values = system.unstacked(stored.values)[(0, table.id)]
    return values, (*said, *remarks(system, stored, with_values(system, stored.values), "moved"))


def reading_error(before: Table, after: Table) -> AxisError:
    """Return the largest difference in reading; what is rounding counts as none."""
    found = axis_error(before, after)
    finite = np.abs(before.values[np.isfinite(before.values)])
    size = max(before.span, float(finite.max(initial=0.0)))
    return found if found.largest > ROUNDING * size else AxisError(0.0, found.at)


def _standing_in(user: Table, id: str, axis: Axis) -> Table:
    """Another user of a shared axis, re-read, so that a trial set is whole."""
    axes = tuple(axis if a.shared == id else a for a in user.axes)
    mesh = np.meshgrid(*(a.values for a in axes), indexing="ij")
    return replace(user, axes=axes, values=lookup_values(user.axes, user.values, mesh, user.id))


def places_of(tables: Mapping[str, Table]) -> dict[Place, Table]:
    """Tables by place in the set itself."""
    return {(0, id): table for id, table in tables.items()}
