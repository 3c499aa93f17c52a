"""Variables of an HDF5 or NetCDF-4 file; runs in the reading process.

The walk follows hard links only, to a bounded depth and number.  What keeps its data elsewhere is
refused, as in a set file; what is packed by a filter that not every HDF5 library has, or is no
number, is named and left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from ..store import hdf5_api as api
from ..store.layout import MAX_CHUNK_BYTES, MAX_CHUNKS
from .bounds import MAX_DEPTH, MAX_OBJECTS, MAX_VALUES, REMEDY
from .refused import Refused

FILTERS = frozenset({api.SHUFFLE, api.DEFLATE, api.FLETCHER32})
MAX_ATTRIBUTES = 200
MAX_ATTRIBUTE_BYTES = 1 << 16
DAMAGED = "Restore it from a backup, or have it written again."
BARE = "This is a netCDF dimension but not a netCDF variable."
"""Begins the name of a dimension that has a length and nothing else (NetCDF-4 file format)."""
_HIDDEN = ("_Netcdf4", "_NCProperties", "_nc3_strict", "CLASS", "NAME", "REFERENCE_LIST",
           "DIMENSION_LIST", "DIMENSION_LABELS")  # fmt: skip
Found = tuple[dict[str, Any], Any]


def read_variables(path: Path) -> Iterator[Found]:
    """Yield the file's own attributes (as variable ``/``), then each data set, with its values.

    Raises
    ------
    Refused
    """
    api.forbid_plugins()
    try:
        file = api.open_path(str(path))
        walk = _Walk()
        yield {"path": "/", "shape": [], "dimensions": [], "left_out": "the file",
               "attributes": _attributes(api.root_of(file))}, None  # fmt: skip
        yield from walk.group(api.root_of(file), "", 0)
    except (Refused, MemoryError):
        raise
    except Exception as error:  # h5py raises many kinds for damaged structures
        raise Refused("", f"Its structure is damaged ({str(error)[:200]}).", DAMAGED) from None


class _Walk:
    def __init__(self) -> None:
        self.objects = MAX_OBJECTS
        self.values = MAX_VALUES
        self.seen: set[Any] = set()

    def group(self, group: Any, path: str, depth: int) -> Iterator[Found]:
        """Yield what is in a group."""
        if group.get_num_objs() > self.objects:
            raise Refused(path or "/", f"It holds more than {MAX_OBJECTS} objects.", REMEDY)
        by_order = bool(group.get_create_plist().get_link_creation_order() & 1)
        names: list[bytes] = []
        index = h5py.h5.INDEX_CRT_ORDER if by_order else h5py.h5.INDEX_NAME
        group.links.iterate(names.append, idx_type=index)
        for raw in names:
            self.objects -= 1
            if self.objects < 0:
                raise Refused(path or "/", f"It holds more than {MAX_OBJECTS} objects.", REMEDY)
            name = raw.decode("utf-8", "replace")
            place = f"{path}/{name}"
            if group.links.get_info(raw).type != h5py.h5l.TYPE_HARD:
                yield _left_out(place, "a link to somewhere else, which is never followed")
                continue
            one = h5py.h5o.open(group, raw)
            if isinstance(one, h5py.h5g.GroupID):
                where = h5py.h5o.get_info(one)
                key = (where.fileno, where.addr)
                if key in self.seen:
                    yield _left_out(place, "a group that was read already")
                    continue
                self.seen.add(key)
                if depth >= MAX_DEPTH:
                    raise Refused(place, f"Its groups are more than {MAX_DEPTH} deep.", REMEDY)
                yield from self.group(one, place, depth + 1)
            elif isinstance(one, h5py.h5d.DatasetID):
                yield self.dataset(one, place)

    def dataset(self, data: Any, place: str) -> Found:
        """Return a data set, with values where it has plain ones."""
        kept = api.storage_of(data)
        if kept.external:
            raise Refused(place, "It keeps its data in another file, which is never read.", DAMAGED)
        if kept.virtual:
            raise Refused(place, "It is a view of other files, which are never read.", DAMAGED)
        unknown = [f for f in kept.filters if f not in FILTERS]
        if unknown:
            return _left_out(place, f"it is packed by filter {unknown[0]}")
        kind = data.get_type().get_class()
        if kind not in (h5py.h5t.INTEGER, h5py.h5t.FLOAT, h5py.h5t.ENUM):
            return _left_out(place, "it holds no numbers")
        shape = api.shape_of(data)
        if shape is None:
            return _left_out(place, "it holds nothing")
        size = math.prod(shape)
        if kept.chunk is not None:
            chunks = math.prod(-(-n // max(c, 1)) for n, c in zip(shape, kept.chunk, strict=True))
            if math.prod(kept.chunk) * 8 > MAX_CHUNK_BYTES or chunks > MAX_CHUNKS:
                return _left_out(place, "it is cut into too many or too large chunks")
        if size > self.values:
            return _left_out(place, f"it is larger than the {MAX_VALUES} numbers that are read")
        if len(shape) > 8:
            return _left_out(place, f"it has {len(shape)} dimensions")
        self.values -= size
        values = np.zeros(shape, dtype=np.float64)
        if size:
            data.read(h5py.h5s.ALL, h5py.h5s.ALL, values, mtype=h5py.h5t.NATIVE_DOUBLE)
        bare, dimensions = False, []
        for number in range(len(shape)):
            dimensions.append(_scale_of(data, number))
        scale = bool(h5py.h5ds.is_scale(data))
        if scale:
            label = h5py.h5ds.get_scale_name(data) or b""
            bare = label.startswith(BARE.encode())
        header = {
            "path": place, "shape": list(shape), "dimensions": dimensions,
            "attributes": _attributes(data), "scale": scale,
        }  # fmt: skip
        if bare:
            header["left_out"] = "dimension"
            return header, None
        return header, values.tobytes()


def _scale_of(data: Any, number: int) -> str:
    found: list[str] = []

    def take(scale: Any) -> int:
        name = h5py.h5i.get_name(scale)
        found.append(name.decode("utf-8", "replace") if name else "")
        return 1  # the first is enough

    if h5py.h5ds.is_scale(data) or not h5py.h5ds.get_num_scales(data, number):
        return ""
    h5py.h5ds.iterate(data, number, take, 0)
    return found[0] if found else ""


def _left_out(place: str, why: str) -> Found:
    return {"path": place, "shape": [], "dimensions": [], "attributes": {}, "left_out": why}, None


def _attributes(owner: Any) -> dict[str, Any]:
    """Return the attributes that are one text or one number."""
    found: dict[str, Any] = {}
    for number in range(min(h5py.h5a.get_num_attrs(owner), MAX_ATTRIBUTES)):
        attribute = h5py.h5a.open(owner, index=number)
        name = attribute.name.decode("utf-8", "replace")
        if name.startswith(_HIDDEN):
            continue
        kind = attribute.get_type()
        size = math.prod(attribute.shape or ())
        if size != 1 or attribute.get_storage_size() > MAX_ATTRIBUTE_BYTES:
            continue
        if kind.get_class() == h5py.h5t.STRING:
            text = _text(attribute, kind)
            if text is not None:
                found[name] = text
        elif kind.get_class() in (h5py.h5t.INTEGER, h5py.h5t.FLOAT):
            value = np.zeros(attribute.shape, dtype=np.float64)
            attribute.read(value, mtype=h5py.h5t.NATIVE_DOUBLE)
            plain = float(value.reshape(-1)[0])
            found[name] = plain if math.isfinite(plain) else str(plain)
    return found


def _text(attribute: Any, kind: Any) -> str | None:
    value = np.empty(attribute.shape, dtype=kind.dtype)
    # Texts of variable length are pointers in the file's own type: h5py's makes objects of them.
    attribute.read(value, mtype=h5py.h5t.py_create(kind.dtype) if kind.is_variable_str() else kind)
    one = value.reshape(-1)[0]
    data = one if isinstance(one, bytes) else str(one or "").encode("utf-8", "replace")
    if len(data) > MAX_ATTRIBUTE_BYTES:
        return None
    return data.decode("utf-8", "replace").split("\0")[0]
