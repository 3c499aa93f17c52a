"""Tables as xarray's and pandas' objects, and back, where those libraries are installed.

Dimensions are called by the quantity that an axis reads, or else by its name.  Attributes follow
the CF conventions (``units``, ``long_name``, ``comment``) as far as these go; rules, relations and
labels stay with the table.
"""

from __future__ import annotations

import re
from importlib import import_module
from typing import Any

import numpy as np

from ..errors import ModelError
from .axis import Axis, End, Interpolation
from .canonical import storage_text
from .storage import FLOAT64, Storage
from .table import Table


def to_xarray(table: Table) -> Any:
    """Return a table as an `xarray.DataArray`; see `Table.to_xarray`."""
    xarray = _library("xarray")
    names = _names(table)
    coordinates = {
        name: (
            name,
            axis.values,
            _said(
                units=axis.unit, long_name=axis.name, quantity_read=axis.quantity,
                interpolation=_unless(axis.interpolation, Interpolation.LINEAR),
                below=_unless(axis.below, End.HELD), above=_unless(axis.above, End.HELD),
                storage=_unless(storage_text(axis.storage), storage_text(FLOAT64)),
            ),
        )
        for name, axis in zip(names, table.axes, strict=True)
    }  # fmt: skip
    about = _said(
        units=table.unit, long_name=table.name, comment=table.description,
        function=table.function, role=table.role,
        storage=_unless(storage_text(table.storage), storage_text(FLOAT64)),
    )  # fmt: skip
    for key in ("lower", "upper"):
        if np.isfinite(getattr(table, key)):
            about[key] = getattr(table, key)
    return xarray.DataArray(
        table.values.copy(), coords=coordinates, dims=names, name=table.id, attrs=about
    )


def from_xarray(array: Any, id: str = "") -> Table:
    """Return an `xarray.DataArray` as a table; see `Table.from_xarray`."""
    axes = []
    for name in array.dims:
        if name not in array.coords:
            raise ModelError(
                f"Dimension {name!r} has no coordinates.", "Assign them: array.assign_coords(...)."
            )
        one = array.coords[name]
        said = one.attrs
        axes.append(
            Axis(
                np.asarray(one.values, dtype=np.float64),
                str(said.get("long_name", "" if "quantity_read" in said else name)),
                str(said.get("units", "-")),
                str(said.get("quantity_read", "")),
                Interpolation(said.get("interpolation", "linear")),
                End(said.get("below", "held")),
                End(said.get("above", "held")),
                _storage(str(said.get("storage", "float64 1/1 0"))),
            )
        )
    said = array.attrs
    return Table(
        id or str(array.name or ""),
        np.asarray(array.values, dtype=np.float64),
        tuple(axes),
        str(said.get("long_name", "")),
        str(said.get("units", "-")),
        str(said.get("function", "")),
        str(said.get("comment", "")),
        float(said.get("lower", -np.inf)),
        float(said.get("upper", np.inf)),
        _storage(str(said.get("storage", "float64 1/1 0"))),
        str(said.get("role", "")),
    )


def to_pandas(table: Table) -> Any:
    """Return a table as pandas holds it best; see `Table.to_pandas`."""
    pandas = _library("pandas")
    heads = [f"{axis.label} [{axis.unit}]" for axis in table.axes]
    if not table.axes:
        return pandas.Series([table.values.item()], name=table.id)
    if len(table.axes) == 1:
        index = pandas.Index(table.axes[0].values, name=heads[0])
        return pandas.Series(table.values.copy(), index, name=table.id)
    if len(table.axes) == 2:
        rows, columns = (
            pandas.Index(axis.values, name=head)
            for axis, head in zip(table.axes, heads, strict=True)
        )
        return pandas.DataFrame(table.values.copy(), rows, columns)
    points = pandas.MultiIndex.from_product([a.values for a in table.axes], names=heads)
    return pandas.Series(table.values.reshape(-1).copy(), points, name=table.id)


def _storage(text: str) -> Storage:
    found = re.fullmatch(r"([a-z0-9]+) ([0-9]{1,19})/([0-9]{1,19}) (-?[0-9]{1,19})", text)
    if found is None:
        raise ModelError(f"{text[:60]!r} is no storage.", "Write it as uint16 1/2 0.")
    return Storage(found[1], int(found[2]), int(found[3]), int(found[4]))


def _library(name: str) -> Any:
    try:
        return import_module(name)
    except ImportError:
        raise ModelError(
            f"{name} is not installed.", f"Install it: python -m pip install {name}"
        ) from None


def _names(table: Table) -> list[str]:
    names: list[str] = []
    for number, axis in enumerate(table.axes, start=1):
        plain = re.sub(r"\W+", "_", axis.quantity or axis.name).strip("_").lower()
        name = plain or f"axis_{number}"
        names.append(f"{name}_{number}" if name in names or name == table.id else name)
    return names


def _said(**texts: str) -> dict[str, Any]:
    return {key: str(text) for key, text in texts.items() if text}


def _unless(text: str, plain: str) -> str:
    return "" if text == plain else text
