"""What a rule sheet may say of a table besides rules: limits, storage, unit and function group."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from ..core.numbers import exact
from ..core.storage import FLOAT64, Storage
from ..core.table import Table
from ..core.toml_text import toml_value
from ..core.unit_words import alike, unit_meant
from ..errors import ModelError

KEYS = ("limits", "storage", "unit", "axis_units", "function")
_STORAGE_KEYS = ("type", "step", "from")


@dataclass(frozen=True)
class About:
    """What an entry says of its tables; None where it says nothing.

    Parameters
    ----------
    limits : tuple of two floats, or None
    storage : Storage or None
    unit : str or None
    axis_units : tuple of str, or None
        One per axis; empty for an axis whose unit is left.
    function : str or None
    """

    limits: tuple[float, float] | None = None
    storage: Storage | None = None
    unit: str | None = None
    axis_units: tuple[str, ...] | None = None
    function: str | None = None

    @property
    def says_nothing(self) -> bool:
        """Whether it leaves a table as it is."""
        return self == About()

    def of(self, table: Table) -> Table:
        """Return a table as it is said to be; values stay what they are.

        Raises
        ------
        ModelError
            If a unit asks for a conversion, or there is not one per axis.  A sheet says what is
            so; numbers are converted by an edit that shows what becomes of them.
        """
        if self.limits is not None:
            table = replace(table, lower=self.limits[0], upper=self.limits[1])
        if self.storage is not None:
            table = replace(table, storage=self.storage)
        if self.function is not None:
            table = replace(table, function=self.function)
        if self.unit is not None:
            _require_same(table.id, table.unit, self.unit)
            table = replace(table, unit=self.unit)
        if self.axis_units is not None:
            if len(self.axis_units) != len(table.axes):
                raise ModelError(
                    f"{len(self.axis_units)} axis units are given for {table.id}, which has "
                    f"{len(table.axes)} axes.",
                    'Give one for each axis; "" leaves it.',
                )
            axes = []
            for axis, unit in zip(table.axes, self.axis_units, strict=True):
                if unit and unit != axis.unit:
                    if axis.shared:
                        raise ModelError(
                            f"{table.id} shares the axis {axis.shared}, whose unit is {axis.unit}.",
                            "Change the shared axis, or detach the table first.",
                        )
                    _require_same(f"{axis.label} of {table.id}", axis.unit, unit)
                    axis = replace(axis, unit=unit)
                axes.append(axis)
            table = replace(table, axes=tuple(axes))
        return table


NOTHING_SAID = About()


def _require_same(what: str, now: str, wanted: str) -> None:
    if now == wanted:
        return
    stands = alike(now, unit_meant(wanted) or wanted)
    if stands not in ("same", "unsaid"):
        how = (
            "Its values would have to be converted" if stands == "convertible" else "It is another"
        )
        raise ModelError(
            f"{what} is in {now!r}, not {wanted!r}. {how}.",
            "Convert it with `bitepoint table`, or leave the unit out of the sheet.",
        )


def about_from_plain(plain: Mapping[str, Any]) -> About:
    """Read what an entry says of its tables.

    Parameters
    ----------
    plain : mapping
        The entry; other keys are not looked at.

    Raises
    ------
    ModelError
        Its problem begins with the key.
    """
    limits = plain.get("limits")
    if limits is not None:
        limits = _limits(limits)
    storage = plain.get("storage")
    axis_units = plain.get("axis_units")
    if axis_units is not None:
        if not isinstance(axis_units, list) or not all(isinstance(u, str) for u in axis_units):
            raise ModelError("axis_units: These are no units.", 'Write axis_units = ["degC", "%"].')
        axis_units = tuple(axis_units)
    for key in ("unit", "function"):
        if plain.get(key) is not None and not isinstance(plain[key], str):
            raise ModelError(f"{key}: {plain[key]!r} is no text.", "Put it in quotation marks.")
    return About(
        limits,
        None if storage is None else _storage(storage),
        plain.get("unit"),
        axis_units,
        plain.get("function"),
    )


def _limits(given: Any) -> tuple[float, float]:
    numbers = isinstance(given, list) and all(
        isinstance(n, int | float) and not isinstance(n, bool) for n in given
    )
    if not numbers or len(given) != 2 or not given[0] <= given[1]:
        raise ModelError(
            "limits: These are no limits.", "Write limits = [lower, upper]; inf for none."
        )
    return float(given[0]), float(given[1])


def _storage(given: Any) -> Storage:
    if not isinstance(given, dict) or not set(given) <= set(_STORAGE_KEYS) or "type" not in given:
        raise ModelError(
            "storage: This is no storage.",
            'Write storage = { type = "uint16", step = "0.5", from = "0" }.',
        )
    step, start = given.get("step", 1), given.get("from", 0)
    if not isinstance(given["type"], str) or any(isinstance(n, bool) for n in (step, start)):
        raise ModelError("storage: This is no storage.", 'Write type = "uint16", step = "0.5".')
    try:
        return Storage.of(given["type"], str(step), str(start))
    except ModelError as error:
        raise ModelError(f"storage: {error.problem}", error.remedy) from None


def about_lines(table: Table) -> list[str]:
    """Return the lines of a sheet that say what a table is."""
    lines = [f"limits = [{_number(table.lower)}, {_number(table.upper)}]"]
    if table.storage != FLOAT64:
        lines.append(f"storage = {toml_value(_storage_plain(table.storage))}")
    lines.append(f"unit = {toml_value(table.unit)}")
    if table.axes and not any(axis.shared for axis in table.axes):
        lines.append(f"axis_units = {toml_value([axis.unit for axis in table.axes])}")
    lines.append(f"function = {toml_value(table.function)}")
    return lines


def _number(value: float) -> str:
    return exact(value) if value == value and abs(value) != float("inf") else f"{value:+}"


def _storage_plain(storage: Storage) -> dict[str, str]:
    plain = {"type": storage.type}
    if storage.is_integer:
        plain["step"] = _fraction(Fraction(storage.numerator, storage.denominator))
        if storage.offset:
            plain["from"] = _fraction(Fraction(storage.offset, storage.denominator))
    return plain


def _fraction(value: Fraction) -> str:
    """As a decimal where that is the very number, else as a fraction."""
    text = exact(float(value))
    return text if Fraction(text) == value else str(value)
