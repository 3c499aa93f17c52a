"""Tables in rows, a name before its values: scalars, and curves whose first row is the axis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..core.axis import Axis
from ..errors import ModelError
from .found import (
    Cells,
    Found,
    Reading,
    axis_doubts,
    bad_cells,
    empty_note,
    numeral_doubts,
    ragged_doubts,
)
from .grid import EMPTY, NUMBER, TEXT, TROUBLE, Grid
from .said import headed, id_said, is_id, is_unit, unit_said

if TYPE_CHECKING:
    from .blocks import Block


def is_rows(grid: Grid, block: Block) -> bool:
    """Whether every row begins with a text and has numbers behind it."""
    kinds = grid.kinds[block.top : block.bottom, block.left : block.right]
    numeric = (kinds == NUMBER) | (kinds == TROUBLE)
    return bool((kinds[:, 0] == TEXT).all() and numeric[:, 1:].any(axis=1).all())


def read_rows(grid: Grid, block: Block, reading: Reading) -> None:
    """Read a block of rows."""
    kinds = grid.kinds[block.top : block.bottom, block.left : block.right]
    counts = ((kinds == NUMBER) | (kinds == TROUBLE)).sum(axis=1)
    if (counts == 1).all():
        for row in range(block.top, block.bottom):
            _scalar(grid, block, reading, row)
    elif len(counts) > 1 and (counts > 1).all():
        _curves(grid, block, reading)
    else:
        reading.leave_out(
            grid, block.area,
            "Some rows have one number and some have several: neither scalars nor curves.",
        )  # fmt: skip


def _scalar(grid: Grid, block: Block, reading: Reading, row: int) -> None:
    texts, column = [], -1
    for at in range(block.left, block.right):
        kind = grid.kinds[row, at]
        if kind in (NUMBER, TROUBLE):
            column = at
        elif kind == TEXT:
            texts.append((at, grid.text(row, at)))
    said, unit = headed(texts[0][1])
    name = ""
    for at, text in texts[1:]:
        if unit is None and at > column and is_unit(text.strip("[]() ")):
            unit = unit_said(text.strip("[]() "))
        elif not name:
            name = text
    where = np.array([row])
    reading.tables.append(
        Found(
            grid.source, grid.area(row, block.left, row + 1, block.right), "list",
            said if is_id(said) else id_said(said), (), np.array(grid.numbers[row, column]),
            name or ("" if is_id(said) else said), unit, {},
            (*bad_cells(grid, where, [column]), *numeral_doubts(grid, where, [column])),
            grid.notes, Cells((row, block.left, row + 1, block.right), where, (column,)),
        )
    )  # fmt: skip


def _curves(grid: Grid, block: Block, reading: Reading) -> None:
    first = block.top
    columns = [
        c for c in range(block.left + 1, block.right) if grid.kinds[first, c] in (NUMBER, TROUBLE)
    ]
    name, unit = headed(grid.text(first, block.left))
    try:
        axis = Axis(grid.numbers[first, columns], name=name, unit=unit or "-")
    except ModelError as error:
        reading.leave_out(grid, block.area, f"{error} Mend it in the file.")
        return
    for row in range(first + 1, block.bottom):
        said, own = headed(grid.text(row, block.left))
        area = (row, block.left, row + 1, block.right)
        beyond = [
            c for c in range(block.left + 1, block.right)
            if c not in columns and grid.kinds[row, c] != EMPTY
        ]  # fmt: skip
        if beyond:
            reading.leave_out(
                grid, area, f"{grid.place(row, beyond[0])} has no breakpoint above it in "
                f"{grid.place(first, beyond[0])}.",
            )  # fmt: skip
            continue
        where = np.array([row])
        doubts = [
            *bad_cells(grid, where, columns),
            *ragged_doubts(grid, where),
            *numeral_doubts(grid, np.array([first, row]), columns),
            *axis_doubts([axis]),
        ]
        reading.tables.append(
            Found(
                grid.source, grid.area(*area), "rows", said if is_id(said) else id_said(said),
                (axis,), grid.numbers[row, columns], "" if is_id(said) else said, own, {},
                tuple(doubts), (*empty_note(grid, where, columns), *grid.notes),
                Cells(area, where, tuple(columns), (), first),
            )
        )  # fmt: skip
