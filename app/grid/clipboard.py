"""Copy and paste: tab-separated blocks, with and without axes; a paste is whole or not at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QLocale, QMimeData
from PySide6.QtGui import QGuiApplication

from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.axis import Axis
from calib_model.core.table import Table
from calib_model.editing import blocks
from calib_model.editing.change import Change, values_change
from calib_model.editing.notes import noted
from calib_model.errors import BitepointError, EditRefused
from calib_model.exchange.blocks import Block as Made
from calib_model.exchange.blocks import (
    PasteRefused,
    fitted,
    format_block,
    parse_block,
    with_numbers,
)

from . import edits
from .cells import GridCells
from .entry_strip import Question
from .plane import Plane, bounding_box
from .texts import caption, cells_text

if TYPE_CHECKING:
    from calib_model.exchange.blocks import Block

OWN_FORMAT = "application/x-bitepoint-block"
"""Our own copy of what was copied, with decimal points whatever the text beside it has."""
_LISTED = 6


def copy(view: GridCells, *, with_axes: bool = False) -> bool:
    """Copy the selected rectangle; False (told) where the selection is none.

    The text has the decimal mark of the user's system, since a spreadsheet there would take a
    point for a thousands separator; this program reads its own exact copy back.
    """
    table = view.grid.table
    if table is None:
        return False
    try:
        values, rows, columns = selected_block(table, view.grid.plane, view.source.selection)
    except BitepointError as error:
        view.source.tell(str(error), refused=True)
        return False
    if not with_axes:
        rows = columns = None
    corner = corner_text(table, view.grid.plane) if with_axes else ""
    comma = QLocale().decimalPoint() == ","
    data = QMimeData()
    data.setText(format_block(values, rows, columns, corner, "," if comma else "."))
    data.setData(OWN_FORMAT, format_block(values, rows, columns, corner).encode())
    QGuiApplication.clipboard().setMimeData(data)
    size = f"{values.shape[0]} × {values.shape[1]} cells" if values.size > 1 else "1 cell"
    view.source.tell(f"Copied {size}{' with axes' if with_axes else ''}.")
    return True


def cut(view: GridCells) -> bool:
    """Copy the selected rectangle, then empty its cells."""
    return view.may_edit() and copy(view) and view.apply(edits.empty)


def corner_text(table: Table, plane: Plane) -> str:
    """Return the text of a block's first cell: which axis runs down, and which across."""
    numbers = [n for n in (plane.row_axis, plane.column_axis) if n is not None]
    return " \\ ".join(caption(table.axes[n]) for n in numbers)


def selected_block(
    table: Table, plane: Plane, selection: BoolArray
) -> tuple[FloatArray, FloatArray | None, FloatArray | None]:
    """Return the selected rectangle's values, its row breakpoints and its column breakpoints.

    Raises
    ------
    EditRefused
        If the selection is not one rectangle.
    """
    marks = plane.of(selection)
    box = bounding_box(marks)
    if box is None:
        raise EditRefused("Nothing is selected here.", "Select the cells to copy.")
    top, left, bottom, right = box
    if not marks[top : bottom + 1, left : right + 1].all():
        raise EditRefused(
            "The selection is not one rectangle, so it has no rows and columns to copy.",
            "Select one block of cells.",
        )
    values = plane.of(table.values)[top : bottom + 1, left : right + 1]
    row_axis, column_axis = plane.row_axis, plane.column_axis
    rows = None if row_axis is None else table.axes[row_axis].values[top : bottom + 1]
    columns = None if column_axis is None else table.axes[column_axis].values[left : right + 1]
    return values, rows, columns


def paste(view: GridCells, *, add: bool = False) -> bool:
    """Paste the clipboard's block, or add it; False where it is refused, which is told.

    Where only the decimal mark is in doubt, the strip below the grid asks for it.
    """
    table = view.grid.table
    if table is None or not view.may_edit():
        return False
    data = QGuiApplication.clipboard().mimeData()
    own = bytes(data.data(OWN_FORMAT).data()) if data.hasFormat(OWN_FORMAT) else b""
    text = own.decode() if own else data.text()
    plane = view.grid.plane
    try:
        change, where = pasted(table, plane, view.source.selection, text, add=add)
    except PasteRefused as refused:
        if refused.ambiguous and view.strip is not None:
            try:  # worth asking only if the block reads once the mark is known
                pasted(table, plane, view.source.selection, text, add=add, decimal=",")
            except BitepointError as still:
                _tell_refused(view, still)
            else:
                _ask_about_commas(view, text, add=add)
        else:
            _tell_refused(view, refused)
        return False
    except BitepointError as error:
        view.source.tell(str(error), refused=True)
        return False
    if change.is_empty:
        view.source.tell("The cells hold these values already.")
    elif not view.source.do(change):
        return False
    view.source.set_selection(where)
    return True


