"""The one typed door to h5py: low-level reading, and making an image in memory.

h5py publishes no types, so `Any` stands for its handles here and nowhere else needs it.
"""

from __future__ import annotations

import itertools
import os
from typing import Any, NamedTuple

import h5py
import numpy as np

from .texts import Array

SHUFFLE = h5py.h5z.FILTER_SHUFFLE
DEFLATE = h5py.h5z.FILTER_DEFLATE
FLETCHER32 = h5py.h5z.FILTER_FLETCHER32

_NUMBERS = itertools.count()
"""For a name of its own each: HDF5 takes two files in memory of one name for one while both are
open, gives the first to whoever reads the second, and refuses to make a second."""
_PLAIN_CLASSES = (h5py.h5t.INTEGER, h5py.h5t.FLOAT, h5py.h5t.STRING)


class Hdf5Storage(NamedTuple):
    """How a data set's bytes are kept."""

    external: bool
    virtual: bool
    chunk: tuple[int, ...] | None
    filters: tuple[int, ...]


def forbid_plugins() -> None:
    """Empty the path from which HDF5 would load filter plugins."""
    while h5py.h5pl.size():
        h5py.h5pl.remove(0)


def is_hdf5(data: bytes) -> bool:
    """Tell whether the data start as an HDF5 file does."""
    return data[:8] == b"\x89HDF\r\n\x1a\n"


def open_image(data: bytes) -> Any:
    """Open a file image that lies in memory, for reading.

    Raises
    ------
    OSError
        If it is no HDF5 file or its structure is damaged.
    """
    access = h5py.h5p.create(h5py.h5p.FILE_ACCESS)
    access.set_fapl_core(backing_store=False)
    access.set_file_image(data)
    access.set_fclose_degree(h5py.h5f.CLOSE_STRONG)
    return h5py.h5f.open(b"image %d" % next(_NUMBERS), h5py.h5f.ACC_RDONLY, fapl=access)


def open_path(path: str) -> Any:
    """Open a file where it lies, for reading, without a lock on it.

    Raises
    ------
    OSError
        If it is no HDF5 file or its structure is damaged.
    """
    access = h5py.h5p.create(h5py.h5p.FILE_ACCESS)
    access.set_fclose_degree(h5py.h5f.CLOSE_STRONG)
    access.set_file_locking(False, True)
    return h5py.h5f.open(os.fsencode(path), h5py.h5f.ACC_RDONLY, fapl=access)


def root_of(file: Any) -> Any:
    """Return the root group."""
    return h5py.h5g.open(file, b"/")


def has_link(root: Any, name: str) -> bool:
    """Tell whether the root group has a link of this name."""
    return bool(root.links.exists(name.encode()))


def is_hard_link(root: Any, name: str) -> bool:
    """Tell whether a link is held by the file itself."""
    return bool(root.links.get_info(name.encode()).type == h5py.h5l.TYPE_HARD)


def open_dataset(root: Any, name: str) -> Any:
    """Open a data set; KeyError or another error of h5py if it is something else."""
    return h5py.h5d.open(root, name.encode())


def has_attribute(root: Any, name: str) -> bool:
    """Tell whether the root group has an attribute of this name."""
    return bool(h5py.h5a.exists(root, name.encode()))


def open_attribute(root: Any, name: str) -> Any:
    """Open a root attribute."""
    return h5py.h5a.open(root, name.encode())


def storage_of(dataset: Any) -> Hdf5Storage:
    """Return how a data set is kept, without reading it."""
    plist = dataset.get_create_plist()
    layout = plist.get_layout()
    chunked = layout == h5py.h5d.CHUNKED
    filters = tuple(int(plist.get_filter(i)[0]) for i in range(plist.get_nfilters()))
    return Hdf5Storage(
        external=plist.get_external_count() > 0,
        virtual=layout == h5py.h5d.VIRTUAL,
        chunk=tuple(plist.get_chunk()) if chunked else None,
        filters=filters,
    )


def plain_type(handle: Any) -> np.dtype[Any] | None:
    """Return the type of a data set or attribute, or None unless it is plain.

    Plain are whole numbers, floats and fixed-length texts.
    """
    kind = handle.get_type()
    if kind.get_class() not in _PLAIN_CLASSES:
        return None
    if kind.get_class() == h5py.h5t.STRING and kind.is_variable_str():
        return None
    dtype = kind.dtype
    return np.dtype(dtype.str) if dtype.kind in "iufS" else None


def shape_of(handle: Any) -> tuple[int, ...] | None:
    """Return the shape of a data set or attribute, or None if it has none."""
    space = handle.get_space()
    if space.get_simple_extent_type() not in (h5py.h5s.SIMPLE, h5py.h5s.SCALAR):
        return None
    return tuple(space.get_simple_extent_dims())


def read_dataset(dataset: Any, dtype: np.dtype[Any], shape: tuple[int, ...]) -> Array:
    """Read a whole data set that the guard has let pass."""
    array = np.zeros(shape, dtype=dtype)
    if array.size:
        dataset.read(h5py.h5s.ALL, h5py.h5s.ALL, array, mtype=dataset.get_type())
    return array


def read_rows(dataset: Any, dtype: np.dtype[Any], start: int, count: int) -> Array:
    """Read some rows of a 1-D data set that the guard has let pass."""
    array = np.zeros(count, dtype=dtype)
    if count:
        place = dataset.get_space()
        place.select_hyperslab((start,), (count,))
        dataset.read(h5py.h5s.create_simple((count,)), place, array, mtype=dataset.get_type())
    return array


def read_attribute(attribute: Any, dtype: np.dtype[Any]) -> str | int:
    """Read an attribute that the guard has let pass."""
    array = np.zeros((), dtype=dtype)
    attribute.read(array, mtype=attribute.get_type())
    value = array.item()
    return value.decode() if isinstance(value, bytes) else int(value)


def new_image() -> Any:
    """Start a file in memory that old readers understand (no newer than HDF5 1.10)."""
    name = f"image {next(_NUMBERS)}"
    return h5py.File(name, "w", driver="core", backing_store=False, libver=("v108", "v110"))


def text_type(width: int) -> Any:
    """Return the type of fixed-length UTF-8 text."""
    return h5py.string_dtype("utf-8", width)


def image_of(file: Any) -> bytes:
    """Return the bytes of a file in memory."""
    file.flush()
    return bytes(file.id.get_file_image())


def write_dataset(dataset: Any, array: Array) -> None:
    """Write a whole data set."""
    dataset.id.write(h5py.h5s.ALL, h5py.h5s.ALL, array, mtype=dataset.id.get_type())
