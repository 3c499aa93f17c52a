"""Which cells a drive used, for how long, and for how long they decided.

A cell is the surroundings of its node (`calib_model.evidence.bins`).  A tick counts once, for the
cell whose node is nearest, so that a table's dwell adds up to the time driven and equals
`numpy.histogramdd` over the midpoints.  (`Replay.cells_at` gives every cell that contributed to a
lookup, with its weight.)
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..core.arrays import BoolArray, FloatArray, IntArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..errors import ModelError
from .bins import Bins, beyond, bins_of, flat_bins

if TYPE_CHECKING:
    from ..core.table import Table
    from .replay import Replay
    from .ticks import Ticks

MOST_REMEMBERED = 200


@dataclass(frozen=True, eq=False)
class Coverage:
    """How one table was used.

    Parameters
    ----------
    table_id : str
    axes : tuple of Axis
        Of the table whose cells these are.
    dwell : float array, the table's shape
        Seconds for which the cell's node was the nearest.
    visits : int array, same shape
        How often a stay in the cell began.  A gap in the recording ends a stay.
    extrapolated : float array, same shape
        Seconds of the dwell for which an input lay beyond its axis, held or extrapolated there.
    decided : float array, same shape
        Seconds of the dwell for which the table took part in what decided the torque.
    """

    table_id: str
    axes: tuple[Axis, ...]
    dwell: FloatArray
    visits: IntArray
    extrapolated: FloatArray
    decided: FloatArray

    @property
    def used(self) -> BoolArray:
        """Which cells were used at all, the table's shape."""
        return np.asarray(self.dwell > 0)

    @property
    def seconds(self) -> float:
        """Time for which the table's inputs were known."""
        return float(self.dwell.sum())

    @property
    def words(self) -> str:
        """Say it in one line, such as ``14 of 120 cells used, 3 of them deciding``."""
        used = int(self.used.sum())
        deciding = int((self.decided > 0).sum())
        cells = "cell" if self.dwell.size == 1 else "cells"
        if not used:
            return f"0 of {self.dwell.size} {cells} used"
        if used == 1:
            said = "deciding" if deciding else "never deciding"
            return f"1 of {self.dwell.size} {cells} used, {said}"
        return f"{used} of {self.dwell.size} {cells} used, {deciding} of them deciding"

    def fits(self, table: Table) -> bool:
        """Whether the cells are those of a table as it is."""
        return _same_cells(self.axes, table.axes)

    def __add__(self, other: Coverage) -> Coverage:
        if not isinstance(other, Coverage):
            return NotImplemented
        if self.table_id != other.table_id or not _same_cells(self.axes, other.axes):
            raise ModelError(
                f"Coverages of {self.table_id} and {other.table_id} over other breakpoints "
                "do not add up.",
                "Replay the recordings through one set.",
            )
        return Coverage(
            self.table_id,
            self.axes,
            self.dwell + other.dwell,
            self.visits + other.visits,
            self.extrapolated + other.extrapolated,
            self.decided + other.decided,
        )


def _same_cells(a: tuple[Axis, ...], b: tuple[Axis, ...]) -> bool:
    return len(a) == len(b) and all(
        x is y
        or (
            x.quantity == y.quantity
            and x.unit == y.unit
            and x.interpolation is y.interpolation
            and np.array_equal(x.values, y.values)
        )
        for x, y in zip(a, b, strict=True)
    )


def coverage(
    content: CalibrationSet,
    replay: Replay,
    ticks: Ticks,
    tables: Iterable[str] | None = None,
) -> dict[str, Coverage]:
    """Return how every table was used along a drive, by table id.

    Parameters
    ----------
    content : CalibrationSet
        What was replayed.
    replay : Replay
    ticks : Ticks
        What it was replayed along.
    tables : iterable of str, optional
        Ids; every table of the set by default.

    Returns
    -------
    dict of table id to Coverage
        Without the tables that the drive does not feed (`Replay.left_out` says why).
    """
    counter = _Counter(replay, float(ticks.tick_s))
    found = {}
    for id in content.tables if tables is None else tables:
        one = counter.count(id)
        if one is not None:
            found[id] = one
    return found


def added(coverages: Iterable[Mapping[str, Coverage]]) -> dict[str, Coverage]:
    """Return the coverages of several drives added up, table by table.

    Raises
    ------
    ModelError
        If a table has other breakpoints in one of them.
    """
    total: dict[str, Coverage] = {}
    for drive in coverages:
        for id, one in drive.items():
            total[id] = total[id] + one if id in total else one
    return total


class _Counter:
    """Counts ticks per cell; what tables share (axes, places) is worked out once."""

    def __init__(self, replay: Replay, tick_s: float) -> None:
        self._replay = replay
        self._tick_s = tick_s
        self._bins: dict[object, tuple[Bins, BoolArray]] = {}
        self._places: dict[object, tuple[Bins, FloatArray, IntArray, FloatArray]] = {}

    def count(self, id: str) -> Coverage | None:
        table = self._replay.content.tables.get(id)
        if table is None or self._replay.why_left_out(id):
            return None
        key = (tuple(_axis_key(axis) for axis in table.axes), table.shape)
        shared = self._places.get(key)
        if shared is None:
            flat, outside = self._flat(id)
            flat = np.where(self._replay.valid, flat, np.int32(-1))
            shared = (
                flat,
                self._seconds(flat, table.values.size, None),
                self._visits(flat, table.values.size),
                self._seconds(flat, table.values.size, outside),
            )
            _kept(self._places)[key] = shared
        flat, dwell, visits, extrapolated = shared
        mask = self._replay.decided(id)
        decided = (
            np.zeros(table.values.size)
            if mask is None
            else self._seconds(flat, table.values.size, mask)
        )
        return Coverage(
            id,
            table.axes,
            dwell.reshape(table.shape),
            visits.reshape(table.shape),
            extrapolated.reshape(table.shape),
            decided.reshape(table.shape),
        )

    def _flat(self, id: str) -> tuple[Bins, BoolArray]:
        replay = self._replay
        table = replay.content[id]
        outside = np.zeros(replay.valid.size, dtype=np.bool_)
        if not table.axes:
            return np.zeros(replay.valid.size, dtype=np.int32), outside
        found = []
        for axis, x in zip(table.axes, replay.points(id), strict=True):
            key = _axis_key(axis)
            if key not in self._bins:
                _kept(self._bins)[key] = (bins_of(axis, x), beyond(axis, x))
            bins, over = self._bins[key]
            found.append(bins)
            outside |= over
        return flat_bins(table.axes, found), outside

    def _seconds(self, flat: Bins, size: int, mask: npt.NDArray[np.bool_] | None) -> FloatArray:
        chosen = flat if mask is None else flat[mask]
        counts = np.bincount(chosen[chosen >= 0], minlength=size)
        return np.asarray(counts * self._tick_s)

    @staticmethod
    def _visits(flat: Bins, size: int) -> IntArray:
        begins = np.empty(flat.size, dtype=np.bool_)
        begins[:1] = True
        np.not_equal(flat[1:], flat[:-1], out=begins[1:])
        starts = flat[begins & (flat >= 0)]
        return np.asarray(np.bincount(starts, minlength=size), dtype=np.int64)


def _kept(memory: dict[object, Any]) -> dict[object, Any]:
    """Return a memory that does not grow without end: an hour of ticks takes a megabyte each."""
    if len(memory) >= MOST_REMEMBERED:
        memory.clear()
    return memory


def _axis_key(axis: Axis) -> object:
    return (axis.quantity, axis.unit, axis.interpolation, axis.values.tobytes())
