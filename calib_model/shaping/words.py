"""Rows of a rule system in words, with cells and values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from ..core.arrays import FloatArray
from ..core.numbers import with_unit
from ..core.rule import at_cell
from ..core.table import Table
from ..rules.limits import Locked
from .problem import Place, RuleSystem


@dataclass(frozen=True)
class Part:
    """One rule, lock or held cell, as it takes part in something.

    Parameters
    ----------
    text : str
        In words: table, what is asked, where.
    kind : str
        Kind of the rule; ``held`` for a cell that may not move.
    place : Place
        The table whose rule it is.
    cells : tuple of (Place, flat cell)
        Cells that take part.
    rows : int
        How many of the rule's rows take part.
    """

    text: str
    kind: str
    place: Place
    cells: tuple[tuple[Place, int], ...]
    rows: int = 1


def label(system: RuleSystem, place: Place) -> str:
    """Return a table's name; with its mode if it is not in the set itself."""
    number, id = place
    content = system.sets[number]
    name = content.tables[id].label
    return f"{name} ({content.mode} mode)" if number else name


def parts_of(system: RuleSystem, rows: Iterable[int], held: Iterable[int] = ()) -> tuple[Part, ...]:
    """Say rows in words, those of one rule together; locks cell by cell.

    Parameters
    ----------
    system : RuleSystem
    rows : iterable of int
        Rows of the system.
    held : iterable of int
        Stacked cells that may not move.
    """
    by_source: dict[int, list[int]] = {}
    for row in sorted(set(rows)):
        by_source.setdefault(int(system.origin[row]), []).append(row)
    parts: list[Part] = []
    for number, mine in by_source.items():
        rule = system.sources[number].rule
        if isinstance(rule, Locked):
            parts.extend(_lock(system, row) for row in mine)
        else:
            parts.append(_rule(system, number, mine))
    parts.extend(_held(system, cell) for cell in held)
    return tuple(parts)


def _lock(system: RuleSystem, row: int) -> Part:
    (cell,) = system.cells_of(row).tolist()
    place, table, flat = _found(system, cell)
    value = float(system.bound[row] / system.matrix.data[system.matrix.indptr[row]])
    text = f"{label(system, place)} is locked at {table.said(value)}"
    where = at_cell(table, flat)
    return Part(f"{text} {where}".rstrip() + ".", "locked", place, ((place, flat),))


def _held(system: RuleSystem, cell: int) -> Part:
    place, table, flat = _found(system, cell)
    value = table.said(float(system.values[cell]))
    where = at_cell(table, flat)
    text = f"{label(system, place)} holds {value} {where}".rstrip() + " and may not move."
    return Part(text, "held", place, ((place, flat),))


def _rule(system: RuleSystem, number: int, rows: list[int]) -> Part:
    source = system.sources[number]
    table = system.sets[source.place[0]].tables[source.place[1]]
    cells = list(dict.fromkeys(int(c) for row in rows for c in system.cells_of(row)))
    named = [_found(system, c) for c in cells]
    statement = source.rule.statement(table)
    text = f"{label(system, source.place)}: {statement}"
    own = [flat for place, _, flat in named if place == source.place]
    if table.axes and own:
        text += f", {_where(table, own, len(rows))}"
    if source.rule.reason:
        text += f" ({source.rule.reason})"
    return Part(
        text + ".",
        source.rule.kind,
        source.place,
        tuple((place, flat) for place, _, flat in named),
        len(rows),
    )


def _where(table: Table, cells: list[int], rows: int) -> str:
    first, last = min(cells), max(cells)
    if first == last:
        return at_cell(table, first)
    span = f"from {at_cell(table, first)[3:]} to {at_cell(table, last)[3:]}"
    return span if rows == 1 else f"{span} ({rows} places)"


def _found(system: RuleSystem, cell: int) -> tuple[Place, Table, int]:
    owner, flat = system.locate(cell)
    return system.places[owner], system.tables[owner], flat


def moved_words(before: FloatArray, after: FloatArray, unit: str) -> str:
    """Say how many cells moved and by how much at most."""
    with np.errstate(invalid="ignore"):
        apart = np.abs(after - before)
    apart = np.where(np.isfinite(apart), apart, 0.0)
    filled = int((~np.isfinite(before) & np.isfinite(after)).sum())
    count = int((apart > 0).sum())
    parts = []
    if count:
        most = with_unit(float(apart.max()), unit, 4)
        parts.append(f"{count} cell{'' if count == 1 else 's'} moved, by {most} at most")
    if filled:
        parts.append(f"{filled} empty cell{'' if filled == 1 else 's'} filled")
    return "; ".join(parts) or "no cell moved"
