"""How large a difference of values must be to count."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from calib_model.core.arrays import BoolArray, FloatArray
from calib_model.core.numbers import short
from calib_model.core.table import Table
from calib_model.errors import ModelError

_TEXT = re.compile(r"\s*([0-9]+(?:\.[0-9]*)?|\.[0-9]+)\s*(%|percent|steps?)?\s*", re.IGNORECASE)
# A difference of exactly the threshold is not beyond it, however its last digit was rounded.
_SLACK = 1e-9


@dataclass(frozen=True)
class Threshold:
    """Differences up to this size do not count.

    Parameters
    ----------
    amount : float, not negative
    percent : bool
        Whether `amount` is percent of the table's range; else storage steps.  Tables in float
        storage have no steps, so all their differences count against a threshold in steps.
    """

    amount: float = 0.0
    percent: bool = False

    def __post_init__(self) -> None:
        if not (np.isfinite(self.amount) and self.amount >= 0):
            raise ModelError(
                f"A threshold of {self.amount} is not possible.", "Give a number from 0 on."
            )

    @classmethod
    def parse(cls, text: str) -> Threshold:
        """Read what a user writes: ``2`` or ``2 steps`` (storage steps), ``0.5%`` (of range).

        Raises
        ------
        ModelError
            If it is neither.
        """
        found = _TEXT.fullmatch(text)
        if found is None:
            raise ModelError(
                f"{text!r} is no threshold.",
                "Write storage steps as a number (2) or percent of range with its sign (0.5%).",
            )
        return cls(float(found[1]), (found[2] or "").lower() in ("%", "percent"))

    def limit(self, table: Table) -> float:
        """Return the largest difference that does not count, in the table's unit."""
        scale = table.span / 100 if self.percent else table.storage.resolution
        return self.amount * scale

    def beyond(self, difference: FloatArray, table: Table) -> BoolArray:
        """Tell which differences count; NaN (one of the two is empty) always does.

        Parameters
        ----------
        difference : float array
            Of cells that differ, in the table's unit.
        table : Table
            The first of the two.
        """
        return np.asarray(~(np.abs(difference) <= self.limit(table) * (1 + _SLACK)))

    def words(self) -> str:
        """Say it in words: ``2 storage steps``, ``0.5 % of range``."""
        if self.percent:
            return f"{short(self.amount)} % of range"
        return f"{short(self.amount)} storage step{'' if self.amount == 1 else 's'}"
