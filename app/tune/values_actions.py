"""Rows of the menus Edit and Values: what can be done with the selected cells."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from PySide6.QtCore import Qt

from app.action import Action, can_edit, with_document, with_table
from app.desk import Desk
from app.grid import axis_edits, clipboard, edits
from app.grid.entry_strip import Field, Question
from app.grid.headers import edit_breakpoint
from app.grid.texts import cells_text
from app.grid.view import GridView
from calib_model.core.arrays import BoolArray
from calib_model.core.numbers import exact
from calib_model.core.table import Table
from calib_model.editing.change import Change
from calib_model.editing.lock_changes import set_locks

_ACROSS, _DOWN = Qt.Orientation.Horizontal, Qt.Orientation.Vertical
Run = Callable[[Any], None]


def _in_grid(act: Callable[[GridView], object]) -> Run:
    """Return a handler that acts on the window's grid, if there is one."""

    def run(window: Any) -> None:
        if window.grid is not None:
            act(window.grid)

    return run


def _plain(kind: str) -> Run:
    return _in_grid(lambda grid: grid.apply(partial(edits.plain, kind)))


def _ask(question: Callable[[GridView, Table], Question]) -> Run:
    """Return a handler that asks numbers in the strip below the grid."""

    def act(grid: GridView) -> None:
        table = grid.grid.table
        if table is not None and grid.strip is not None and grid.may_edit():
            grid.strip.ask(question(grid, table))

    return _in_grid(act)


def _chosen(verb: str) -> Callable[[Table, BoolArray], str]:
    return lambda table, selection: f"{verb} {cells_text(table, selection, named=False)}"


def _at_cursor(grid: GridView, table: Table) -> str:
    value = float(table.values[grid.source.cursor])
    return exact(value) if np.isfinite(value) else ""


def _ends(grid: GridView, table: Table) -> tuple[str, str]:
    """Return the values at the two ends of the selection, as a ramp's first suggestion."""
    chosen = table.values[grid.source.selection]
    first, last = float(chosen[0]), float(chosen[-1])
    return tuple(exact(v) if np.isfinite(v) else "" for v in (first, last))  # type: ignore[return-value]


def _set_question(grid: GridView, table: Table) -> Question:
    return Question(
        _chosen("Set"), (Field("to", table.unit, _at_cursor(grid, table)),), edits.set_cells
    )


def _scale_question(grid: GridView, table: Table) -> Question:
    return Question(_chosen("Scale"), (Field("by factor", "-", "1"),), edits.scale)


def _offset_question(grid: GridView, table: Table) -> Question:
    return Question(_chosen("Add to"), (Field("the amount", table.unit, "0"),), edits.offset)


def _clip_question(grid: GridView, table: Table) -> Question:
    low, high = (exact(v) if np.isfinite(v) else "" for v in (table.lower, table.upper))
    fields = (Field("from", table.unit, low), Field("to", table.unit, high))
    return Question(_chosen("Clip"), fields, edits.clip)


def _ramp_question(grid: GridView, table: Table) -> Question:
    first, last = _ends(grid, table)
    fields = (Field("from", table.unit, first), Field("to", table.unit, last))
    return Question(_chosen("Ramp over"), fields, edits.ramp)


def _insert(orientation: Qt.Orientation) -> Run:
    def act(grid: GridView) -> None:
        table = grid.grid.table
        if table is None or grid.strip is None or not grid.can_edit_axis(orientation):
            return
        number = grid.grid.axis_number(orientation)
        assert number is not None
        axis, row_column = table.axes[number], grid.place
        place = row_column[1] if orientation == _ACROSS else row_column[0]
        shared = axis_edits.sharing_text(grid.source, number)
        if shared:
            grid.source.tell(shared)

        def make(_table: Table, _selection: BoolArray, value: float) -> Change:
            return axis_edits.inserted(grid.source, number, value)

        def go(value: float) -> None:
            now = grid.grid.table
            if now is not None and number < len(now.axes):
                cell = list(grid.source.cursor)
                cell[number] = int(np.argmin(abs(now.axes[number].values - value)))
                grid.source.set_cursor(tuple(cell))

        at = exact(axis_edits.middle(table, number, place))
        grid.strip.ask(
            Question(
                lambda _table, _selection: f"Insert a breakpoint of {axis.label}",
                (Field("at", axis.unit, at),),
                make,
                go,
            )
        )

    return _in_grid(act)


def _delete(orientation: Qt.Orientation) -> Run:
    def act(grid: GridView) -> None:
        if grid.can_edit_axis(orientation):
            number = grid.grid.axis_number(orientation)
            assert number is not None
            place = grid.place[1] if orientation == _ACROSS else grid.place[0]
            axis_edits.delete(grid.source, number, place)

    return _in_grid(act)


