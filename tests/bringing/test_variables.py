"""Tables in HDF5 and NetCDF: xarray's files by the CF conventions, and what is refused."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray as xr

from calib_model.bringing import asking
from calib_model.bringing.understanding import NotTaken, set_of, understand
from calib_model.errors import FileProblem
from calib_model.evidence.reading import hdf5
from tests.evidence_reading.making_recordings import write_hdf5

TORQUE = xr.DataArray(
    [[0.1 + 0.2, 1.0, np.nan], [4.0, 5.0, 1e-300]],
    dims=("ambient", "pedal"),
    coords={
        "ambient": ("ambient", [-10.0, 0.0], {"units": "degree_Celsius", "long_name": "Ambient"}),
        "pedal": ("pedal", [0, 50, 100], {"units": "percent"}),
    },
    attrs={"units": "N m", "long_name": "Pre-engage torque", "comment": "At the clutch"},
    name="pre_engage",
)
DATA = xr.Dataset(
    {
        "pre_engage": TORQUE,
        "tick": ((), 20.0, {"units": "A"}),
        "fade": ("pedal", [1.0, 0.5, 0.0], {"units": "1"}),
    },
    attrs={"title": "Somebody's tables", "Conventions": "CF-1.8"},
)


@pytest.mark.parametrize("engine", ["h5netcdf", "netcdf4"])
def test_an_xarray_file_comes_in_exactly(tmp_path: Path, engine: str) -> None:
    path = tmp_path / "x.nc"
    DATA.to_netcdf(path, engine="h5netcdf")
    if engine == "netcdf4":
        # Written anew by the NetCDF library, in a process of its own: it brings another HDF5.
        script = (
            "import xarray as xr; d = xr.load_dataset('x.nc', engine='h5netcdf'); "
            "d.to_netcdf('x.nc', engine='netcdf4')"
        )
        subprocess.run([sys.executable, "-c", script], cwd=tmp_path, check=True)
    found = understand([path])
    assert not found.doubtful
    content = found.content()
    assert set(content.tables) == {"pre_engage", "tick", "fade"}
    table = content["pre_engage"]
    assert np.array_equal(table.values, TORQUE.to_numpy(), equal_nan=True)
    assert (table.unit, table.name, table.description) == (
        "N.m", "Pre-engage torque", "At the clutch",
    )  # fmt: skip
    ambient, pedal = table.axes
    assert (ambient.name, ambient.unit, ambient.values.tolist()) == ("Ambient", "degC", [-10, 0])
    assert (pedal.name, pedal.unit) == ("pedal", "%")
    assert content["tick"].values.item() == 20.0
    assert content["tick"].unit == "A"


def test_groups_prefix_ids_and_packed_values_are_scaled(tmp_path: Path) -> None:
    """CF 8.1: unpacked = packed * scale_factor + add_offset; _FillValue is none."""
    path = tmp_path / "x.nc"
    encoding = {
        "pre_engage": {
            "dtype": "int16",
            "scale_factor": 0.5,
            "add_offset": 10.0,
            "_FillValue": -1,
        }
    }
    rounded = xr.Dataset({"pre_engage": TORQUE.round()})
    rounded.to_netcdf(path, group="clutch/maps", engine="h5netcdf", encoding=encoding)
    (table,) = set_of([path])
    assert table.id == "clutch.maps.pre_engage"
    assert np.array_equal(table.values, TORQUE.round().to_numpy(), equal_nan=True)


def test_dimensions_without_coordinates_are_doubtful(tmp_path: Path) -> None:
    xr.Dataset({"m": (("a", "b"), [[1.0, 2.0], [3.0, 4.0]])}).to_netcdf(
        tmp_path / "x.nc", engine="h5netcdf"
    )
    found = understand([tmp_path / "x.nc"])
    assert [doubt.about for _, doubt in found.doubtful] == ["axis 1", "axis 2"]
    assert "has no coordinates" in found.doubtful[0][1].why
    with pytest.raises(NotTaken):
        set_of([tmp_path / "x.nc"])
    assert set_of([tmp_path / "x.nc"], as_understood=True)["m"].shape == (2, 2)


def test_plain_hdf5_is_told_by_lengths_in_doubt(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "x.h5", "w") as file:
        group = file.create_group("torque")
        group["speed"] = [0.0, 10.0, 20.0]
        group["pedal"] = [0.0, 100.0]
        group["values"] = [[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]
    found = understand([tmp_path / "x.h5"])
    (draft,) = found.tables
    assert [axis.name for axis in draft.table.axes] == ["speed", "pedal"]
    assert [doubt.about for doubt in draft.doubts] == ["form"]
    assert draft.table.id == "torque.values"


def test_our_own_set_is_one_too(tmp_path: Path) -> None:
    samples = Path(__file__).resolve().parents[2] / "sample_sets"
    found = understand([samples / "larch_normal.h5"])
    assert len(found.tables) == 42
    assert not found.doubtful


def test_a_recording_is_no_table(tmp_path: Path) -> None:
    write_hdf5(tmp_path / "run.h5", np.arange(9) * 0.02, {"pedal": ("%", np.arange(9.0))})
    assert asking.RECORDING == hdf5.FORMAT
    with pytest.raises(FileProblem, match="It is a recording"):
        understand([tmp_path / "run.h5"])


# -- what is not read ----------------------------------------------------------------------------


def test_links_are_left_out_and_filters_named(tmp_path: Path) -> None:
    path = tmp_path / "x.h5"
    with h5py.File(path, "w") as file:
        file["soft"] = h5py.SoftLink("/elsewhere")
        file["external"] = h5py.ExternalLink("/etc/other.h5", "/secret")
        file["text"] = "hello"
        file.create_dataset("packed", data=np.arange(100.0), compression="lzf")
        loop = file.create_group("a")
        loop["again"] = loop
        file["gain"] = 2.5
    found = understand([path])
    assert [d.table.id for d in found.tables] == ["gain"]
    told = {one.where: one.why for one in found.left_out}
    assert "never followed" in told["/soft"]
    assert "never followed" in told["/external"]
    assert "filter 32000" in told["/packed"]
    assert "no numbers" in told["/text"]
    assert "read already" in told["/a/again"]


def test_data_kept_elsewhere_is_refused_as_in_a_set(tmp_path: Path) -> None:
    (tmp_path / "raw").write_bytes(bytes(80))
    with h5py.File(tmp_path / "x.h5", "w") as file:
        file.create_dataset("m", (10,), "f8", external=[(str(tmp_path / "raw"), 0, 80)])
    with pytest.raises(FileProblem, match="/m: It keeps its data in another file"):
        understand([tmp_path / "x.h5"])
    layout = h5py.VirtualLayout((10,), "f8")
    layout[:] = h5py.VirtualSource(str(tmp_path / "y.h5"), "m", (10,))
    with h5py.File(tmp_path / "z.h5", "w") as file:
        file.create_virtual_dataset("v", layout)
    with pytest.raises(FileProblem, match="/v: It is a view of other files"):
        understand([tmp_path / "z.h5"])


def test_what_asks_for_too_much_is_left_out_or_refused(tmp_path: Path) -> None:
    with h5py.File(tmp_path / "x.h5", "w") as file:
        file.create_dataset("huge", (1 << 40,), "f8", chunks=(1 << 20,), compression="gzip")
        file.create_dataset("wide", (1 << 23,), "f8")
        file.create_dataset("deep", data=np.zeros((1,) * 9))
    told = {one.where: one.why for one in understand([tmp_path / "x.h5"]).left_out}
    assert set(told) == {"/huge", "/wide", "/deep"}
    with h5py.File(tmp_path / "y.h5", "w") as file:
        group = file
        for _ in range(20):
            group = group.create_group("g")
    with pytest.raises(FileProblem, match="12 deep"):
        understand([tmp_path / "y.h5"])
    with h5py.File(tmp_path / "z.h5", "w", libver="latest") as file:
        for number in range(20_001):
            file.create_group(str(number))
    with pytest.raises(FileProblem, match="20000 objects"):
        understand([tmp_path / "z.h5"])


def test_a_damaged_file_is_refused(tmp_path: Path, own_process: None) -> None:
    DATA.to_netcdf(tmp_path / "x.nc", engine="h5netcdf")
    data = (tmp_path / "x.nc").read_bytes()
    (tmp_path / "y.nc").write_bytes(data[: len(data) // 2])
    with pytest.raises(FileProblem, match="damaged"):
        understand([tmp_path / "y.nc"])
