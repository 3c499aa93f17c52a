"""What a surface plot shows: one table, and others beside it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from app.plots.surface.scene import (
    Frame,
    Sheet,
    axis_range,
    extent,
    plane_of,
    sheet_beside,
    sheet_of,
)
from calib_model.core.arrays import BoolArray
from calib_model.core.table import Table


class Style(Enum):
    """How a surface is drawn."""

    SOLID = "solid"
    """Coloured by value, with its wires."""
    DASHED = "dashed"
    """A veil with dashed wires, where it differs from the first one: an earlier state."""
    DOTTED = "dotted"
    """A veil with dotted wires, where it differs from the first one: another set."""
    DIFFERENCE = "difference"
    """Values are differences: coloured by sign and size, above and below a level at zero."""


@dataclass(frozen=True)
class Layer:
    """One table of a surface plot.

    Parameters
    ----------
    table : Table
        A map.
    style : Style
    name : str
        What the key calls it.
    """

    table: Table
    style: Style = Style.SOLID
    name: str = ""


LayerLike = Layer | tuple[Table, Style] | tuple[Table, Style, str]


def as_layers(layers: Iterable[LayerLike]) -> tuple[Layer, ...]:
    """Return layers from layers or tuples."""
    return tuple(x if isinstance(x, Layer) else Layer(*x) for x in layers)


@dataclass(frozen=True, eq=False)
class Placed:
    """A layer's sheet.

    Parameters
    ----------
    layer : Layer
    sheet : Sheet
    cells : bool array or None
        Cells to draw, in the drawn grid; None for all.
    """

    layer: Layer
    sheet: Sheet
    cells: BoolArray | None = None


def placed(layers: Sequence[Layer], cursor: tuple[int, ...]) -> tuple[list[Placed], list[str]]:
    """Return the sheets that can be drawn together, and names of those that cannot.

    Parameters
    ----------
    layers : sequence of Layer
        The first one says which axes and units are drawn.
    cursor : tuple of int
        Cell of the first one; says where further axes are cut.
    """
    first = layers[0].table
    base = sheet_of(first, plane_of(first, cursor))
    found, left_out = [Placed(layers[0], base)], []
    for layer in layers[1:]:
        sheet = sheet_beside(first, layer.table, cursor)
        if sheet is None:
            left_out.append(layer.name)
            continue
        cells = None
        if layer.style in (Style.DASHED, Style.DOTTED) and _same_grid(base, sheet):
            cells = differing(base, sheet)
            if not cells.any():
                continue
        found.append(Placed(layer, sheet, cells))
    return found, left_out


def differing(a: Sheet, b: Sheet) -> BoolArray:
    """Return the drawn cells with a corner at which two sheets over one grid differ."""
    same = (a.values == b.values) | (np.isnan(a.values) & np.isnan(b.values))
    marks = a.spread(~same)
    return np.asarray(marks[:-1, :-1] | marks[:-1, 1:] | marks[1:, 1:] | marks[1:, :-1])


def frame_of(sheets: Sequence[Placed]) -> Frame:
    """Return the frame that shows all of some sheets."""
    table = sheets[0].layer.table
    arrays = [p.sheet.values for p in sheets]
    low, high = table.lower, table.upper
    if any(p.layer.style is Style.DIFFERENCE for p in sheets):
        arrays.append(np.zeros(1))
        low, high = -np.inf, np.inf
    return Frame(
        axis_range(*(p.sheet.columns for p in sheets)),
        axis_range(*(p.sheet.rows for p in sheets)),
        extent(arrays, low, high, 4 * table.storage.resolution),
    )


def _same_grid(a: Sheet, b: Sheet) -> bool:
    return np.array_equal(a.columns, b.columns) and np.array_equal(a.rows, b.rows)
