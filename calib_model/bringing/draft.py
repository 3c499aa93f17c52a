"""A table as it would be taken: what was found, with what was chosen for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis, Interpolation
from ..core.labels import Labels
from ..core.storage import Storage
from ..core.table import Table
from ..errors import ModelError
from ..exchange.particulars import OF_A_TABLE, axis_settings, storage_of, table_settings
from .found import Doubt, Found
from .layout import AxisChoice, TableChoice
from .said import is_id, unit_said

PROPOSED = "proposed"
NO_ID = "Give it an id: in the file, as the file's name, or in the layout."


@dataclass(frozen=True, eq=False)
class Draft:
    """A table that was understood.

    Parameters
    ----------
    found : Found
        What the file says.
    key : str
        By this and `Found.source` choices are remembered: the id that was understood.
    table : Table
        As it would be taken.
    doubts : tuple of Doubt
        Those that no choice has settled.
    notes : tuple of str
    takes : bool
        Whether it is to be taken.
    why_not : str
        Why it is not, if that was not chosen.
    """

    found: Found
    key: str
    table: Table
    doubts: tuple[Doubt, ...] = ()
    notes: tuple[str, ...] = ()
    takes: bool = True
    why_not: str = ""

    @property
    def source(self) -> str:
        """File and sheet."""
        return self.found.source

    @property
    def where(self) -> str:
        """File, sheet and area, to show."""
        return f"{self.found.source}, {self.found.where}" if self.found.where else self.source

    @property
    def blocked(self) -> bool:
        """Whether it cannot be taken as it is."""
        return any(doubt.blocks for doubt in self.doubts)

    @cached_property
    def storage_proposed(self) -> Storage:
        """The smallest storage that holds every value as it is; float64 where none does."""
        return proposed_storage(self.table.values)

    @property
    def range(self) -> tuple[float, float]:
        """Smallest and largest value; NaN where there is none."""
        finite = self.table.values[np.isfinite(self.table.values)]
        return (float(finite.min()), float(finite.max())) if finite.size else (np.nan, np.nan)


def proposed_storage(values: FloatArray) -> Storage:
    """Return the smallest integer storage with the coarsest usual step that holds all values.

    Examples
    --------
    >>> import numpy as np
    >>> str(proposed_storage(np.array([0.0, 12.5, 450.0])))
    'uint16, step 0.5'
    """
    flat = values[np.isfinite(values)]
    if flat.size:
        for step in STEPS:
            for kind in _TRIED:
                storage = Storage.of(kind, step)
                low, high = storage.range
                if low <= flat.min() and flat.max() <= high:
                    if bool(storage.representable(flat).all()):
                        return storage
                    break
    return Storage()


STEPS = ("1", "0.5", "0.2", "0.1", "0.05", "0.02", "0.01", "1/250", "0.005", "0.002", "0.001",
         "0.0005", "0.0002", "0.0001", "0.00001", "0.000001")  # fmt: skip
_TRIED = ("uint8", "int8", "uint16", "int16", "uint32", "int32")


def draft_of(
    found: Found, key: str, choice: TableChoice, details: Mapping[str, str] | None
) -> Draft:
    """Return a table as it would be taken.

    Parameters
    ----------
    found : Found
    key : str
    choice : TableChoice
        What was chosen for it.
    details : mapping of str, optional
        What a list of tables says of it.
    """
    doubts, notes = list(found.doubts), list(found.notes)
    settings = dict(found.settings)
    said: dict[str, Any] = {"name": found.name, "unit": found.unit}
    axes = list(found.axes)
    if details:
        _detailed(found, details, said, axes, doubts)
        settings.update({k: t for k, t in details.items() if k in OF_A_TABLE})
    texts = {k: v for k, v in settings.items() if isinstance(v, str) and k in OF_A_TABLE}
    try:
        settings.update(table_settings(texts))
    except ModelError as error:
        doubts.append(Doubt("list", f"{error}", "Mend it there."))
        settings = {k: v for k, v in settings.items() if k not in texts}
    values = found.values
    if choice.turned:
        axes.reverse()
        values = values.T.copy()  # (ascontiguousarray would give a scalar a dimension)
    axes, values = _chosen_axes(axes, values, choice, doubts)
    if choice.cells == "empty":
        settled = [d for d in doubts if d.about == "cells"]
        doubts = [d for d in doubts if d.about != "cells"]
        notes += [f"Left unfilled: {d.why}" for d in settled]
    id = choice.id if choice.id is not None else found.id
    if not is_id(id):
        problem = f"{id[:60]!r} cannot be an id." if id else "Nothing says what its id is."
        doubts.append(Doubt("id", problem, NO_ID, blocks=True))
        id = "unnamed"
    unit = choice.unit if choice.unit is not None else said["unit"]
    if unit is None:
        notes.append("Its unit is not said; it has none.")
    for key_, given in (("name", choice.name), ("function", choice.function),
                        ("description", choice.description), ("role", choice.role),
                        ("lower", choice.lower), ("upper", choice.upper)):  # fmt: skip
        if given is not None:
            settings[key_] = given
    settings.setdefault("name", said["name"])
    try:
        if choice.storage is not None:
            settings["storage"] = (
                proposed_storage(values)
                if choice.storage == PROPOSED
                else storage_of(choice.storage)
            )
        table = Table(id, values, tuple(axes), unit="-" if unit is None else unit,
                      **{k: v for k, v in settings.items() if k in _ARGUMENTS})  # fmt: skip
    except ModelError as error:
        doubts.append(Doubt("table", str(error), "Choose otherwise.", blocks=True))
        table = Table(id, found.values, found.axes)
    if choice.sure:
        doubts = [d for d in doubts if d.blocks]
    return Draft(found, key, table, tuple(doubts), tuple(notes), choice.take is not False)


_ARGUMENTS = frozenset(one.name for one in fields(Table)) - {"id", "values", "axes", "unit"}


def _detailed(
    found: Found,
    details: Mapping[str, str],
    said: dict[str, Any],
    axes: list[Axis],
    doubts: list[Doubt],
) -> None:
    """Let a list of tables say what it says of one, and doubt where the two disagree."""
    if "unit" in details:
        unit = details["unit"]
        if found.unit not in (None, unit, unit_said(unit)):
            doubts.append(
                Doubt("unit", f"Its unit is {found.unit!r} at the table and {unit!r} in the list.",
                      "Choose the unit.", (unit, str(found.unit)))
            )  # fmt: skip
        said["unit"] = unit
    for number, axis in enumerate(axes, start=1):
        prefix = f"axis_{number}_"
        texts = {
            key.removeprefix(prefix): text
            for key, text in details.items()
            if key.startswith(prefix)
        }
        if not texts:
            continue
        unit = texts.pop("unit", axis.unit)
        if axis.unit not in ("-", unit, unit_said(unit)):
            doubts.append(
                Doubt(f"axis {number} unit", f"The unit of its axis {number} is {axis.unit!r} at "
                      f"the table and {unit!r} in the list.", "Choose the unit.",
                      (unit, axis.unit))
            )  # fmt: skip
        try:
            axes[number - 1] = replace(axis, unit=unit, **axis_settings(texts))
        except ModelError as error:
            doubts.append(Doubt("list", str(error), "Mend it there."))


def _chosen_axes(
    axes: list[Axis], values: FloatArray, choice: TableChoice, doubts: list[Doubt]
) -> tuple[list[Axis], FloatArray]:
    for number, (axis, chosen) in enumerate(zip(axes, choice.axes, strict=False)):
        at = len(axes) - 1 - number if choice.turned else number
        about = f"axis {at + 1}"
        if chosen.order is not None or chosen.labels is not None:
            doubts[:] = [d for d in doubts if d.about != about]
        if chosen.unit is not None:
            doubts[:] = [d for d in doubts if d.about != f"{about} unit"]
        try:
            axes[number] = _chosen(axis, chosen)
        except ModelError as error:
            doubts.append(Doubt(f"axis {number + 1}", str(error), "Choose otherwise.", blocks=True))
        if chosen.order == "sorted" and not axes[number].ordered:
            order = np.argsort(axes[number].values, kind="stable")
            axes[number] = axes[number].with_values(axes[number].values[order])
            values = np.take(values, order, axis=number)
    if choice.unit is not None:
        doubts[:] = [d for d in doubts if d.about != "unit"]
    return axes, values


def _number_of(name: str, labels: Labels) -> float:
    number = labels.number(name)
    if number is None:
        raise ModelError(f"The labels give {name!r} no number.", "Give every name one.")
    return number


def _chosen(axis: Axis, chosen: AxisChoice) -> Axis:
    given: dict[str, Any] = {
        key: text
        for key in ("name", "unit", "quantity")
        if (text := getattr(chosen, key)) is not None
    }
    if chosen.interpolation is not None:
        try:
            given["interpolation"] = Interpolation(chosen.interpolation)
        except ValueError:
            raise ModelError(
                f"{chosen.interpolation[:40]!r} is no way that an axis is read.",
                f"Use {' or '.join(Interpolation)}.",
            ) from None
    if chosen.labels is not None:
        given["labels"] = labels = Labels.of(chosen.labels)
        if axis.labels:  # its breakpoints are names: they get the numbers that are given
            given["values"] = [_number_of(axis.labels.name(x), labels) for x in axis.values]
    if chosen.storage is not None:
        given["storage"] = (
            proposed_storage(axis.values)
            if chosen.storage == PROPOSED
            else storage_of(chosen.storage)
        )
    return replace(axis, **given)
