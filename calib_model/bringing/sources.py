"""Files to tables as they were understood: which form a block has, and what a file says besides."""

from __future__ import annotations

from dataclasses import fields, replace

from ..core.table import Table
from ..errors import FileProblem
from ..exchange.canonical_reader import read_canonical
from ..store import read_set
from .asking import Contents
from .blocks import Block, blocks_of
from .bounds import MAX_BLOCKS, REMEDY
from .column_form import has_header, is_columns, is_details, read_columns, read_details
from .found import Found, LeftOut, Reading, TooMany
from .grid import NUMBER, TEXT, Grid
from .grid_form import (
    is_bare_grid,
    is_grid,
    is_named_grid,
    read_bare_grid,
    read_grid,
    read_named_grid,
)
from .layout import FileChoice, Layout
from .numerals import Numerals
from .row_form import is_rows, read_rows
from .said import id_said
from .variable_form import SET_FIELDS, read_all


def reading_of(contents: Contents, layout: Layout) -> Reading:
    """Return what was understood of a file.

    Parameters
    ----------
    contents : Contents
    layout : Layout
        Its choices for files count here.

    Raises
    ------
    FileProblem
        If canonical text or a set cannot be read.
    """
    reading = Reading()
    name = contents.path.name
    if layout.for_file(name).take is False:
        reading.left_out.append(LeftOut(name, "", "The layout leaves the file out."))
        return reading
    if contents.kind in ("canonical", "set"):
        _read_set(contents, reading)
        return reading
    if contents.kind == "HDF5":
        read_all(contents.variables, reading)
        return reading
    for grid in contents.grids:
        choice = layout.for_file(name, grid.sheet)
        if choice.take is False:
            reading.left_out.append(LeftOut(grid.source, "", "The layout leaves the sheet out."))
            continue
        try:
            _read_grid(_as_chosen(grid, choice), reading)
        except TooMany:
            raise FileProblem(
                contents.path, f"sheet {grid.sheet!r}" if grid.sheet else "",
                f"More than {MAX_BLOCKS} areas stand apart in it.", REMEDY,
            ) from None  # fmt: skip
    return reading


def _as_chosen(grid: Grid, choice: FileChoice) -> Grid:
    if choice.decimal is None and choice.thousands is None:
        return grid
    found = grid.numerals
    decimal = choice.decimal if choice.decimal in (".", ",") else found.decimal
    given = choice.thousands if choice.thousands is not None else found.thousands
    thousands = "" if given == decimal else given
    if not thousands and choice.thousands is None and found.doubt:
        thousands = "." if decimal == "," else ","
    return replace(grid, given=Numerals(decimal, thousands))


def _read_grid(grid: Grid, reading: Reading) -> None:
    if not grid.codes.size:
        if grid.sheet:
            reading.left_out.append(LeftOut(grid.source, "", "The sheet is empty."))
        return
    if _is_about(grid):
        for row in range(grid.codes.shape[0]):
            key = grid.text(row, 0)
            if key in SET_FIELDS and grid.codes.shape[1] > 1:
                reading.about[key] = grid.exact_text(row, 1)
        return
    before = len(reading.tables)
    for block in blocks_of(grid, reading):
        _read_block(grid, block, reading)
    made = reading.tables[before:]
    if len(made) == 1 and not made[0].id and grid.sheet and not _generic(grid.sheet):
        reading.tables[before] = replace(made[0], id=id_said(grid.sheet))


def _is_about(grid: Grid) -> bool:
    return (
        grid.sheet == "set"
        and grid.text(0, 0) == "programme"
        and [grid.text(row, 0) for row in range(3)] == ["programme", "mode", "base_mode"]
    )


def _generic(name: str) -> bool:
    return any(name.lower().startswith(w) for w in ("sheet", "tabelle", "feuil", "hoja", "blatt"))


def _read_block(grid: Grid, block: Block, reading: Reading) -> None:
    if is_details(grid, block.top, block.left, block.right):
        read_details(grid, block, reading)
    elif block.heads and has_header(grid, block.heads[-1], block.left, block.right):
        read_columns(grid, block, reading)
    elif is_named_grid(grid, block) and not is_grid(grid, block):
        read_named_grid(grid, block, reading)
    elif is_grid(grid, block):
        read_grid(grid, block, reading)
    elif is_columns(grid, block):
        read_columns(grid, block, reading)
    elif is_rows(grid, block):
        read_rows(grid, block, reading)
    elif is_bare_grid(grid, block):
        read_bare_grid(grid, block, reading)
    else:
        _neither(grid, block, reading)


def _neither(grid: Grid, block: Block, reading: Reading) -> None:
    kinds = grid.kinds[block.top : block.bottom, block.left : block.right]
    why = "No breakpoints are plainly above or beside these numbers."
    if (kinds == TEXT).sum() > (kinds == NUMBER).sum():
        why = "It is more text than numbers."
    reading.leave_out(grid, block.area, f"{why} Give rows and columns a name.")


def _read_set(contents: Contents, reading: Reading) -> None:
    if contents.kind == "canonical":
        content, form = read_canonical(contents.path), "canonical text"
    else:
        content, form = read_set(contents.path).set, "set"
    reading.about.update({k: text for k, text in content.about().items() if text})
    reading.shared_axes.extend(content.shared_axes.values())
    reading.tables.extend(found_of(table, contents.path.name, form) for table in content)


_APART = ("id", "values", "axes", "name", "unit")


def found_of(table: Table, source: str, form: str) -> Found:
    """Return a whole table as one that was found."""
    settings = {
        one.name: getattr(table, one.name) for one in fields(Table) if one.name not in _APART
    }
    return Found(
        source, f"table {table.id}", form, table.id, table.axes, table.values, table.name,
        table.unit, settings,
    )  # fmt: skip
