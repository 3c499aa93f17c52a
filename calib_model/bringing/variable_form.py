"""Tables out of variables with named dimensions: NetCDF, xarray's HDF5, and plain HDF5 by length.

Attributes are read by the CF conventions: ``units``, ``long_name``, ``standard_name``,
``comment``, ``scale_factor``, ``add_offset``, ``_FillValue``, ``missing_value``; those of our own
export as `calib_model.exchange.netcdf` says.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.table import MAX_AXES
from ..errors import ModelError
from ..exchange.netcdf import AXIS_KEYS, SET_KEYS, TABLE_KEYS
from ..exchange.particulars import OF_A_TABLE, OF_AN_AXIS, axis_settings
from .asking import Variable
from .found import Doubt, Found, LeftOut, Reading, axis_doubts
from .said import id_said, is_id, unit_said

SET_FIELDS = ("programme", "mode", "base_mode", "name", "revision", "description")


def read_all(variables: Sequence[Variable], reading: Reading) -> None:
    """Read what a file of variables holds."""
    if not variables:
        return
    root = variables[0]
    for key in SET_FIELDS:
        text = root.attributes.get(SET_KEYS.get(key, key))
        if (isinstance(text, str) and "base_mode" in root.attributes) or (
            isinstance(text, str) and key == "name"
        ):
            reading.about[key] = text
    own = "base_mode" in root.attributes or "role" in str(root.attributes)
    known = {v.path: v for v in variables if not v.left_out}
    coordinates = {d for v in variables for d in v.dimensions if d}
    aside = {
        name
        for v in variables
        for key in ("coordinates", "bounds", "ancillary_variables")
        for name in str(v.attributes.get(key, "")).split()
    }
    shared: dict[str, Axis] = {}
    by_length = _BesideByLength(known, coordinates)
    for variable in variables[1:]:
        place = variable.path
        if variable.left_out:
            if variable.left_out != "dimension":
                reading.left_out.append(LeftOut(variable.file, place, f"It is {_is(variable)}."))
            continue
        name = place.rpartition("/")[2]
        if place in coordinates or (variable.scale and variable.values.ndim == 1):
            if isinstance(variable.attributes.get("shared"), str):
                _note_shared(variable, shared)
            continue
        if name in aside or place in by_length.axes:
            if name in aside:
                reading.left_out.append(
                    LeftOut(variable.file, place, "It describes other variables only.")
                )
            continue
        _table(variable, known, by_length, reading)
    if own:
        reading.shared_axes.extend(shared.values())


def _is(variable: Variable) -> str:
    text = variable.left_out
    return text.removeprefix("it is ") if text.startswith("it is ") else text.replace("it ", "", 1)


class _BesideByLength:
    """Axes of plain HDF5: 1-D data sets in the group of a map, told by their lengths."""

    def __init__(self, known: dict[str, Variable], coordinates: set[str]) -> None:
        self.axes: set[str] = set()
        self.of: dict[str, list[Variable]] = {}
        groups: dict[str, list[Variable]] = {}
        for path, variable in known.items():
            if path not in coordinates and not any(variable.dimensions):
                groups.setdefault(path.rpartition("/")[0], []).append(variable)
        for members in groups.values():
            lines = [v for v in members if v.values.ndim == 1 and v.values.size > 1]
            maps = [v for v in members if v.values.ndim == 2]
            if len(maps) == 1 and len(lines) == 2:
                by = {v.values.size: v for v in lines}
                shape = maps[0].values.shape
                if len(by) == 2 and set(by) == set(shape):
                    self.of[maps[0].path] = [by[n] for n in shape]
                elif shape[0] == shape[1] and all(v.values.size == shape[0] for v in lines):
                    self.of[maps[0].path] = lines
                else:
                    continue
                self.axes |= {v.path for v in lines}


def _table(
    variable: Variable, known: dict[str, Variable], by_length: _BesideByLength, reading: Reading
) -> None:
    said = variable.attributes
    if variable.values.ndim > MAX_AXES:
        why = f"It has {variable.values.ndim} dimensions; at most {MAX_AXES} are read."
        reading.left_out.append(LeftOut(variable.file, variable.path, why))
        return
    doubts: list[Doubt] = []
    notes: list[str] = []
    axes = []
    beside = by_length.of.get(variable.path)
    if beside is not None:
        names = " and ".join(v.path for v in beside)
        doubts.append(
            Doubt("form", f"{names} were taken for the axes of {variable.path}, by their lengths.",
                  "Confirm it, or write dimension scales.")
        )  # fmt: skip
    try:
        for number, length in enumerate(variable.values.shape):
            path = variable.dimensions[number] if number < len(variable.dimensions) else ""
            coordinate = beside[number] if beside is not None else known.get(path)
            if coordinate is None or coordinate.values.shape != (length,):
                name = path.rpartition("/")[2]
                doubts.append(
                    Doubt(f"axis {number + 1}", f"Dimension {name or number + 1} of {variable.path}"
                          " has no coordinates; its breakpoints were counted from 0.",
                          "Write coordinates, or confirm it.")
                )  # fmt: skip
                axes.append(Axis(np.arange(length, dtype=np.float64), name=name))
            else:
                axes.append(_axis(coordinate))
    except ModelError as error:
        reading.left_out.append(LeftOut(variable.file, variable.path, str(error)))
        return
    texts = {key: said.get(TABLE_KEYS.get(key, key)) for key in OF_A_TABLE}
    settings = {key: _plain(text) for key, text in texts.items() if text is not None}
    if variable.values.size == 0:
        reading.left_out.append(LeftOut(variable.file, variable.path, "It holds no values."))
        return
    path = variable.path.strip("/").replace("/", ".")
    id = path if is_id(path) else id_said(path)
    name = str(settings.pop("name", "") or said.get("standard_name", ""))
    values = _unpacked(variable)
    doubts += axis_doubts(axes)
    reading.tables.append(
        Found(
            variable.file, variable.path, "variable", id, tuple(axes), values, name,
            _unit(said), settings, tuple(doubts), tuple(notes),
        )
    )  # fmt: skip


def _plain(value: Any) -> str:
    return value if isinstance(value, str) else repr(float(value)).removesuffix(".0")


def _unit(said: Any) -> str | None:
    own = said.get("unit")
    if isinstance(own, str):
        return own.strip()
    text = said.get("units")
    if isinstance(text, str):
        return unit_said(text)
    return None


def _axis(variable: Variable) -> Axis:
    said = variable.attributes
    texts = {key: str(said.get(AXIS_KEYS.get(key, key), "")) for key in OF_AN_AXIS}
    name = texts.pop("name") or str(said.get("standard_name", ""))
    if not name and "quantity_read" not in said:
        name = variable.path.rpartition("/")[2]
    return Axis(
        _unpacked(variable).reshape(-1), name=name, unit=_unit(said) or "-", **axis_settings(texts)
    )


def _note_shared(variable: Variable, shared: dict[str, Axis]) -> None:
    try:
        axis = _axis(variable)
    except ModelError:
        return
    shared.setdefault(axis.shared, axis)


def _unpacked(variable: Variable) -> FloatArray:
    """Return values as CF says: fill values are none, packed ones are scaled."""
    said, values = variable.attributes, variable.values
    absent = [said.get(key) for key in ("_FillValue", "missing_value")]
    for one in absent:
        if isinstance(one, int | float):
            values = np.where(values == one, np.nan, values)
    factor, offset = said.get("scale_factor", 1.0), said.get("add_offset", 0.0)
    if isinstance(factor, int | float) and isinstance(offset, int | float):
        if factor != 1.0:
            values = values * float(factor)
        if offset != 0.0:
            values = values + float(offset)
    return np.asarray(values, dtype=np.float64)