def _ask_about_commas(view: GridCells, text: str, *, add: bool) -> None:
    plane = view.grid.plane

    def make(table: Table, selection: BoolArray) -> Change:
        return pasted(table, plane, selection, text, add=add, decimal=",")[0]

    assert view.strip is not None
    view.strip.ask(
        Question(lambda _table, _selection: "Read the commas as decimal marks?", (), make)
    )


def _tell_refused(view: GridCells, refused: BitepointError) -> None:
    cells = getattr(refused, "cells", ())
    if len(cells) < 2:
        view.source.tell(str(refused), refused=True)
        return
    said = f"Nothing was pasted, for {len(cells)} cells are refused"
    listed = [cell.words() for cell in cells[:_LISTED]]
    if len(cells) > _LISTED:
        listed.append(f"and {len(cells) - _LISTED} more")
    if view.strip is None:
        view.source.tell(f"{said}: {'; '.join(listed)}.", refused=True)
    else:
        view.source.tell(f"{said}.", refused=True)
        view.strip.explain(f"{said}:", "\n".join(listed))


def pasted(
    table: Table,
    plane: Plane,
    selection: BoolArray,
    text: str,
    *,
    add: bool = False,
    decimal: str | None = None,
) -> tuple[Change, BoolArray]:
    """Return the change that pastes (or adds) a block of text, and the cells it lands on.

    One value fills the selection.  A block starts at the selection's upper left corner; if
    more than one cell is selected, the block must have the selection's shape.  A block with
    breakpoints lands on those breakpoints.  On a curve a column of values is laid in its row.

    Raises
    ------
    EditRefused
        If any part does not fit or is no number: nothing is pasted then.
    """
    block = _laid(parse_block(with_numbers(text, table.labels), decimal), plane)
    box = bounding_box(plane.of(selection))
    if box is None:
        raise EditRefused("Nothing is selected here.", "Select the first cell to paste into.")
    top, left, bottom, right = box
    one = block.values.size == 1
    if one and block.row_axis is None and block.column_axis is None:
        where = selection
    else:
        top, height = _place(block.row_axis, table, plane.row_axis, top, bottom)
        left, width = _place(block.column_axis, table, plane.column_axis, left, right)
        shape = (plane.rows, plane.columns)
        rows, columns = fitted(block, top, left, height, width, shape).shape
        marks = np.zeros(shape, dtype=bool)
        marks[top : top + rows, left : left + columns] = True
        where = plane.spread(marks)
    amounts = np.zeros(table.shape)
    amounts[where] = block.values[0, 0] if one else block.values.reshape(-1)
    if add:
        values = blocks.add(table, where, amounts)
        title = f"Add a copied block to {cells_text(table, where)}"
    else:
        values = np.where(where, amounts, table.values)
        title = f"Paste into {cells_text(table, where)}"
    return noted(table, values_change(table, values, title)), where


def _laid(block: Block, plane: Plane) -> Block:
    """Return the block as the plane lies: on a single row, a column is turned."""
    rows, columns = block.values.shape
    if plane.rows == 1 and rows > 1 and columns == 1:
        return Made(np.ascontiguousarray(block.values.T), None, block.row_axis)
    return block


def _place(
    breakpoints: FloatArray | None, table: Table, number: int | None, first: int, last: int
) -> tuple[int, int]:
    """Return where a block begins along an axis and how many cells are selected there."""
    if breakpoints is None or number is None:
        return first, last - first + 1
    axis = table.axes[number]
    size = breakpoints.size
    for start in range(len(axis) - size + 1):
        if np.array_equal(axis.values[start : start + size], breakpoints):
            return start, size
    raise EditRefused(_unlike(axis, breakpoints), "Copy it without axes to paste it all the same.")


def _unlike(axis: Axis, breakpoints: FloatArray) -> str:
    strange = [b for b in breakpoints.tolist() if b not in axis.values]
    if strange:
        return (
            f"Nothing was pasted: the block has a breakpoint {strange[0]:.9g}, which "
            f"{axis.label} of this table does not have."
        )
    return f"Nothing was pasted: the block's breakpoints of {axis.label} do not follow each other."
