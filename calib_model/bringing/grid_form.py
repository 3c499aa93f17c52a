"""Tables in grid form: breakpoints in the first row and the first column, values between them."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from ..core.arrays import IntArray
from ..core.axis import Axis, Interpolation
from ..core.labels import Labels
from ..errors import ModelError
from .column_form import VALUE_WORDS
from .found import (
    Cells,
    Doubt,
    Found,
    Reading,
    axis_doubts,
    bad_cells,
    empty_note,
    numeral_doubts,
    ragged_doubts,
)
from .grid import EMPTY, NUMBER, TEXT, Grid
from .headings import Heading, heading_of
from .said import headed, id_said

if TYPE_CHECKING:
    from .blocks import Block

_PARTS = re.compile(r"\\(?!x[0-9a-f]{2}|u[0-9a-f]{4}|U[0-9a-f]{8})")
"""A backslash that parts the two axes of a corner, and does not spell a sign out (``\\xad``)."""


def is_grid(grid: Grid, block: Block) -> bool:
    """Whether a block has a row of numbers beside a corner, and numbers below the corner."""
    kinds = grid.kinds[block.top : block.bottom, block.left : block.right]
    if kinds.shape[0] < 2 or kinds.shape[1] < 2 or kinds[0, 0] not in (TEXT, EMPTY):
        return False
    above, beside = kinds[0, 1:], kinds[1:, 0]
    return bool((above == NUMBER).all() and (beside == NUMBER).mean() >= 0.5)


def read_grid(grid: Grid, block: Block, reading: Reading) -> None:
    """Read a block in grid form."""
    heading = heading_of(grid, block.heads, block.left, block.right)
    corner = grid.text(block.top, block.left)
    rows_said, columns_said, heading = _axes_said(corner, heading)
    _add(grid, block, reading, heading, rows_said, columns_said, [], block.top)


def is_named_grid(grid: Grid, block: Block) -> bool:
    """Whether a corner names both axes, and the breakpoints of one are names: off, slow, fast."""
    return _named_corner(grid, block) >= 0


def read_named_grid(grid: Grid, block: Block, reading: Reading) -> None:
    """Read a block whose breakpoints are names; they are counted from 0, and a doubt says so."""
    top = _named_corner(grid, block)
    heads = tuple(row for row in block.heads if row != top)
    heading = heading_of(grid, heads, block.left, block.right)
    said, columns_said, heading = _axes_said(grid.text(top, block.left), heading)
    _add(grid, block, reading, heading, said, columns_said, [], top)


def _named_corner(grid: Grid, block: Block) -> int:
    """Return the row of a corner that parts two axes by a backslash; -1 if there is none."""
    above = block.heads[-1] if block.heads and block.heads[-1] == block.top - 1 else block.top
    for row in (block.top, above):
        beside = range(block.left + 1, block.right)
        filled = (grid.kinds[row, block.left + 1 : block.right] != EMPTY).all()
        # An axis may have such a name itself, in a list with its values beside.
        listed = any(grid.text(row, column).strip().lower() in VALUE_WORDS for column in beside)
        corner = _PARTS.search(grid.text(row, block.left))
        if corner is not None and filled and not listed and row + 1 < block.bottom:
            return row
    return -1


def _axis(
    grid: Grid, about: str, rows: IntArray, columns: list[int], said: str
) -> tuple[Axis, list[Doubt]]:
    """Return an axis of some cells; names are counted from 0 and read by steps, in doubt."""
    name, unit = headed(said)
    at = np.ix_(rows, np.asarray(columns, dtype=np.intp))
    kinds = grid.kinds[at].reshape(-1)
    first = grid.place(int(rows[0]), columns[0])
    if (kinds == TEXT).all() and kinds.size > 1:
        names = [grid.text(int(row), column) for row in rows for column in columns]
        axis = Axis(
            np.arange(float(len(names))), name, unit or "-", interpolation=Interpolation.STEP,
            labels=Labels.of(names),
        )  # fmt: skip
        why = f"The breakpoints from {first} on are names; they were counted from 0, as steps."
        return axis, [Doubt(about, why, "Confirm it, or write their numbers in the file.")]
    values = grid.numbers[at].reshape(-1)
    unread = np.flatnonzero(~np.isfinite(values))
    if unread.size:
        row, column = int(rows[0]), columns[0]
        if len(columns) > 1:
            column = columns[int(unread[0])]
        else:
            row = int(rows[int(unread[0])])
        raise ModelError(
            f"{grid.place(row, column)} holds {grid.text(row, column)[:40]!r} where a breakpoint "
            "belongs.", "Mend it in the file.",
        )  # fmt: skip
    return Axis(values, name=name, unit=unit or "-"), []


def is_bare_grid(grid: Grid, block: Block) -> bool:
    """Whether a block is nothing but numbers, which rise along its first row and column."""
    kinds = grid.kinds[block.top : block.bottom, block.left : block.right]
    if min(kinds.shape) < 3 or (kinds[0] != NUMBER).any() or (kinds[:, 0] != NUMBER).any():
        return False
    numbers = grid.numbers[block.top : block.bottom, block.left : block.right]
    above, beside = numbers[0, 1:], numbers[1:, 0]
    return bool((np.diff(above) > 0).all() and (np.diff(beside) > 0).all())


def read_bare_grid(grid: Grid, block: Block, reading: Reading) -> None:
    """Read a block whose corner is a number as well; a doubt says so."""
    heading = heading_of(grid, block.heads, block.left, block.right)
    doubt = Doubt(
        "form",
        f"The corner, {grid.place(block.top, block.left)}, holds the number "
        f"{grid.text(block.top, block.left)}; first row and column were taken for breakpoints.",
        "Leave the corner empty, or confirm it.",
    )
    _add(grid, block, reading, heading, "", heading.columns, [doubt], block.top)


def _axes_said(corner: str, heading: Heading) -> tuple[str, str, Heading]:
    """Tell what the corner names: both axes, the rows' axis, or the table itself."""
    parts = _PARTS.split(corner, maxsplit=1)
    if len(parts) > 1:
        return parts[0].strip(), parts[1].strip() or heading.columns, heading
    name, unit = headed(corner)
    if corner and heading.id and id_said(name) == heading.id and heading.unit is None:
        return "", heading.columns, Heading(
            heading.id, heading.name, unit, heading.columns, heading.said
        )  # fmt: skip
    return corner, heading.columns, heading


