"""A set as NetCDF-4 (an HDF5 file by the NetCDF conventions), for xarray and every NetCDF library.

- A table is a variable named by its id, float64, over named dimensions; a scalar has none.  NaN is
  a cell that is not filled (``_FillValue``).
- An axis is a coordinate variable.  Equal axes are one; the dimension is named by the quantity
  that is read, or else by the axis's name.
- Attributes by the CF conventions: ``long_name``, ``units`` (as UDUNITS write them), ``comment``.
  What a table or axis says besides (`calib_model.exchange.particulars`) is an attribute of its
  name there; ``unit`` stands beside ``units`` where CF would lose it.
- What the set is stands at the root: ``programme``, ``mode``, ``base_mode``, ``title``,
  ``revision``, ``comment``; ``status`` for what is not signed off.  The order of tables is the
  order in which the variables were made.

No link, no compression, no time of writing: the same set gives the same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.table import Table
from ..errors import FileProblem
from ..store import write_whole
from .particulars import axis_texts, table_texts

CONVENTIONS = "CF-1.11"
MAX_ATTRIBUTE = 60_000
"""Bytes; HDF5 keeps attributes of up to 64 KiB in the form that every reader knows."""
SET_KEYS = {"name": "title", "description": "comment"}
TABLE_KEYS = {"name": "long_name", "description": "comment"}
AXIS_KEYS = {"name": "long_name", "quantity": "quantity_read"}
"""Names of attributes that differ from the names of `particulars`."""
_TO_CF = {"-": "1", "0/1": "1", "": "1"}
_FIRST = re.compile(r"[A-Za-z0-9_]")


def cf_units(unit: str) -> str:
    """Return a unit as UDUNITS write it: those of ours that are not, such as ``-``, exchanged."""
    return _TO_CF.get(unit, unit)


def netcdf_bytes(content: CalibrationSet, status: str = "") -> bytes:
    """Return a set as a NetCDF-4 file.

    Parameters
    ----------
    content : CalibrationSet
    status : str
        What to say of it in an attribute (`calib_model.exchange.marking`).

    Raises
    ------
    FileProblem
        If a name or text is none that NetCDF holds; the place names it.
    """
    import h5py

    from ..store import hdf5_api as api

    file = h5py.File("image", "w", driver="core", backing_store=False, track_order=True,
                     libver=("v108", "v110"))  # fmt: skip
    try:
        about = {SET_KEYS.get(key, key): text for key, text in content.about().items()}
        _describe(file, "the set", {"Conventions": CONVENTIONS, **about, "status": status})
        dimensions = _dimensions(file, content)
        for table in content:
            _write_table(file, table, dimensions)
        return api.image_of(file)
    finally:
        file.close()


def write_netcdf(content: CalibrationSet, path: Path | str, status: str = "") -> None:
    """Write a set as NetCDF-4, put in place whole or not at all.

    Raises
    ------
    FileProblem
        If a name or text is none that NetCDF holds.
    SaveFailed
        If the file cannot be written; an old one is as it was.
    """
    try:
        data = netcdf_bytes(content, status)
    except FileProblem as problem:
        raise FileProblem(path, problem.place, problem.problem, problem.remedy) from None
    write_whole(Path(path), data)


def _dimensions(file: Any, content: CalibrationSet) -> dict[Axis, list[Any]]:
    """Write the coordinates; one table may need an axis twice, under two names."""
    needed: dict[Axis, int] = {}
    for axis in content.shared_axes.values():
        needed[axis] = 1
    for table in content:
        for axis in table.axes:
            needed[axis] = max(needed.get(axis, 0), table.axes.count(axis))
    taken = {id.lower() for id in content.tables}
    made: dict[Axis, list[Any]] = {}
    number = 0
    for axis, count in needed.items():
        for _ in range(count):
            name = _free_name(axis, taken)
            made.setdefault(axis, []).append(_coordinate(file, name, axis, number))
            number += 1
    return made


def _free_name(axis: Axis, taken: set[str]) -> str:
    plain = re.sub(r"[^A-Za-z0-9]+", "_", axis.quantity or axis.name).strip("_").lower()[:60]
    plain = plain or "axis"
    name, number = plain, 1
    while name in taken:
        number += 1
        name = f"{plain}_{number}"
    taken.add(name)
    return name


def _coordinate(file: Any, name: str, axis: Axis, number: int) -> Any:
    made = file.create_dataset(name, data=axis.values)
    made.make_scale(name)
    # By this the NetCDF library tells the order of dimensions.
    made.attrs.create("_Netcdf4Dimid", np.int32(number))
    texts = axis_texts(axis)
    _describe(made, f"axis {name}", {
        "units": cf_units(axis.unit), "unit": _lost(axis.unit),
        **{AXIS_KEYS.get(key, key): text for key, text in texts.items()},
    })  # fmt: skip
    return made


def _write_table(file: Any, table: Table, dimensions: Mapping[Axis, list[Any]]) -> None:
    if not _FIRST.match(table.id):
        raise FileProblem(
            "", f"table {table.id}", "NetCDF has no variable whose name begins with a sign.",
            "Export the set as canonical text or a spreadsheet.",
        )  # fmt: skip
    made = file.create_dataset(table.id, data=table.values)
    used: dict[Axis, int] = {}
    for place, axis in enumerate(table.axes):
        at = used.get(axis, 0)
        used[axis] = at + 1
        made.dims[place].attach_scale(dimensions[axis][at])
    made.attrs.create("_FillValue", np.array([np.nan]))
    texts = table_texts(table)
    _describe(made, f"table {table.id}", {
        "units": cf_units(table.unit), "unit": _lost(table.unit),
        **{TABLE_KEYS.get(key, key): text for key, text in texts.items()},
    })  # fmt: skip


def _lost(unit: str) -> str:
    """Return the unit again if `units` alone would not bring it back."""
    return "" if unit not in _TO_CF or unit == "-" else unit or " "


def _describe(target: Any, place: str, texts: Mapping[str, str]) -> None:
    from ..store import hdf5_api as api

    for key, text in texts.items():
        if not text:
            continue
        try:
            data = text.encode()
        except UnicodeEncodeError:
            data = b"\0"
        if b"\0" in data or len(data) > MAX_ATTRIBUTE:
            why = "holds a sign that no text may have" if b"\0" in data else (
                f"has {len(data)} bytes; an attribute holds {MAX_ATTRIBUTE}"
            )  # fmt: skip
            raise FileProblem(
                "", place, f"Its {key} {why}.",
                "Shorten it, or export the set as canonical text.",
            )  # fmt: skip
        target.attrs.create(key, data, dtype=api.text_type(len(data)))
