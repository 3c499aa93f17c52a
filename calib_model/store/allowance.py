"""Bounds of what one file may unpack to, kept by the reading process, its parent and the writer."""

from __future__ import annotations

import math
from collections.abc import Mapping

from .layout import MAX_TOTAL_BYTES, MAX_WIDTH_BYTES, MOST_ROWS, Column
from .structure import Misfit


class Allowance:
    """What may still be unpacked from one file.

    Parameters
    ----------
    total : int
        Bytes of all columns.
    rows : mapping of dimension to int
        Rows of each dimension.
    width : int
        Bytes of all text columns.
    """

    def __init__(
        self,
        total: int = MAX_TOTAL_BYTES,
        rows: Mapping[str, int] = MOST_ROWS,
        width: int = MAX_WIDTH_BYTES,
    ) -> None:
        self.left, self.rows, self.width = total, rows, width

    def take(self, column: Column, shape: tuple[int, ...], itemsize: int) -> None:
        """Use up what a column needs; raise Misfit if it is not there."""
        place = f"column {column.name}"
        dimension = column.dimensions[0]
        most = self.rows.get(dimension, shape[0])
        if shape[0] > most:
            raise Misfit(
                place,
                f"has {shape[0]} rows; a file holds at most {most} of the kind "
                f"{dimension.replace('_', ' ')!r}.",
            )
        size = math.prod(shape) * itemsize
        self.width -= size if column.dtype == "S" else 0
        self.left -= size
        if min(self.left, self.width) < 0:
            raise Misfit(place, "declares more data than a set file may hold.")