def _detach(orientation: Qt.Orientation) -> Run:
    def act(grid: GridView) -> None:
        if grid.can_edit_axis(orientation):
            number = grid.grid.axis_number(orientation)
            assert number is not None
            axis_edits.detach(grid.source, number)

    return _in_grid(act)


def _lock(locked: bool) -> Run:
    def change(table: Table, selection: BoolArray) -> Change:
        return set_locks(table, selection, locked)

    return _in_grid(lambda grid: grid.apply(change))


def _find_table(window: Any) -> None:
    window.work.find_tables()


def _can_edit_map(desk: Desk) -> bool:
    return can_edit(desk) and desk.table is not None and desk.table.values.ndim >= 2


def _can_edit_axes(desk: Desk) -> bool:
    return can_edit(desk) and desk.table is not None and desk.table.values.ndim >= 1


def _has_axes(count: int) -> Callable[[Desk], bool]:
    return lambda desk: desk.table is not None and desk.table.values.ndim >= count


def _shares(place: int) -> Callable[[Desk], bool]:
    def shares(desk: Desk) -> bool:
        table = desk.table
        if table is None or not table.axes or not can_edit(desk):
            return False
        number = min(place, len(table.axes) - 1)
        return bool(table.axes[number].shared) and (place == 1 or len(table.axes) > 1)

    return shares


