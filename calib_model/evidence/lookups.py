"""Every table of a set read along a drive, when asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from ..core.arrays import FloatArray
from ..core.calibration_set import CalibrationSet
from ..lookup import lookup_values
from ..lookup.compiled import lookup_values as compiled_lookup
from .feeds import Feeds, NotFed

MOST_BYTES = 512 << 20
"""Values kept once read: an hour of 42 tables takes 60 MB, one of 30,000 tables has no room."""
_WORTH_COMPILING = 2_000


class Lookups(Mapping[str, FloatArray]):
    """Tables read along a drive, by table id; each is read when first asked for, and kept.

    Parameters
    ----------
    content : CalibrationSet
    feeds : Feeds
    count : int
        Ticks of the drive, T.

    Attributes
    ----------
    left_out : dict of table id to str
        Tables that cannot be read along this drive, with the reason.
    """

    def __init__(self, content: CalibrationSet, feeds: Feeds, count: int) -> None:
        self.content = content
        self.feeds = feeds
        self.left_out: dict[str, str] = {}
        self._count = count
        self._kept: dict[str, FloatArray] = {}
        self._bytes = 0
        for table in content:
            try:
                feeds.require(table)
            except NotFed as problem:
                self.left_out[table.id] = str(problem)

    def __getitem__(self, id: str) -> FloatArray:
        """Return a table's values, shape (T,), in its unit; NaN where an input is not known.

        Raises
        ------
        KeyError
            If the set has no such table, or the drive does not feed it.
        """
        kept = self._kept.get(id)
        if kept is not None:
            return kept
        if id not in self.content or id in self.left_out:
            raise KeyError(id)
        values = self._read(id)
        if self._bytes + values.nbytes > MOST_BYTES:
            self._kept.clear()
            self._bytes = 0
        self._kept[id] = values
        self._bytes += values.nbytes
        return values

    def _read(self, id: str) -> FloatArray:
        table = self.content[id]
        if not table.axes:
            return np.broadcast_to(table.values, (self._count,))
        points = self.feeds.points(table)
        read = compiled_lookup if self._count >= _WORTH_COMPILING else lookup_values
        values = read(table.axes, table.values, points, id)
        values.setflags(write=False)
        return values

    def __iter__(self) -> Iterator[str]:
        return (id for id in self.content.tables if id not in self.left_out)

    def __len__(self) -> int:
        return len(self.content) - len(self.left_out)
