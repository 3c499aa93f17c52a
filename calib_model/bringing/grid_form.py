"""Tables in grid form: breakpoints in the first row and the first column, values between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..core.axis import Axis
from ..errors import ModelError
from .found import (
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
    _add(grid, block, reading, heading, rows_said, columns_said, [])


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
    _add(grid, block, reading, heading, "", heading.columns, [doubt])


def _axes_said(corner: str, heading: Heading) -> tuple[str, str, Heading]:
    """Tell what the corner names: both axes, the rows' axis, or the table itself."""
    if "\\" in corner:
        rows, _, columns = corner.partition("\\")
        return rows.strip(), columns.strip() or heading.columns, heading
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
) -> None:
    top, left, bottom, right = block.top, block.left, block.bottom, block.right
    body = np.arange(top + 1, bottom)
    width = list(range(left + 1, right))
    beside = grid.numbers[top + 1 : bottom, left]
    above = grid.numbers[top, left + 1 : right]
    unread = ~np.isfinite(beside)
    if unread.any():
        row = top + 1 + int(np.flatnonzero(unread)[0])
        reading.leave_out(
            grid, block.area,
            f"{grid.place(row, left)} holds {grid.text(row, left)[:40]!r} where a breakpoint "
            "belongs. Mend it in the file.",
        )  # fmt: skip
        return
    try:
        axes = tuple(
            Axis(values, name=name, unit=unit or "-")
            for values, (name, unit) in ((beside, headed(rows_said)), (above, headed(columns_said)))
        )
    except ModelError as error:
        reading.leave_out(grid, block.area, f"{error}")
        return
    doubts = [
        *doubts,
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
        )
    )  # fmt: skip
