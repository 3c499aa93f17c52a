"""Columns as an HDF5 file image, and back."""

from __future__ import annotations

from typing import Any

import numpy as np

from . import hdf5_api as api
from .allowance import Allowance
from .digest import check_manifest, content_sha, manifest
from .guard import check_attribute, check_dataset, require_hard_link
from .layout import (
    COLUMNS,
    FORMAT,
    FORMAT_VERSION,
    INTEGER_ATTRIBUTES,
    TEXT_ATTRIBUTES,
    Column,
)
from .structure import Attributes, Columns, Misfit, Neutral, check_type
from .texts import Array

SHA_ATTRIBUTE = "content_sha256"
MANIFEST_ATTRIBUTE = "manifest"
CHUNK_BYTES = 1 << 20
_DIMENSION_ONLY = "This is a netCDF dimension but not a netCDF variable."


class Newer(Exception):
    """The file needs a newer reader; carries the version."""


# -- reading -------------------------------------------------------------------------------


def read_image(data: bytes) -> tuple[Neutral, str]:
    """Read the columns of a file that lies in memory, and check them against its manifest.

    Returns
    -------
    Neutral
        As the file's version has them.
    str
        The hash.

    Raises
    ------
    Misfit
        If it is no set file, is damaged, or holds what a set file never holds.
    Newer
    """
    api.forbid_plugins()
    if not api.is_hdf5(data):
        raise Misfit("start of the file", "is not that of a set file (HDF5).")
    try:
        file = api.open_image(data)
    except (OSError, RuntimeError, ValueError, MemoryError) as error:
        raise Misfit("file structure", f"cannot be read ({_short(error)}).") from None
    try:
        return _read(api.root_of(file))
    except (Misfit, Newer):
        raise
    except MemoryError:
        raise Misfit("file", "needs more memory than a set file may.") from None
    except Exception as error:  # h5py raises many kinds for damaged structures
        raise Misfit("file structure", f"cannot be read ({_short(error)}).") from None
    finally:
        file.close()


def _read(root: object) -> tuple[Neutral, str]:
    attributes: Attributes = {}
    if _attribute(root, "format") != FORMAT:
        raise Misfit("attribute format", "does not say that this is a set file.")
    for name in INTEGER_ATTRIBUTES:
        value = _attribute(root, name)
        if not isinstance(value, int):
            raise Misfit(f"attribute {name}", "is missing or not a whole number.")
        attributes[name] = value
        if name == "min_reader_version" and value > FORMAT_VERSION:
            raise Newer(str(value))
    for name in TEXT_ATTRIBUTES:
        value = _attribute(root, name)
        if not isinstance(value, str):
            raise Misfit(f"attribute {name}", "is missing or not a text.")
        attributes[name] = value
    columns: Columns = {}
    allowance = Allowance()
    for column in COLUMNS:
        array = _column(root, column, allowance)
        if array is not None:
            columns[column.name] = array
    listed, sha = _attribute(root, MANIFEST_ATTRIBUTE), _attribute(root, SHA_ATTRIBUTE)
    if not isinstance(listed, str) or sha != content_sha(listed):
        raise Misfit(f"attribute {MANIFEST_ATTRIBUTE}", "is not what was saved.")
    newer = int(attributes["format_version"]) > FORMAT_VERSION
    check_manifest(listed, columns, attributes, newer=newer)
    return Neutral(columns, attributes), str(sha)


def _attribute(root: object, name: str) -> str | int | None:
    if not api.has_attribute(root, name):
        return None
    attribute = api.open_attribute(root, name)
    try:
        return api.read_attribute(attribute, check_attribute(attribute, name))
    except UnicodeDecodeError:
        raise Misfit(f"attribute {name}", "is not valid UTF-8.") from None


def _column(root: object, column: Column, allowance: Allowance) -> Array | None:
    place = f"column {column.name}"
    if not api.has_link(root, column.name):
        return None
    require_hard_link(root, column.name, place)
    try:
        dataset = api.open_dataset(root, column.name)
    except Exception as error:
        raise Misfit(place, f"is no data set that can be read ({_short(error)}).") from None
    dtype, shape = check_dataset(dataset, column, allowance)
    try:
        return api.read_dataset(dataset, dtype, shape)
    except MemoryError:
        raise
    except Exception as error:
        raise Misfit(place, f"is damaged ({_short(error)}).") from None


def _short(error: BaseException) -> str:
    return str(error).splitlines()[0][:200] if str(error) else type(error).__name__


# -- writing -------------------------------------------------------------------------------


def make_image(neutral: Neutral) -> tuple[bytes, str]:
    """Return a file image of columns in the current layout, and its content hash.

    Columns without rows are left out.

    Raises
    ------
    Misfit
        If a column does not have its type, or there is more than a reader would accept.
    """
    columns: Columns = {}
    allowance = Allowance()
    for column in COLUMNS:
        array = neutral.columns.get(column.name)
        if array is not None and array.size:
            check_type(column, array)
            allowance.take(column, array.shape, array.itemsize)
            columns[column.name] = np.ascontiguousarray(array)
    listed = manifest(columns, neutral.attributes)
    sha = content_sha(listed)
    with api.new_image() as file:
        _write_attributes(file, {"format": FORMAT, **neutral.attributes})
        _write_attributes(file, {MANIFEST_ATTRIBUTE: listed, SHA_ATTRIBUTE: sha})
        for column in COLUMNS:
            if column.name in columns:
                _write_column(file, column, columns[column.name])
        _write_dimensions(file, columns)
        return api.image_of(file), sha


def _write_attributes(target: Any, attributes: Attributes) -> None:
    for name, value in attributes.items():
        if isinstance(value, int):
            target.attrs.create(name, value, dtype="<i4")
        else:
            data = value.encode()
            target.attrs.create(name, data, dtype=api.text_type(max(len(data), 1)))


def _write_column(file: Any, column: Column, array: Array) -> None:
    row_bytes = array.nbytes // array.shape[0]
    rows = max(1, min(array.shape[0], CHUNK_BYTES // row_bytes))
    text = array.dtype.kind == "S"
    dataset = file.create_dataset(
        column.name,
        shape=array.shape,
        dtype=api.text_type(array.dtype.itemsize) if text else array.dtype,
        chunks=(rows, *array.shape[1:]),
        compression="gzip",
        compression_opts=1,
        shuffle=not text,
        fletcher32=True,
    )
    api.write_dataset(dataset, array)
    attributes: Attributes = {"long_name": column.about}
    if column.counts:
        attributes["sample_dimension"] = column.counts
    if column.flags:
        attributes["flag_meanings"] = " ".join(column.flags)
        dataset.attrs["flag_values"] = np.arange(len(column.flags), dtype="|i1")
    _write_attributes(dataset, attributes)


def _write_dimensions(file: Any, columns: Columns) -> None:
    """Name the dimensions by HDF5 dimension scales, as netCDF-4 readers expect them."""
    sizes: dict[str, int] = {}
    for name, array in columns.items():
        dimensions = next(c.dimensions for c in COLUMNS if c.name == name)
        sizes.update(zip(dimensions, array.shape, strict=True))
    for dimension, size in sizes.items():
        if dimension in columns:
            file[dimension].make_scale(dimension)
        else:
            scale = file.create_dataset(dimension, shape=(size,), dtype=">f4")
            scale.make_scale(f"{_DIMENSION_ONLY} {size:10d}")
    for column in COLUMNS:
        if column.name in columns:
            for position, dimension in enumerate(column.dimensions):
                if dimension != column.name:
                    file[column.name].dims[position].attach_scale(file[dimension])
