"""Tables as xarray's and pandas' objects, and back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
import xarray as xr

import calib_model as cm
from calib_model.core import frames
from calib_model.errors import ModelError

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"


def test_every_sample_table_comes_back_but_for_its_rules() -> None:
    for table in cm.open_set(SAMPLES / "larch_normal.h5"):
        back = cm.Table.from_xarray(table.to_xarray())
        assert np.array_equal(back.values, table.values)
        texts = ("id", "name", "unit", "function", "description", "role")
        for name in (*texts, "lower", "upper", "storage"):
            assert getattr(back, name) == getattr(table, name), name
        for axis, own in zip(back.axes, table.axes, strict=True):
            assert axis == replace(own, shared="", labels=axis.labels)


def test_xarray_interpolates_as_the_lookup_does() -> None:
    """`xarray.DataArray.interp` is linear between breakpoints, and so are we."""
    table = cm.open_set(SAMPLES / "larch_normal.h5")["pre_engage_torque"]
    at = {"ambient_temperature": -13.0, "pedal": 33.0}
    assert float(table.to_xarray().interp(at)) == pytest.approx(float(cm.lookup(table, at)), 1e-12)


def test_pandas_has_the_first_axis_down_the_rows() -> None:
    rows, columns = cm.Axis([0.0, 1.0], name="a", unit="s"), cm.Axis([5.0, 6.0, 7.0], name="b")
    values = np.arange(6.0).reshape(2, 3)
    frame = cm.Table("m", values, (rows, columns)).to_pandas()
    assert isinstance(frame, pd.DataFrame)
    assert frame.loc[1.0, 6.0] == 4.0
    assert (frame.index.name, frame.columns.name) == ("a [s]", "b [-]")
    deep = cm.Table("d", np.arange(12.0).reshape(2, 3, 2), (rows, columns, rows)).to_pandas()
    assert deep[(1.0, 7.0, 0.0)] == 10.0
    assert cm.Table("s", 2.5).to_pandas().tolist() == [2.5]


def test_axes_of_one_name_get_dimensions_of_their_own() -> None:
    axis = cm.Axis([0.0, 1.0], name="m")
    array = cm.Table("m", [[1.0, 2.0], [3.0, 4.0]], (axis, axis)).to_xarray()
    assert array.dims == ("m_1", "m_2")


def test_what_cannot_be_a_table_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(ModelError, match="no coordinates"):
        cm.Table.from_xarray(xr.DataArray([1.0], dims="x", name="f"))
    with pytest.raises(ModelError, match="no storage"):
        cm.Table.from_xarray(xr.DataArray(1.0, name="f", attrs={"storage": "int"}))

    def missing(name: str) -> Any:
        raise ImportError(name)

    monkeypatch.setattr(frames, "import_module", missing)
    with pytest.raises(ModelError, match="xarray is not installed"):
        cm.Table("f", 1.0).to_xarray()