# Delete empties cells in the grid only: as a key of the whole window it would empty them while
# the user is in another list.
ACTIONS: tuple[Action, ...] = (
    Action("edit.cut", "Cu&t cells", "-Edit", _in_grid(clipboard.cut), ("Ctrl+X",),
           "Copy the selected cells, then empty them.", can_edit, icon="scissors"),
    Action("edit.copy", "&Copy cells", "Edit", _in_grid(clipboard.copy), ("Ctrl+C",),
           "Copy the selected cells as a block that a spreadsheet takes.", with_table, icon="copy"),
    Action("edit.copy_with_axes", "Copy cells with a&xes", "Edit",
           _in_grid(lambda g: clipboard.copy(g, with_axes=True)), ("Ctrl+Shift+C",),
           "Copy the selected cells with their breakpoints above and beside.", with_table),
    Action("edit.paste", "&Paste cells", "Edit", _in_grid(clipboard.paste), ("Ctrl+V",),
           "Paste a block of numbers, whole or not at all.", can_edit, icon="clipboard-paste"),
    Action("edit.add_block", "A&dd copied block", "Edit",
           _in_grid(lambda g: clipboard.paste(g, add=True)), (),
           "Add the copied numbers to the cells they would be pasted on.", can_edit),
    Action("edit.empty", "&Empty cells (Del)", "Edit", _in_grid(lambda g: g.apply(edits.empty)), (),
           "Leave the selected cells without a value, which is an error until they have one.",
           can_edit),
    Action("edit.select_all", "Select &all cells", "-Edit", _in_grid(lambda g: g.selectAll()),
           ("Ctrl+A",), "Select every cell that is shown.", with_table),
    Action("edit.cell", "Edit ce&ll", "Edit", _in_grid(lambda g: g.edit_cell()), ("F2",),
           "Edit the exact value of the cell at the cross-hair.", can_edit, icon="pencil"),
    Action("edit.find_table", "&Find a table", "Edit", _find_table, ("Ctrl+F",),
           "Go to the find box of the table list.", with_document, icon="search"),
    Action("values.set", "&Set to…", "Values", _ask(_set_question), ("Ctrl+G",),
           "Give the selected cells one value.", can_edit),
    Action("values.fill_down", "Fill &down", "Values", _plain("fill_down"), ("Ctrl+D",),
           "Copy the first selected row into those below.", can_edit),
    Action("values.fill_right", "Fill &right", "Values", _plain("fill_right"), ("Ctrl+R",),
           "Copy the first selected column into those to its right.", can_edit),
    Action("values.ramp", "R&amp…", "Values", _ask(_ramp_question), ("Ctrl+Shift+P",),
           "Fill the selected cells with a straight line between two values.", can_edit),
    Action("values.corners", "Interpolate between &corners", "-Values", _plain("corners"),
           ("Ctrl+I",), "Replace the selected block by the surface through its four corners.",
           can_edit),
    Action("values.rows", "Interpolate along ro&ws", "Values", _plain("rows"),
           ("Ctrl+Shift+I",), "Replace each selected row's inside by a line between its ends.",
           can_edit),
    Action("values.columns", "Interpolate along co&lumns", "Values", _plain("columns"),
           ("Ctrl+J",), "Replace each selected column's inside by a line between its ends.",
           _can_edit_map),
    Action("values.from_neighbours", "Interpolate from &neighbours", "Values",
           _plain("neighbours"), ("Ctrl+Shift+N",),
           "Replace the selected cells by what the cells around them tell.", can_edit),
    Action("values.scale", "Scal&e…", "-Values", _ask(_scale_question), ("Ctrl+Shift+M",),
           "Multiply the selected cells by a factor.", can_edit),
    Action("values.offset", "Add an am&ount…", "Values", _ask(_offset_question),
           ("Ctrl+Shift+A",), "Add one amount to the selected cells.", can_edit),
    Action("values.clip", "Cl&ip…", "Values", _ask(_clip_question), (),
           "Keep the selected cells within two values.", can_edit),
    Action("values.mirror", "&Mirror", "Values", _plain("mirror"), (),
           "Reverse the order of the selected cells along the longer side.", can_edit),
    Action("values.mirror_negated", "Mirror with turned si&gn", "Values",
           _plain("mirror_negated"), (),
           "Reverse the order of the selected cells and turn their sign.", can_edit),
    Action("values.average", "Average locall&y", "Values", _plain("average"), ("Ctrl+Shift+G",),
           "Replace each selected cell by the mean of itself and its neighbours.", can_edit),
    Action("values.round", "Round to storage ste&ps", "Values", _plain("round"),
           ("Ctrl+Shift+D",), "Round the selected cells to values the controller can hold.",
           can_edit),
    Action("values.step_up", "Step &up", "-Values", _in_grid(lambda g: g.step_values(1)),
           ("Alt+Up",), "Raise the selected cells by one storage step; with Shift by ten.",
           can_edit),
    Action("values.step_down", "S&tep down", "Values", _in_grid(lambda g: g.step_values(-1)),
           ("Alt+Down",), "Lower the selected cells by one storage step; with Shift by ten.",
           can_edit),
    Action("values.lock", "Loc&k cells", "-Values", _lock(True), ("Ctrl+Shift+K",),
           "Keep the selected cells at their values, whatever is done to the table.", can_edit,
           icon="lock"),
    Action("values.unlock", "&Free locked cells", "Values", _lock(False), ("Ctrl+Shift+U",),
           "Let the selected cells be edited again.", can_edit, icon="lock-open"),
    Action("axes.next_plane", "&Next plane of the third axis", "-Values/Furt&her axes",
           _in_grid(lambda g: g.step_plane(2, 1)), ("Alt+PgDown",),
           "Show the cells at the next breakpoint of the third axis.", _has_axes(3)),
    Action("axes.last_plane", "&Previous plane of the third axis", "Values/Furt&her axes",
           _in_grid(lambda g: g.step_plane(2, -1)), ("Alt+PgUp",),
           "Show the cells at the breakpoint before this one of the third axis.", _has_axes(3)),
    Action("axes.next_fourth", "Next plane of the &fourth axis", "Values/Furt&her axes",
           _in_grid(lambda g: g.step_plane(3, 1)), ("Alt+Shift+PgDown",),
           "Show the cells at the next breakpoint of the fourth axis.", _has_axes(4)),
    Action("axes.last_fourth", "Previous plane of the f&ourth axis", "Values/Furt&her axes",
           _in_grid(lambda g: g.step_plane(3, -1)), ("Alt+Shift+PgUp",),
           "Show the cells at the breakpoint before this one of the fourth axis.", _has_axes(4)),
    Action("axes.move_column", "Move the &column's breakpoint", "-Values/&Breakpoints",
           _in_grid(lambda g: edit_breakpoint(g, _ACROSS)), ("Shift+F2",),
           "Type another value for the breakpoint above the cross-hair.", _can_edit_axes),
    Action("axes.move_row", "Move the &row's breakpoint", "Values/&Breakpoints",
           _in_grid(lambda g: edit_breakpoint(g, _DOWN)), ("Ctrl+F2",),
           "Type another value for the breakpoint left of the cross-hair.", _can_edit_map),
    Action("axes.insert_column", "&Insert a column's breakpoint…", "-Values/&Breakpoints",
           _insert(_ACROSS), (), "Insert a column with interpolated values.", _can_edit_axes),
    Action("axes.insert_row", "I&nsert a row's breakpoint…", "Values/&Breakpoints",
           _insert(_DOWN), (), "Insert a row with interpolated values.", _can_edit_map),
    Action("axes.delete_column", "&Delete the column's breakpoint", "Values/&Breakpoints",
           _delete(_ACROSS), (), "Delete the column at the cross-hair.", _can_edit_axes),
    Action("axes.delete_row", "D&elete the row's breakpoint", "Values/&Breakpoints",
           _delete(_DOWN), (), "Delete the row at the cross-hair.", _can_edit_map),
    Action("axes.detach_column", "De&tach the axis across", "-Values/&Breakpoints",
           _detach(_ACROSS), (), "Give this table its own copy of a shared axis.", _shares(1)),
    Action("axes.detach_row", "Detac&h the axis down", "Values/&Breakpoints",
           _detach(_DOWN), (), "Give this table its own copy of a shared axis.", _shares(0)),
)  # fmt: skip
