"""Many tables in two flat arrays, so that compiled code can read any of them at a point.

A bank has numbered slots; each holds a table or nothing.  An axis finds its input by the
quantity it reads, so tables may have their axes in any order.  Compiled code takes
`Bank.arrays`, the tuple ``(numbers, layout)``, and reads with `calib_model.lookup.bank_kernel`:

- ``numbers`` (float64): first one storage step per slot (0 for none), then breakpoints and
  values of every table (C order).
- ``layout`` (int64): `PER_SLOT` whole numbers per slot: `PRESENT`, `AXIS_COUNT`, place of the
  first value (`VALUES`), then `PER_AXIS` for each of four axes from `AXES` on: `INPUT` (number of
  the input quantity), place of the first breakpoint (`BREAKPOINTS`), `COUNT`, `FLAGS`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import FloatArray, IntArray
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.table import MAX_AXES, Table
from calib_model.errors import LookupProblem, ModelError
from calib_model.lookup import reference

PRESENT, AXIS_COUNT, VALUES, AXES = 0, 1, 2, 3
INPUT, BREAKPOINTS, COUNT, FLAGS, PER_AXIS = 0, 1, 2, 3, 4
PER_SLOT = AXES + MAX_AXES * PER_AXIS
STEP, BELOW, ABOVE = 1, 2, 4

BankArrays = tuple[FloatArray, IntArray]


@dataclass(frozen=True, eq=False)
class Bank:
    """Tables in numbered slots; made by `Bank.of`.

    Parameters
    ----------
    arrays : tuple of float array and int array
        What compiled code takes; both read-only.
    shapes : tuple of tuple of int, or None for an empty slot
    """

    arrays: BankArrays
    shapes: tuple[tuple[int, ...] | None, ...]

    @classmethod
    def of(
        cls,
        tables: Sequence[Table | None],
        inputs: Mapping[str, int],
        *,
        stored: bool = False,
    ) -> Bank:
        """Pack tables.

        Parameters
        ----------
        tables : sequence of Table or None
            One per slot.
        inputs : mapping of str to int
            Place of every input quantity among the values that a reader gives.
        stored : bool
            Whether to take the nearest values that the tables' storage holds, as a controller
            does, instead of the values as they are.

        Raises
        ------
        LookupProblem
            If an axis is out of order or reads a quantity that is not among the inputs.
        """
        layout = np.zeros(len(tables) * PER_SLOT, dtype=np.int64)
        pieces: list[FloatArray] = [np.zeros(len(tables))]
        size = len(tables)
        placed: dict[bytes, int] = {}  # equal breakpoints lie in the processor's cache once
        for slot, table in enumerate(tables):
            if table is None:
                continue
            reference.check_order(table.axes, table.id)
            head = slot * PER_SLOT
            layout[head + PRESENT] = 1
            layout[head + AXIS_COUNT] = len(table.axes)
            pieces[0][slot] = table.storage.resolution
            for number, axis in enumerate(table.axes):
                place = head + AXES + number * PER_AXIS
                layout[place + INPUT] = _input_of(axis, inputs, table)
                key = axis.values.tobytes()
                if key not in placed:
                    placed[key] = size
                    pieces.append(axis.values)
                    size += axis.values.size
                layout[place + BREAKPOINTS] = placed[key]
                layout[place + COUNT] = axis.values.size
                layout[place + FLAGS] = _flags(axis)
            values = table.storage.nearest(table.values) if stored else table.values
            layout[head + VALUES] = size
            pieces.append(np.asarray(values).reshape(-1))
            size += values.size
        shapes = tuple(None if t is None else t.shape for t in tables)
        return cls((_fixed(np.concatenate(pieces)), _fixed(layout)), shapes)

    def __len__(self) -> int:
        return len(self.shapes)

    def present(self, slot: int) -> bool:
        """Tell whether a slot has a table."""
        return bool(self.arrays[1][slot * PER_SLOT + PRESENT])

    def values(self, slot: int) -> FloatArray:
        """Return a slot's values, as a read-only view of the table's shape."""
        begin, end, shape = self._place(slot)
        return self.arrays[0][begin:end].reshape(shape)

    def replaced(self, slot: int, values: npt.ArrayLike) -> Bank:
        """Return the bank with other values in a slot, taken as they are.

        Costs one copy of the numbers; the layout is shared.

        Raises
        ------
        ModelError
            If the slot is empty or the shape is another.
        """
        begin, end, shape = self._place(slot)
        array = np.asarray(values, dtype=np.float64)
        if array.shape != shape:
            raise ModelError(
                f"Values of shape {array.shape} do not fit slot {slot}, which has shape {shape}.",
                "Give one value for every cell.",
            )
        numbers = self.arrays[0].copy()
        numbers[begin:end] = array.reshape(-1)
        return replace(self, arrays=(_fixed(numbers), self.arrays[1]))

    def without(self, slots: Iterable[int]) -> Bank:
        """Return the bank with some slots empty."""
        layout = self.arrays[1].copy()
        shapes = list(self.shapes)
        for slot in slots:
            layout[slot * PER_SLOT + PRESENT] = 0
            shapes[slot] = None
        return Bank((self.arrays[0], _fixed(layout)), tuple(shapes))

    def read(self, slot: int, inputs: npt.ArrayLike) -> float:
        """Read one table at one point; compiled where numba works.

        Parameters
        ----------
        slot : int
        inputs : array_like of float, one value per input quantity
        """
        from calib_model.lookup import bank_kernel as compiled

        bank_kernel: Any = compiled  # its functions carry no types
        point = np.ascontiguousarray(inputs, dtype=np.float64)
        return float(bank_kernel.read(self.arrays, slot, point))

    def _place(self, slot: int) -> tuple[int, int, tuple[int, ...]]:
        shape = self.shapes[slot]
        if shape is None:
            raise ModelError(f"Slot {slot} holds no table.", "Bind one first.")
        begin = int(self.arrays[1][slot * PER_SLOT + VALUES])
        return begin, begin + int(np.prod(shape, dtype=np.int64)), shape


def _input_of(axis: Axis, inputs: Mapping[str, int], table: Table) -> int:
    try:
        return inputs[axis.quantity]
    except KeyError:
        said = f"reads {axis.quantity!r}" if axis.quantity else "says not what it reads"
        raise LookupProblem(
            f"Axis {axis.label} of table {table.id} {said}, which is no known input.",
            f"Bind the axis to one of {', '.join(inputs)}.",
        ) from None


def _flags(axis: Axis) -> int:
    if axis.interpolation is Interpolation.STEP:
        return STEP  # a step axis holds its ends, whatever is said of them
    return BELOW * (axis.below is End.EXTRAPOLATED) + ABOVE * (axis.above is End.EXTRAPOLATED)


def _fixed(array: Any) -> Any:
    array.setflags(write=False)
    return array
