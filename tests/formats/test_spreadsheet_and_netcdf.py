"""Spreadsheet and NetCDF exports, read by others: openpyxl, xarray and the NetCDF library."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
import xarray as xr

import calib_model as cm
from calib_model.errors import FileProblem
from calib_model.exchange.netcdf import netcdf_bytes, write_netcdf
from calib_model.exchange.spreadsheet import spreadsheet_bytes, write_spreadsheet

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
AXIS = cm.Axis([0.1 + 0.2, 1.0, 1e300], name="Speed", unit="km/h", quantity="vehicle_speed")
CURVE = cm.Table("limit", [1 / 3, np.nan, 5e-324], (AXIS,), "=1+1", "N.m", "Clutch: a/b?")


@pytest.fixture(scope="module")
def normal() -> cm.CalibrationSet:
    return cm.open_set(SAMPLES / "larch_normal.h5")


def _sheet(data: bytes, name: str) -> list[tuple[Any, ...]]:
    book = openpyxl.load_workbook(io.BytesIO(data))
    return [tuple(row) for row in book[name].iter_rows(values_only=True)]


def test_openpyxl_reads_grids_to_the_last_digit(normal: cm.CalibrationSet) -> None:
    rows = _sheet(spreadsheet_bytes(normal), "Pre-engagement")
    table = normal["pre_engage_torque"]
    assert rows[0][:2] == ("pre_engage_torque", "Pre-engage torque [N.m]")
    assert rows[1][0] == "Ambient temperature [degC] \\ Accelerator pedal [%]"
    assert list(rows[1][1:]) == table.axes[1].values.tolist()
    block = np.array(rows[2:12], dtype=float)
    assert (block[:, 0] == table.axes[0].values).all()
    assert (block[:, 1:] == table.values).all()


def test_numbers_keep_every_bit_and_texts_are_no_formulas() -> None:
    """The writer's own 16 digits would lose the last bit of 0.1 + 0.2."""
    data = spreadsheet_bytes(cm.CalibrationSet([CURVE]))
    book = openpyxl.load_workbook(io.BytesIO(data))
    (name,) = [n for n in book.sheetnames if n.startswith("Clutch")]
    assert len(name) <= 31
    assert not set(name) & set("[]:*?/\\")  # ISO/IEC 29500: what a sheet's name may not hold
    sheet = book[name]
    assert [sheet.cell(row, 1).value for row in (3, 4, 5)] == AXIS.values.tolist()
    assert [sheet.cell(row, 2).value for row in (3, 4, 5)] == [1 / 3, None, 5e-324]
    kinds = {cell.data_type for one in book for row in one.iter_rows() for cell in row}
    assert "f" not in kinds
    listed = _sheet(data, "tables")
    assert dict(zip(listed[0], listed[1], strict=True))["name"] == "=1+1"


def test_the_same_set_gives_the_same_bytes(normal: cm.CalibrationSet) -> None:
    first = spreadsheet_bytes(normal)
    assert first == spreadsheet_bytes(cm.open_set(SAMPLES / "larch_normal.h5"))
    core = zipfile.ZipFile(io.BytesIO(first)).read("docProps/core.xml")
    assert b">2000-01-01T00:00:00Z<" in core
    assert netcdf_bytes(normal) == netcdf_bytes(cm.open_set(SAMPLES / "larch_normal.h5"))


def test_xarray_reads_values_coordinates_and_units(
    normal: cm.CalibrationSet, tmp_path: Path
) -> None:
    write_netcdf(normal, tmp_path / "x.nc", "UNSIGNED")
    with xr.open_dataset(tmp_path / "x.nc", engine="h5netcdf", decode_timedelta=False) as data:
        assert set(data.data_vars) == set(normal.tables)
        assert data.attrs["Conventions"].startswith("CF-")
        assert data.attrs["status"] == "UNSIGNED"
        for table in normal:
            one = data[table.id]
            assert (one.values == table.values).all()
            for name, axis in zip(one.dims, table.axes, strict=True):
                assert (one[name].values == axis.values).all()
        assert data["pre_engage_torque"].attrs["units"] == "N.m"
        assert data["pre_engage_fade"].attrs["units"] == "1"
        picked = data["pre_engage_torque"].sel(ambient_temperature_2=-10.0, pedal=40.0)
        assert float(picked) == 215.0


def test_the_netcdf_library_itself_reads_it(normal: cm.CalibrationSet, tmp_path: Path) -> None:
    """In a process of its own: it brings another HDF5 library along."""
    write_netcdf(normal, tmp_path / "x.nc")
    script = (
        "import json, netCDF4\n"
        f"with netCDF4.Dataset({str(tmp_path / 'x.nc')!r}) as d:\n"
        "    v = d['pre_engage_torque']\n"
        "    print(json.dumps([d.data_model, v.dimensions, v.units, float(v[3, 6]),\n"
        "        v.storage, len(d.dimensions['pedal']), d['controller_tick'].ndim]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout) == [
        "NETCDF4", ["ambient_temperature_2", "pedal"], "N.m", 215.0, "uint16 1/2 0", 12, 0,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("table", "place", "why"),
    [
        (replace(CURVE, description="a\0b"), "tables", "does not keep"),
        (replace(CURVE, description="x" * 40_000), "tables", "40000 characters"),
        (replace(CURVE, name="_x0041_"), "tables", "does not keep"),
    ],
    ids=["control character", "too long", "an escape"],
)
def test_what_a_spreadsheet_cannot_hold_is_named(
    table: cm.Table, place: str, why: str, tmp_path: Path
) -> None:
    with pytest.raises(FileProblem, match=why) as told:
        write_spreadsheet(cm.CalibrationSet([table]), tmp_path / "x.xlsx")
    assert place in told.value.place
    assert not (tmp_path / "x.xlsx").exists()


@pytest.mark.parametrize(
    ("table", "why"),
    [
        (replace(CURVE, id=".hidden"), "begins with a sign"),
        (replace(CURVE, description="a\0b"), "no text may have"),
        (replace(CURVE, description="x" * 70_000), "70000 bytes"),
    ],
    ids=["name", "control character", "too long"],
)
def test_what_netcdf_cannot_hold_is_named(table: cm.Table, why: str, tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match=why) as told:
        write_netcdf(cm.CalibrationSet([table]), tmp_path / "x.nc")
    assert table.id in told.value.place
    assert not (tmp_path / "x.nc").exists()


def test_one_axis_twice_and_names_that_clash_get_dimensions_of_their_own(tmp_path: Path) -> None:
    axis = cm.Axis([0.0, 1.0], name="pedal")
    square = cm.Table("pedal", [[1.0, 2.0], [3.0, 4.0]], (axis, axis))
    write_netcdf(cm.CalibrationSet([square]), tmp_path / "x.nc")
    with xr.open_dataset(tmp_path / "x.nc", engine="h5netcdf") as data:
        assert data["pedal"].dims == ("pedal_2", "pedal_3")
        assert data["pedal"].values.tolist() == square.values.tolist()
