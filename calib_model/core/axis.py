"""Breakpoints of one input of a table, and how the controller reads between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any

import numpy as np

from ..errors import ModelError
from ..foreign_text import plain_line
from .arrays import FloatArray, frozen, same_values
from .in_bulk import filled, setters
from .labels import NO_LABELS, Labels
from .numbers import exact, short, with_unit
from .storage import FLOAT64, Storage


class Interpolation(StrEnum):
    """How an axis is read between two breakpoints."""

    LINEAR = "linear"
    STEP = "step"
    """The lower breakpoint holds until the next one is reached (wiper state, brake state)."""


class End(StrEnum):
    """What an axis does beyond its first or last breakpoint."""

    HELD = "held"
    EXTRAPOLATED = "extrapolated"


@dataclass(frozen=True, eq=False, slots=True)
class Axis:
    """One axis of a table.

    Parameters
    ----------
    values : array_like of float, shape (n,), n >= 1
        Breakpoints.  Finite; they may be out of order or equal, which is a finding, so that
        a set with such a mistake can be opened and mended.
    name : str
        What the axis carries, such as ``Vehicle speed``.
    unit : str
        Unit of the breakpoints, see `calib_model.core.units`.
    quantity : str
        The input quantity it reads (a role of `calib_model.core.roles`); empty if unbound.
    interpolation : Interpolation
    below, above : End
        Beyond the first and the last breakpoint.
    storage : Storage
    shared : str
        Id of the set's shared axis this is, or empty for an axis of the table's own.
    labels : Labels, or what `Labels.of` takes
        Names of breakpoints that stand for states (wiper off, slow, fast).

    Raises
    ------
    ModelError
        If the breakpoints are empty, not one-dimensional or not finite.
    """

    values: FloatArray
    name: str = ""
    unit: str = "-"
    quantity: str = ""
    interpolation: Interpolation = Interpolation.LINEAR
    below: End = End.HELD
    above: End = End.HELD
    storage: Storage = FLOAT64
    shared: str = ""
    labels: Labels = NO_LABELS

    def __post_init__(self) -> None:
        if type(self.labels) is not Labels:
            object.__setattr__(self, "labels", Labels.of(self.labels))
        values = frozen(self.values)
        object.__setattr__(self, "values", values)
        if values.ndim != 1 or values.size == 0:
            raise ModelError(
                f"Axis {self.label!r} needs a list of at least one breakpoint, "
                f"but was given shape {values.shape}."
            )
        if not np.isfinite(values).all():
            place = int(np.flatnonzero(~np.isfinite(values))[0]) + 1
            raise ModelError(
                f"Axis {self.label!r} has a breakpoint ({place}) that is not a number.",
                "Give every breakpoint a finite value.",
            )

    @classmethod
    def of_checked(cls, *columns: Sequence[Any]) -> list[Axis]:
        """Return axes of parts that nobody looks at here; see `Table.of_checked`."""
        return filled(cls, _PUT, columns)

    @property
    def label(self) -> str:
        """Name to show, in one line: the name, else the quantity, else ``axis``."""
        return plain_line(self.name or self.quantity or "axis")

    @property
    def ordered(self) -> bool:
        """Whether the breakpoints rise strictly."""
        values = self.values
        return values.size < 2 or bool((values[1:] > values[:-1]).all())

    @property
    def span(self) -> float:
        """Largest less smallest breakpoint."""
        return float(self.values.max() - self.values.min())

    def __len__(self) -> int:
        return int(self.values.size)

    def __eq__(self, other: object) -> bool:
        if self is other:
            return True
        if not isinstance(other, Axis):
            return NotImplemented
        return same_values(self.values, other.values) and self._settings() == other._settings()

    def __hash__(self) -> int:
        # Not all settings: an enumeration's hash takes longer than the rest, and values, name and
        # quantity tell axes apart.
        return hash((self.values.tobytes(), self.name, self.quantity, self.shared))

    def _settings(self) -> tuple[Any, ...]:
        return (
            self.name,
            self.unit,
            self.quantity,
            self.interpolation,
            self.below,
            self.above,
            self.storage,
            self.shared,
            self.labels,
        )

    def said(self, value: float, digits: int = 6) -> str:
        """Return a value on this axis for reading: its label, else number and unit."""
        return self.labels.name(value) or with_unit(value, self.unit, digits)

    def said_short(self, value: float, digits: int = 6) -> str:
        """Return a value on this axis without its unit, for headers and ticks."""
        return self.labels.name(value) or short(value, digits)

    def said_exactly(self, value: float) -> str:
        """Return a value on this axis so that it reads back: its label, else all digits."""
        return self.labels.name(value) or exact(value)

    def with_values(self, values: Any) -> Axis:
        """Return the same axis with other breakpoints."""
        return replace(self, values=values)

    def __reduce__(self) -> tuple[Any, ...]:
        # Frozen classes with slots need help to cross process borders.
        return (Axis, (self.values, *self._settings()))


_PUT = setters(Axis)
