"""What was used at one moment: tables, cells, weights, and which table decided."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib_model.core.numbers import short
from calib_model.core.table import Table

if TYPE_CHECKING:
    from calib_model.evidence.replay import Replay

DECIDES, PART, READ = "decides", "takes part", "read"
Cell = tuple[int, ...]


@dataclass(frozen=True)
class Use:
    """One cell that a moment used.

    Parameters
    ----------
    table : str
        Id.
    cell : tuple of int
    label, place, value, read : str
        In words: `value` of the cell, `read` of the whole table at that moment.
    weight : float
        Share of the cell in what was read, 0 to 1.
    part : str
        `DECIDES`, `PART` or `READ`.
    first : bool
        Whether it is the heaviest cell of its table.
    """

    table: str
    cell: Cell
    label: str
    place: str
    value: str
    read: str
    weight: float
    part: str
    first: bool

    @property
    def tip(self) -> str:
        """All of it in one line."""
        return f"{self.label}, {self.place}: {self.value}, {self.part}"


def deciding_table(replay: Replay, tick: int) -> str:
    """Return the id of the table that decided at a tick; empty if none did."""
    table = replay.governing_at(tick)
    return table.id if table is not None else ""


def uses_at(replay: Replay, tick: int) -> list[Use]:
    """Return the cells that a moment used: of the deciding table first, the heaviest first.

    Parameters
    ----------
    replay : Replay
    tick : int
    """
    if not replay.valid[tick]:
        return []
    decider = deciding_table(replay, tick)
    takes_part = set(replay.deciding_at(tick))
    groups: list[tuple[int, int, list[Use]]] = []
    for number, (id, table) in enumerate(replay.content.tables.items()):
        if replay.why_left_out(id):
            continue
        part = DECIDES if id == decider else PART if id in takes_part else READ
        read = table.said(float(replay.tables[id][tick]))
        uses = [
            Use(
                id,
                use.cell,
                table.label,
                place_words(table, use.cell),
                short(use.value),
                read,
                use.weight,
                part,
                rank == 0,
            )
            for rank, use in enumerate(replay.cells_at(id, tick))
        ]
        groups.append(((DECIDES, PART, READ).index(part), number, uses))
    groups.sort(key=lambda group: group[:2])
    return [use for _, _, uses in groups for use in uses]


def place_words(table: Table, cell: Cell) -> str:
    """Return where a cell lies: its axis values with units."""
    if not table.axes:
        return "single value"
    return ", ".join(
        axis.said(float(axis.values[i])) for axis, i in zip(table.axes, cell, strict=True)
    )
