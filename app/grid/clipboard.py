"""Copy and paste: tab-separated blocks, with and without axes; a paste is whole or not at all."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtGui import QGuiApplication

from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.table import Table
from calib_model.editing.change import Change, values_change
from calib_model.errors import BitepointError, EditRefused

from .edits import noted
from .plane import Plane, bounding_box
from .texts import cells_text

if TYPE_CHECKING:
    from .view import GridView


def copy(view: GridView, *, with_axes: bool) -> bool:
    """Copy the selected rectangle; False (told) where the selection is none."""
    from calib_model.exchange.blocks import format_block

    table = view.grid.table
    if table is None:
        return False
    try:
        block = selected_block(table, view.grid.plane, view.source.selection)
    except BitepointError as error:
        view.source.tell(str(error), refused=True)
        return False
    values, rows, columns = block
    text = (
        format_block(values, rows=rows, columns=columns) if with_axes else format_block(values)
    )
    QGuiApplication.clipboard().setText(text)
    size = f"{values.shape[0]} × {values.shape[1]} cells" if values.size > 1 else "1 cell"
    view.source.tell(f"Copied {size}{' with axes' if with_axes else ''}.")
    return True


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


def paste(view: GridView) -> bool:
    """Paste the clipboard's block; False where it is refused, which is told."""
    table = view.grid.table
    if table is None:
        return False
    text = QGuiApplication.clipboard().text()
    if not text.strip():
        view.source.tell("The clipboard holds no text to paste.", refused=True)
        return False
    plane, selection = view.grid.plane, view.source.selection
    done: list[BoolArray] = []

    def make() -> Change:
        change, where = pasted(table, plane, selection, text)
        done.append(where)
        return change

    if not view.source.do(make):
        return False
    view.source.set_selection(done[0])
    return True


def pasted(
    table: Table, plane: Plane, selection: BoolArray, text: str
) -> tuple[Change, BoolArray]:
    """Return the change that pastes a block of text, and the cells it lands on.

    One value fills the selection.  A block starts at the selection's upper left corner; if
    more than one cell is selected, the block must have the selection's shape.  A block copied
    with the breakpoints of where it lands is taken without them.

    Raises
    ------
    EditRefused
        If any part does not fit or is no number: nothing is pasted then.
    """
    block = read_block(text)
    target = place_block(table, plane, selection, block)
    whole = table.values.copy()
    if block.size == 1:
        where = selection
        whole[selection] = block[0, 0]
    else:
        top, left, inner = target
        part = plane.of(whole)[top : top + inner.shape[0], left : left + inner.shape[1]]
        part[...] = inner
        marks = np.zeros((plane.rows, plane.columns), dtype=bool)
        marks[top : top + inner.shape[0], left : left + inner.shape[1]] = True
        where = plane.spread(marks)
    change = values_change(table, whole, f"Paste into {cells_text(table, where)}")
    return noted(table, change), where
