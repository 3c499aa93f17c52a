"""Explain a contradiction in words, and offer the nearest locks that would be feasible."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ..core.arrays import BoolArray
from ..core.rule import at_cell
from ..editing.change import Change, Edit, TableEdit
from ..editing.lock_changes import with_locks
from ..editing.locks import locked_cells
from ..rules.limits import Locked
from .conflict import find_core
from .problem import Place, RuleSystem
from .solve import AtOdds, NotSolved, minimise
from .storing import to_storage
from .words import Part, label, parts_of


@dataclass(frozen=True)
class Relock:
    """A lock, and the nearest value at which it would not contradict the rules."""

    place: Place
    cell: int
    now: float
    instead: float
    text: str


@dataclass(frozen=True)
class Conflict:
    """Rules and locks at odds.

    Parameters
    ----------
    parts : tuple of Part
        What contradicts each other, in words with cells and values.
    irreducible : bool
        Whether none of it can be left out: without any one part the rest could hold.
    relocks : tuple of Relock
        Locks moved as little as possible, so that everything can hold; empty if moving locks
        does not help.
    """

    parts: tuple[Part, ...]
    irreducible: bool
    relocks: tuple[Relock, ...]

    @property
    def text(self) -> str:
        """All of it in sentences."""
        said = " ".join(p.text for p in self.parts)
        lines = [f"These cannot all hold: {said}"]
        if self.relocks:
            lines.append("Nearest locks that could: " + " ".join(r.text for r in self.relocks))
        elif any(p.kind == "locked" for p in self.parts):
            lines.append("No other value of the locks alone would help.")
        return " ".join(lines)


def explain(system: RuleSystem, *, offer: bool = True) -> Conflict | None:
    """Say why the rules and locks of a system cannot all hold.

    Parameters
    ----------
    system : RuleSystem
        From `calib_model.shaping.problem.gather`, or `AtOdds.system`.
    offer : bool
        Whether to look for the nearest feasible locks too, which takes longer.

    Returns
    -------
    Conflict or None
        None if no contradiction can be shown.
    """
    core = find_core(system)
    if core is None:
        return None
    relocks = nearest_locks(system) if offer else ()
    return Conflict(parts_of(system, core.rows, core.held), core.irreducible, relocks)


def nearest_locks(system: RuleSystem) -> tuple[Relock, ...]:
    """Return the locks that would have to change, moved as little as possible.

    Least squares over the locked cells, in shares of their table's range; all other rules hold.
    Empty if the rules contradict each other without the locks as well.
    """
    from scipy.sparse import diags_array

    held = lock_rows(system)
    if not held.any():
        return ()
    locked = np.zeros(system.size, dtype=bool)
    wanted = np.nan_to_num(system.values)
    for row in np.flatnonzero(held).tolist():
        cell = int(system.cells_of(row)[0])
        locked[cell] = True
        wanted[cell] = system.bound[row] / system.matrix.data[system.matrix.indptr[row]]
    moving = held
    solution = None
    # First every lock gives way; then only those that had to.
    for _ in range(2):
        loosened = without_rows(system, moving)
        # Other cells follow the locks; a hair's pull keeps them in one place.
        weight = np.where(locked, 1.0, 1e-6)
        hessian = diags_array(weight / system.span**2).tocsr()
        try:
            solution = minimise(loosened, hessian, -(hessian @ wanted))
        except (AtOdds, NotSolved):
            break
        kept = loosened
        gave_way = np.abs(solution.values - wanted) > 1e-4 * system.span
        moving = held & np.asarray(system.matrix @ gave_way.astype(float) != 0)
    if solution is None:
        return ()
    stored = to_storage(kept, solution.values, wanted, weight)
    values = solution.values if stored.broken.size else stored.values
    found = []
    off = locked & (np.abs(values - wanted) > 1e-9 * system.span)
    for cell in np.flatnonzero(off).tolist():
        owner, flat = system.locate(cell)
        table, place = system.tables[owner], system.places[owner]
        now, instead = float(wanted[cell]), float(values[cell])
        text = (
            f"{label(system, place)} {at_cell(table, flat)}: {table.said(instead)} "
            f"in place of {table.said(now)}."
        )
        found.append(Relock(place, flat, now, instead, text))
    return tuple(found)


def relocked(system: RuleSystem, conflict: Conflict) -> Change:
    """Return the change that moves the locks of the set itself to the offered values.

    Empty if none is offered.  The other cells are for a repair to bring into line.
    """
    edits: list[Edit] = []
    for number, place in enumerate(system.places):
        mine = {r.cell: r.instead for r in conflict.relocks if r.place == place}
        if place[0] or not mine:
            continue
        table = system.tables[number]
        values = table.values.copy()
        for rule in table.rules_in_force:
            if isinstance(rule, Locked):
                for cell, value in zip(rule.cells(table), rule.values, strict=True):
                    if cell >= 0:
                        values.flat[cell] = mine.get(cell, value)
        edits.append(TableEdit(table, with_locks(table.with_values(values), locked_cells(table))))
    count = sum(r.place[0] == 0 for r in conflict.relocks)
    title = f"Move {count} lock{'' if count == 1 else 's'} to the nearest feasible values"
    return Change(title, tuple(edits), note=conflict.text)


def lock_rows(system: RuleSystem) -> BoolArray:
    """Which rows of a system are locks."""
    locks = np.array([s.rule.kind == "locked" for s in system.sources], dtype=bool)
    if not locks.size:
        return np.zeros(system.bound.size, dtype=bool)
    return np.asarray(locks[system.origin])


def without_rows(system: RuleSystem, left_out: BoolArray) -> RuleSystem:
    """Return the system without some of its rows."""
    kept = np.flatnonzero(~left_out)
    return replace(
        system,
        matrix=system.matrix[kept],
        bound=system.bound[kept],
        tolerance=system.tolerance[kept],
        equal=system.equal[kept],
        origin=system.origin[kept],
        number=system.number[kept],
    )
