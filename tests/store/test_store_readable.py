"""Set files make sense to generic tools: plain h5py and xarray."""

from __future__ import annotations

import gc
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.store import (
    HistoryColumns,
    hdf5_api,
    image_of,
    open_file,
    read_set_here,
    write_set,
)
from calib_model.store.layout import COLUMNS
from tests.store.making import entries, labelled_set, small_image, small_set


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "set.h5"
    path.write_bytes(small_image())
    return path


def test_plain_h5py_reads_every_column(file: Path) -> None:
    content = small_set()
    with h5py.File(file) as stored:
        assert stored.attrs["programme"] == b"Larch"
        assert int(stored.attrs["format_version"]) == 1
        ids = [id.decode() for id in stored["table"]]
        assert ids == list(content.tables)
        ends = np.cumsum(stored["value_count"])
        row = ids.index("torque")
        flat = stored["values"][ends[row] - stored["value_count"][row] : ends[row]]
        np.testing.assert_array_equal(flat.reshape(4, 3), content["torque"].values)
        axis = stored["axes"][row][0]
        start = stored["axis_count"][:axis].sum()
        breakpoints = stored["axis_values"][start : start + stored["axis_count"][axis]]
        np.testing.assert_array_equal(breakpoints, content["torque"].axes[0].values)
        meanings = stored["kind"].attrs["flag_meanings"].decode().split()
        assert [meanings[k] for k in stored["kind"]] == [
            "scalar", "curve", "map", "curve", "curve", "map_3_axes",
        ]  # fmt: skip
        raw = stored["raw_values"][:]
        assert raw[0] == 20  # the tick, in ms
        assert 360 in raw  # 180 N.m in steps of 0.5


def test_every_column_is_summed_packed_and_has_named_dimensions(tmp_path: Path) -> None:
    file = tmp_path / "labelled.h5"
    history = HistoryColumns().with_entries(entries())
    file.write_bytes(image_of(labelled_set(), history, [("remark", {"text": "see"})])[0])
    with h5py.File(file) as stored:
        names = {c.name for c in COLUMNS}
        assert names <= set(stored)
        for column in COLUMNS:
            dataset = stored[column.name]
            assert dataset.fletcher32, column.name
            assert dataset.compression == "gzip", column.name
            assert dataset.dtype.kind in "ifS", column.name
            if dataset.dtype.kind == "S":
                assert h5py.check_string_dtype(dataset.dtype).encoding == "utf-8"
                assert h5py.check_string_dtype(dataset.dtype).length is not None
            for number, dimension in enumerate(column.dimensions):
                if dimension != column.name:
                    assert list(dataset.dims[number]) != []
                    assert dataset.dims[number][0].name == f"/{dimension}", column.name


def test_xarray_reads_it_with_named_dimensions(file: Path) -> None:
    """Through h5netcdf, which takes the dimensions' names from the HDF5 dimension scales."""
    content = small_set()
    with xarray.open_dataset(file, engine="h5netcdf") as stored:
        assert stored.sizes["table"] == 6
        assert stored["value_count"].dims == ("table",)
        assert stored["axes"].dims == ("table", "position")
        assert stored["values"].dims == ("value",)
        assert int(stored["value_count"].sel(table=b"torque")) == 12
        assert float(stored["upper"].sel(table=b"torque")) == content["torque"].upper
        assert stored["value_count"].attrs["sample_dimension"] == "value"
        assert stored.attrs["mode"] == "normal"
        ends = np.cumsum(stored["value_count"].values)
        values = np.split(stored["values"].values, ends[:-1])
    for table, flat in zip(content, values, strict=True):
        np.testing.assert_array_equal(flat, table.values.reshape(-1))


def test_old_tools_can_read_it(file: Path) -> None:
    # Superblock version 2 is read by HDF5 1.8 and later (HDF5 file format specification, from
    # memory); version 3 would need 1.10.
    assert file.read_bytes()[8] == 2


def test_a_forgotten_reading_leaves_no_process(tmp_path: Path) -> None:
    path = tmp_path / "set.h5"
    write_set(path, CalibrationSet([Table("a", 1.0)]))
    reading = open_file(path)
    process = reading._child.process
    del reading
    gc.collect()
    assert process.poll() is not None


def test_two_files_in_memory_at_once_are_two() -> None:
    """HDF5 takes images of one name for one file, and gave the first to whoever asked second."""
    one, two = small_set(), small_set().described(name="another")
    first, second = image_of(one)[0], image_of(two)[0]
    held = hdf5_api.open_image(first)
    try:
        assert read_set_here(second, "second.h5").set == two
    finally:
        held.close()
    assert read_set_here(first, "first.h5").set == one


def test_two_files_are_made_in_memory_at_once() -> None:
    """As two saves of one window do."""
    held = hdf5_api.new_image()
    try:
        assert read_set_here(image_of(small_set())[0], "second.h5").set == small_set()
    finally:
        held.close()
