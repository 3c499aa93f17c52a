"""Small files that unpack large, each in our own layout with right check sums."""

from __future__ import annotations

from pathlib import Path
from unittest import mock

import numpy as np

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.store import HistoryColumns, hdf5
from calib_model.store.allowance import Allowance
from calib_model.store.encode import encode
from calib_model.store.layout import COLUMNS
from calib_model.store.structure import Columns, Neutral
from tests.store.making import entries, small_set

_DIMENSION = {c.name: c.dimensions[0] for c in COLUMNS}


def image_of(columns: Columns, attributes: dict[str, str | int]) -> bytes:
    """Return the image that a writer without bounds would make."""
    none = mock.create_autospec(Allowance, instance=True)
    with mock.patch.object(hdf5, "Allowance", return_value=none):
        return hdf5.make_image(Neutral(columns, attributes))[0]


def _base() -> Neutral:
    history = HistoryColumns().with_entries(entries(3)).columns()
    return encode(small_set(), history, [("remark", {"id": "a", "text": "x"})])


def _repeated(columns: Columns, dimension: str, count: int) -> None:
    for name, array in list(columns.items()):
        if _DIMENSION[name] == dimension:
            columns[name] = np.repeat(array[:1], count, axis=0)


def _pieces(text: str) -> list[bytes]:
    data = text.encode()
    return [data[i : i + 120] for i in range(0, len(data), 120)]


def many_tables(count: int) -> bytes:
    base = _base()
    columns = {k: v for k, v in base.columns.items() if _DIMENSION[k] in ("table", "value")}
    for dimension in ("table", "value"):
        _repeated(columns, dimension, count)
    columns["table"] = np.char.add(b"t", np.arange(count).astype("S8"))
    columns["axes"] = np.full((count, 4), -1, "<i4")
    columns["rules"] = np.full(count, -1, "<i4")
    columns["storage_type"] = np.zeros(count, "|i1")
    columns["description_count"] = np.zeros(count, "<i4")
    for name in ("storage_numerator", "storage_denominator"):
        columns[name] = np.ones(count, "<i8")
    return image_of(columns, base.attributes)


def many_cells(count: int) -> bytes:
    side = int(count**0.5)
    axis = Axis(np.arange(side))
    table = Table("m", np.zeros((side, side)), (axis, axis), storage=Storage("int32"))
    made = encode(CalibrationSet([table]), {})
    return image_of(dict(made.columns), made.attributes)


def many_entries(count: int) -> bytes:
    base = _base()
    columns = {k: v for k, v in base.columns.items() if not k.startswith("edit")}
    _repeated(columns, "entry", count)
    for name in [n for n in columns if n.startswith("entry_") and n.endswith("_text")]:
        del columns[name]
    for name in [n for n in columns if n.startswith("entry_") and n.endswith("_count")]:
        columns[name] = np.zeros(count, "<i4")
    return image_of(columns, base.attributes)


def many_edited_cells(count: int) -> bytes:
    base = _base()
    columns = dict(base.columns)
    _repeated(columns, "edit_cell", count)
    counts = np.zeros_like(columns["edit_cell_count"])
    counts[0] = count
    columns["edit_cell_count"] = counts
    return image_of(columns, base.attributes)


def many_json_values(count: int) -> bytes:
    """A record of lists: each takes 64 bytes for three of the file's."""
    base = _base()
    columns = dict(base.columns)
    pieces = _pieces('{"id":"1","places":[' + "[]," * count + "[]]}")
    columns["record_count"] = np.array([len(pieces)], "<i4")
    columns["record_text"] = np.array(pieces)
    return image_of(columns, base.attributes)


def many_rules(count: int) -> bytes:
    base = _base()
    columns = dict(base.columns)
    pieces = _pieces("[" + ",".join(['{"kind":"monotone","axis":"1"}'] * count) + "]")
    columns["rule_count"] = np.array([len(pieces)], "<i4")
    columns["rule_text"] = np.array(pieces)
    columns["rules"] = np.minimum(columns["rules"], 0)
    return image_of(columns, base.attributes)


def wide_texts(count: int) -> bytes:
    base = _base()
    columns = {k: v for k, v in base.columns.items() if _DIMENSION[k] != "relation"}
    columns["relation_table"] = np.zeros(count, "<i4")
    columns["relation_sign"] = np.full(count, b">=")
    modes = np.zeros(count, "S1900")
    modes[:] = np.char.add(np.arange(count).astype("S8"), "\N{SNOWMAN}x".encode() * 200)
    columns["relation_mode"] = modes
    return image_of(columns, base.attributes)


SETS = {
    "300,000 tables": lambda: many_tables(300_000),
    "6 million cells": lambda: many_cells(6_000_000),
    "a million entries": lambda: many_entries(1_000_000),
    "5 million edited cells": lambda: many_edited_cells(5_000_000),
    "5 million lists in a record": lambda: many_json_values(5_000_000),
    "30,000 rules of a table": lambda: many_rules(30_000),
    "wide texts": lambda: wide_texts(60_000),
}
LARGEST = {  # what the bounds just let through
    "as many tables": lambda: many_tables(100_000),
    "as many cells": lambda: many_cells(3_990_000),
    "as many entries": lambda: many_entries(200_000),
    "as many edited cells": lambda: many_edited_cells(4_000_000),
    "as many lists": lambda: many_json_values(1_900_000),
}


def two_lines(path: Path) -> None:
    path.write_text("time [s],pedal [%],vehicle_speed [km/h]\n0,1,2\n390000,2,3\n")


def zeros_in_parquet(path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    time = pa.array(np.repeat(0.02 * np.arange(70), 100_000))
    zeros = {f"c{n} [%]": pa.array(np.zeros(len(time))) for n in range(40)}
    pq.write_table(pa.table({"time [s]": time, **zeros}), path, compression="zstd")


def one_long_channel(path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    zeros = pa.array(np.zeros(9_000_000))
    pq.write_table(pa.table({"time [s]": zeros, "c [%]": zeros}), path, compression="zstd")


def holes_in_hdf5(path: Path) -> None:
    """Four kilobytes: chunks that were never written read as zeros."""
    import h5py

    count = 200_000_000
    with h5py.File(path, "w") as file:
        file.attrs.create("format", np.bytes_(b"bitepoint recording"))
        file.attrs.create("format_version", 1, dtype="<i4")
        file["base_count"] = np.array([count], "<i8")
        file["channel"] = np.array([b"pedal"])
        file["channel_base"] = np.array([0], "<i4")
        for name in ("times", "values"):
            file.create_dataset(name, (count,), "<f8", chunks=(1 << 20,), compression="gzip")


def gaps_everywhere(path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    time = np.cumsum(np.where(np.arange(2_000_000) % 5 == 0, 3.0, 0.02))
    columns = {"time [s]": pa.array(time), "pedal [%]": pa.array(np.zeros(time.size))}
    pq.write_table(pa.table(columns), path, compression="zstd")


RECORDINGS = {
    "two lines far apart": two_lines,
    "zeros in Parquet": zeros_in_parquet,
    "one long channel": one_long_channel,
    "holes in HDF5": holes_in_hdf5,
    "gaps everywhere": gaps_everywhere,
}