def _add(
    grid: Grid,
    block: Block,
    reading: Reading,
    heading: Heading,
    rows_said: str,
    columns_said: str,
    doubts: list[Doubt],
    top: int,
) -> None:
    left, bottom, right = block.left, block.bottom, block.right
    body = np.arange(top + 1, bottom)
    width = list(range(left + 1, right))
    try:
        rows, named_rows = _axis(grid, "axis 1", body, [left], rows_said)
        columns, named_columns = _axis(grid, "axis 2", np.array([top]), width, columns_said)
    except ModelError as error:
        reading.leave_out(grid, block.area, f"{error}")
        return
    axes = (rows, columns)
    doubts = [
        *doubts,
        *named_rows,
        *named_columns,
        *bad_cells(grid, body, width),
        *ragged_doubts(grid, np.arange(top, bottom)),
        *numeral_doubts(grid, np.arange(top, bottom), [left, *width]),
        *axis_doubts(axes),
    ]
    notes = empty_note(grid, body, width)
    notes += [
        f"The axis {where} has no name."
        for axis, where in zip(axes, ("down the rows", "along the columns"), strict=True)
        if not axis.name
    ]
    reading.tables.append(
        Found(
            grid.source, grid.area(*block.area), "grid", heading.id, axes,
            grid.numbers[top + 1 : bottom, left + 1 : right], heading.name, heading.unit,
            dict(heading.said), tuple(doubts), (*notes, *grid.notes),
            Cells(block.area, body, tuple(width), (left,), top),
        )
    )  # fmt: skip
