"""What a set still lacks in evidence, as the gate of a sign-off takes it."""

from __future__ import annotations

from collections.abc import Iterable

from ..core.calibration_set import CalibrationSet
from ..core.record import Level
from ..core.table import Table
from ..signoff.gate import Unproven
from .grades import CellGrade, Grade, grades

_SHORT = {Grade.NONE: "without evidence"}
_WERE = "were not driven with their present values"


def unproven(
    content: CalibrationSet,
    base: CalibrationSet | None,
    asked: Iterable[str] = (),
) -> tuple[Unproven, ...]:
    """Return, table by table, the edited cells that were not driven with their present values.

    Parameters
    ----------
    content : CalibrationSet
        Its record holds the drives.
    base : CalibrationSet or None
        What edits count from, such as the state last signed off.  None if that is not known:
        then nothing counts as edited but the tables in `asked`, of which every cell does.
    asked : iterable of str
        Ids of tables that a milestone asks to be driven (`calib_model.signoff.gate`).
    """
    tables = None if base is not None else list(asked)
    if tables is not None and not tables:
        return ()
    found = grades(content, base, content.record.drives, tables)
    return tuple(
        Unproven(
            id,
            tuple(cell.cell for cell in lacking),
            lacking_words(content.tables[id], lacking, len(found.tables[id])),
        )
        for id, lacking in found.lacking.items()
    )


def undriven(
    content: CalibrationSet, base: CalibrationSet | None, tables: Iterable[str]
) -> dict[str, str]:
    """Return why tables are not driven, by table id; those that are driven are left out.

    A table is driven if drives in the record used every cell that changed with its present
    value, and at least one cell if none changed.

    Parameters
    ----------
    content : CalibrationSet
    base : CalibrationSet or None
        What changes count from; None: every cell counts as changed.
    tables : iterable of str
        Ids.
    """
    ids = [id for id in tables if id in content.tables]
    drives = content.record.drives
    changed = grades(content, base, drives, ids)
    same = [id for id in ids if id not in changed.tables]
    whole = grades(content, None, drives, same)
    found = {
        id: lacking_words(content.tables[id], lacking, len(changed.tables[id]))
        for id, lacking in changed.lacking.items()
    }
    for id in same:
        cells = whole.tables.get(id, ())
        if not any(cell.grade is Grade.DRIVEN for cell in cells):
            found[id] = "no drive in the record used it with its present values."
    return found


def called_driven(content: CalibrationSet) -> list[str]:
    """Return the ids of the tables whose level is driven, by somebody's word."""
    latest = content.record.latest_maturities
    return [id for id, given in latest.items() if given.level is Level.DRIVEN]


def lacking_words(table: Table, lacking: tuple[CellGrade, ...], changed: int) -> str:
    """Say how many of a table's changed cells were not driven, and what stands behind them."""
    first = lacking[0]
    place = place_words(table, first)
    where = f"{place}: {first.words}" if place else first.words
    if changed == 1:
        return f"its edited cell was not driven with the present value; {where}."
    kinds = []
    for grade in Grade:
        mine = [cell for cell in lacking if cell.grade is grade]
        idle = sum(cell.never_decided for cell in mine)
        if len(mine) - idle:
            kinds.append(f"{len(mine) - idle} {_SHORT.get(grade, grade)}")
        if idle:
            kinds.append(f"{idle} visited but never deciding")
    were = "was not driven with its present value" if len(lacking) == 1 else _WERE
    return f"{len(lacking)} of {changed} edited cells {were}: {', '.join(kinds)}. First, {where}."


def place_words(table: Table, cell: CellGrade) -> str:
    """Return where a cell lies, such as ``at −10 °C, 40 %``; empty for a scalar."""
    values = zip(table.axes, cell.place, strict=True)
    text = ", ".join(axis.said(value) for axis, value in values)
    return f"at {text}" if text else ""
