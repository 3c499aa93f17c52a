"""A map of visited cells as inline SVG, legible in black and white.

Each cell of a table is one box: its shade says for how long it was used (darker is longer, on a
logarithmic scale), the number in it says so in seconds.  A thick frame marks cells where the
table decided, a white corner cells used beyond an axis.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from html import escape

import numpy as np

from ..core.arrays import FloatArray
from ..core.table import Table
from ..evidence.coverage import Coverage
from .frame import axis_words, sheet, upright

_LEFT, _TOP, _BOX_W, _BOX_H = 84, 44, 46, 26
MOST_CELLS = 1024
"""Larger tables are not drawn: a cell would be too small to read."""


def visits_map(
    table: Table, covered: Coverage, marks: Mapping[tuple[int, ...], str] | None = None
) -> str:
    """Return the map of a curve's or map's visited cells as an SVG element.

    Parameters
    ----------
    table : Table
    covered : Coverage
        Of this table.
    marks : mapping of cell to str, optional
        Short texts to put into cells, such as the grade of their evidence.

    Returns
    -------
    str
        Empty for scalars, for three and more axes, and for tables too large to read.
    """
    if len(table.axes) not in (1, 2) or table.values.size > MOST_CELLS:
        return ""
    grid = covered.dwell if covered.dwell.ndim == 2 else covered.dwell[np.newaxis, :]
    rows, columns = grid.shape
    label = f"{table.label}: seconds in each cell"
    width = max(_LEFT + columns * _BOX_W + 10, 16 + 8 * len(label))
    height = _TOP + rows * _BOX_H + 30
    parts = [sheet(width, height, label)]
    parts += _axis_labels(table, rows, columns)
    longest = float(grid.max(initial=0.0))
    for row in range(rows):
        for column in range(columns):
            cell = (row, column) if covered.dwell.ndim == 2 else (column,)
            x, y = _LEFT + column * _BOX_W, _TOP + row * _BOX_H
            parts.append(_box(x, y, covered, cell, longest, (marks or {}).get(cell, "")))
    parts.append("</svg>")
    return "".join(parts)


def _axis_labels(table: Table, rows: int, columns: int) -> list[str]:
    across = table.axes[-1]
    parts = [
        f'<text x="{_LEFT + column * _BOX_W + _BOX_W / 2}" y="{_TOP - 6}" '
        f'text-anchor="middle">{escape(across.said_short(float(value), 4))}</text>'
        for column, value in enumerate(across.values.tolist())
    ]
    parts.append(
        f'<text x="{_LEFT + columns * _BOX_W / 2}" y="{_TOP + rows * _BOX_H + 18}" '
        f'text-anchor="middle">{escape(axis_words(across))}</text>'
    )
    if len(table.axes) == 2:
        down = table.axes[0]
        parts += [
            f'<text x="{_LEFT - 6}" y="{_TOP + row * _BOX_H + _BOX_H / 2 + 4}" '
            f'text-anchor="end">{escape(down.said_short(float(value), 4))}</text>'
            for row, value in enumerate(down.values.tolist())
        ]
        parts.append(upright(axis_words(down), _TOP + rows * _BOX_H / 2))
    return parts


def _box(
    x: float, y: float, covered: Coverage, cell: tuple[int, ...], longest: float, mark: str
) -> str:
    seconds = float(covered.dwell[cell])
    shade = _shade(seconds, longest)
    ink = "#fff" if shade < 128 else "#000"
    fill = "#fff" if seconds <= 0 else f"rgb({shade},{shade},{shade})"
    parts = [
        (
            f'<rect x="{x + 0.5}" y="{y + 0.5}" width="{_BOX_W - 1}" height="{_BOX_H - 1}" '
            f'fill="{fill}" stroke="#999" stroke-width="1"/>'
        )
    ]
    if covered.decided[cell] > 0:
        parts.append(
            f'<rect x="{x + 2}" y="{y + 2}" width="{_BOX_W - 4}" height="{_BOX_H - 4}" '
            'fill="none" stroke="#000" stroke-width="3"/>'
            f'<rect x="{x + 4}" y="{y + 4}" width="{_BOX_W - 8}" height="{_BOX_H - 8}" '
            'fill="none" stroke="#fff" stroke-width="1"/>'
        )
    if covered.extrapolated[cell] > 0:
        parts.append(
            f'<path d="M{x + _BOX_W - 11} {y + 1}H{x + _BOX_W - 1}V{y + 11}Z" fill="#fff" '
            'stroke="#000" stroke-width="1"/>'
        )
    text = f"{_time(seconds)} {mark}".strip() if seconds > 0 else mark
    if text:
        parts.append(
            f'<text x="{x + _BOX_W / 2}" y="{y + _BOX_H / 2 + 4}" text-anchor="middle" '
            f'fill="{ink}">{escape(text)}</text>'
        )
    return "".join(parts)


def _shade(seconds: float, longest: float) -> int:
    """Grey from 235 for a single tick to 40 for the longest stay."""
    if seconds <= 0 or longest <= 0:
        return 255
    least = min(0.02, longest / 2)
    share = math.log(max(seconds, least) / least) / math.log(longest / least)
    return round(235 - 195 * min(max(share, 0.0), 1.0))


def _time(seconds: float) -> str:
    if seconds < 100:
        return f"{seconds:.2g}" if seconds < 10 else f"{seconds:.0f}"
    return f"{seconds:.0f}" if seconds < 10_000 else f"{seconds / 3600:.1f}h"


def key() -> str:
    """Return the key to the maps, in words, as HTML."""
    return (
        "<p>A number is the time in seconds for which the cell's node was the nearest; the darker, "
        "the longer. A thick frame: the table took part in deciding there. A white corner: used "
        "beyond the end of an axis. A white box without a number: never used.</p>"
    )


def order_by_use(tables: Sequence[Table], covered: Mapping[str, Coverage]) -> list[Table]:
    """Return the tables to draw: those that decided longest first, unused ones left out."""

    def rank(table: Table) -> tuple[float, float]:
        one = covered[table.id]
        used: FloatArray = one.decided
        return (-float(used.sum()), -float(one.used.mean()))

    return sorted((t for t in tables if t.id in covered and covered[t.id].used.any()), key=rank)
