"""One number for every cell of a table, to be marked over it: how long it was driven, say.

Grid, heat map, slices and surface draw the same marks: larger for a larger amount, and of another
shape where something holds (the table decided, the amount is positive).  Nothing here needs Qt.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calib_model.core.arrays import BoolArray, FloatArray, IntArray
from calib_model.core.numbers import short, with_unit
from calib_model.core.units import shown

Cell = tuple[int, ...]
DWELL_STEPS = (1.0, 10.0, 60.0)
"""Seconds from which a mark is drawn larger."""
SHARES = (0.1, 0.3, 0.7)
"""The same as shares of the largest amount, for amounts that have no steps of their own."""


class CellUse(Protocol):
    """How driving used the cells of a table: arrays of its shape, in seconds but for visits."""

    @property
    def dwell(self) -> FloatArray: ...
    @property
    def visits(self) -> FloatArray: ...
    @property
    def extrapolated(self) -> FloatArray: ...
    @property
    def decided(self) -> FloatArray: ...


@dataclass(frozen=True, eq=False)
class CellMarks:
    """Marks over the cells of one table.

    Parameters
    ----------
    label : str
        What the amounts are, such as ``driven``.
    unit : str
        Of the amounts.
    amounts : float array of the table's shape
        A cell with 0 or NaN has no mark; of others the size counts, whatever the sign.
    steps : tuple of three floats
        Amounts from which a mark is drawn larger, rising.
    full : bool array of the table's shape
        Cells with the filled square; the others have the hollow half disc.
    full_words, half_words : str
        What the two shapes mean, for the key.
    beyond : bool array of the table's shape, optional
        Cells with an arrow head beside the mark.
    beyond_words : str
    tell : callable, optional
        Returns the words for a cell; by default the label and the amount with its unit.
    summary : str
        The whole table in a few words.
    """

    label: str
    unit: str
    amounts: FloatArray
    steps: tuple[float, float, float]
    full: BoolArray
    full_words: str
    half_words: str
    beyond: BoolArray | None = None
    beyond_words: str = ""
    tell: Callable[[Cell], str] | None = None
    summary: str = ""

    @property
    def levels(self) -> IntArray:
        """Size of each mark, 0 for none to 4, in the table's shape."""
        size = np.abs(np.nan_to_num(self.amounts))
        steps = np.searchsorted(np.asarray(self.steps), size, side="right") + 1
        return np.where(size > 0, steps, 0).astype(np.int64)

    @property
    def size_words(self) -> str:
        """What the sizes mean, for the key."""
        texts = [short(step, 3) for step in self.steps]
        return f"larger from {', '.join(texts[:2])} and {texts[2]} {shown(self.unit)}".strip()

    def words(self, cell: Cell) -> str:
        """Return what is to be said of a cell, such as ``driven 12.4 s, decided 3.1 s``."""
        if self.tell is not None:
            return self.tell(cell)
        amount = float(self.amounts[cell])
        if np.isnan(amount):
            return f"{self.label}: not known"
        sign = "+" if amount > 0 and self.signed else ""
        return f"{self.label} {sign}{with_unit(amount, self.unit, 4)}"

    @property
    def signed(self) -> bool:
        """Whether some amounts are negative."""
        return bool(np.nanmin(self.amounts, initial=0.0) < 0)


def driven(use: CellUse) -> CellMarks:
    """Return the marks of driving: how long in each cell, and whether the table decided there."""
    dwell, decided = np.asarray(use.dwell), np.asarray(use.decided)
    visits, beyond = np.asarray(use.visits), np.asarray(use.extrapolated)

    def tell(cell: Cell) -> str:
        if not dwell[cell] > 0:
            return "not driven"
        count = round(float(visits[cell]))
        parts = [f"driven {seconds(float(dwell[cell]))}"]
        parts.append(
            f"decided {seconds(float(decided[cell]))}" if decided[cell] > 0 else "never decided"
        )
        parts.append("1 visit" if count == 1 else f"{count} visits")
        if beyond[cell] > 0:
            parts.append(f"{seconds(float(beyond[cell]))} beyond the end")
        return ", ".join(parts)

    cells, used, ruled = dwell.size, int((dwell > 0).sum()), int((decided > 0).sum())
    one = "1 cell" if cells == 1 else f"{cells} cells"
    return CellMarks(
        "driven",
        "s",
        dwell,
        DWELL_STEPS,
        decided > 0,
        "driven, and the table decided",
        "driven, the table never decided",
        beyond > 0,
        "driven beyond the axis's end",
        tell,
        f"driven {seconds(float(dwell.sum()))} in {used} of {one}, decided in {ruled}"
        if used
        else f"none of {one} driven",
    )


def signed_marks(label: str, unit: str, amounts: FloatArray) -> CellMarks:
    """Return marks of amounts with a sign, such as how a result answers to each cell.

    Parameters
    ----------
    label : str
        What the amounts are.
    unit : str
    amounts : float array of the table's shape
        NaN where it is not known.
    """
    size = np.abs(np.nan_to_num(amounts))
    most = float(size.max()) if size.size else 0.0
    low, middle, high = (share * most for share in SHARES)
    return CellMarks(
        label,
        unit,
        amounts,
        (low, middle, high),
        np.nan_to_num(amounts) > 0,
        f"{label}: higher",
        f"{label}: lower",
    )


def seconds(time: float) -> str:
    """Return a time for reading: ``0.8 s``, ``125 s``, ``12 min``."""
    if 0 < time < 0.05:
        return "under 0.1 s"
    if time < 99.95:
        return f"{time:.1f} s"
    if time < 599.5:
        return f"{time:.0f} s"
    return f"{time / 60:.0f} min" if time < 3600 else f"{time / 3600:.1f} h"
