"""Breakpoints moved, inserted and deleted from the grid."""

from __future__ import annotations

from calib_model.core.table import Table
from calib_model.editing.axes import (
    delete_breakpoint,
    detach_axis,
    insert_breakpoint,
    move_breakpoint,
)
from calib_model.editing.change import Change

from .source import GridSource


def move(
    source: GridSource, axis: int, index: int, value: float, *, keep_values: bool = False
) -> bool:
    """Move a breakpoint; the table keeps what it reads, or else its cells' values."""
    content, table = source.content, source.table
    if content is None or table is None:
        return False

    def make() -> Change:
        return move_breakpoint(content, table.id, axis, index, value, keep_values=keep_values)

    return source.do(make)


def insert(source: GridSource, axis: int, value: float) -> bool:
    """Insert a breakpoint with interpolated values."""
    content, table = source.content, source.table
    if content is None or table is None:
        return False
    return source.do(lambda: inserted(source, axis, value))


def inserted(source: GridSource, axis: int, value: float) -> Change:
    """Return the change that inserts a breakpoint."""
    content, table = source.content, source.table
    assert content is not None
    assert table is not None
    return insert_breakpoint(content, table.id, axis, value)


def delete(source: GridSource, axis: int, index: int) -> bool:
    """Delete a breakpoint with its cells."""
    content, table = source.content, source.table
    if content is None or table is None:
        return False
    return source.do(lambda: delete_breakpoint(content, table.id, axis, index))


def detach(source: GridSource, axis: int) -> bool:
    """Give the table its own copy of a shared axis."""
    content, table = source.content, source.table
    if content is None or table is None:
        return False
    return source.do(lambda: detach_axis(content, table.id, axis))


def sharing_text(source: GridSource, axis: int) -> str:
    """Return a sentence on who shares an axis, empty if nobody does."""
    content, table = source.content, source.table
    if content is None or table is None or not table.axes[axis].shared:
        return ""
    count = len(content.users_of(table.axes[axis].shared))
    return f"The axis is shared: all its {count} tables follow (Detach axis changes one alone)."


def middle(table: Table, axis: int, index: int) -> float:
    """Return a value halfway to the next breakpoint, on the axis's raster if it has one."""
    values = table.axes[axis].values
    other = index + 1 if index + 1 < values.size else index - 1
    if other < 0:
        return float(values[index])
    return float(table.axes[axis].storage.nearest((values[index] + values[other]) / 2))
