"""What leaves comes back: the sample sets and made ones, through every format that is read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import calib_model as cm
from calib_model.bringing.understanding import set_of
from calib_model.exchange.csv_tables import csv_bytes
from calib_model.exchange.netcdf import netcdf_bytes
from calib_model.exchange.spreadsheet import spreadsheet_bytes
from calib_model.formats.outgoing import Outgoing
from calib_model.formats.registry import Part, formats

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
SETS = ("larch_normal", "larch_low_grip", "larch_towing", "larch_practice")


@pytest.mark.parametrize("name", SETS)
@pytest.mark.parametrize("form", ["spreadsheet", "netcdf", "text"])
def test_a_sample_set_comes_back_to_the_same_digest(name: str, form: str, tmp_path: Path) -> None:
    content = cm.open_set(SAMPLES / f"{name}.h5")
    written = cm.export_set(content, tmp_path / "x", form)
    back = cm.bring_in(written, as_understood=name == "larch_practice")
    assert cm.digest(back) == cm.digest(content)
    assert cm.values_digest(back) == cm.values_digest(content)


@pytest.mark.parametrize("name", SETS)
def test_csv_brings_back_all_that_it_says_it_holds(name: str, tmp_path: Path) -> None:
    content = cm.open_set(SAMPLES / f"{name}.h5")
    written = cm.export_set(content, tmp_path / "x.csv")
    back = cm.bring_in(written)
    assert list(back.tables) == list(content.tables)
    for table in content:
        mine = back[table.id]
        assert np.array_equal(mine.values, table.values, equal_nan=True)
        assert (mine.name, mine.unit, mine.function) == (
            table.name, "-" if table.unit == "" else table.unit, table.function,
        )  # fmt: skip
        for axis, own in zip(mine.axes, table.axes, strict=True):
            assert (axis.values == own.values).all()
            assert (axis.name, axis.unit) == (own.label, own.unit)
    # What it does not hold is named, and is all that the digests of values differ in.
    form = next(one for one in formats() if one.id == "csv")
    outgoing = Outgoing(content, cm.verify(content, None))
    assert Part.RULES in outgoing.left_out([form])
    stored = cm.CalibrationSet(
        [
            cm.Table(t.id, back[t.id].values, tuple(
                cm.Axis(b.values, unit=b.unit, storage=a.storage)
                for a, b in zip(t.axes, back[t.id].axes, strict=True)
            ), unit=back[t.id].unit, storage=t.storage)
            for t in content
        ]
    )  # fmt: skip
    assert cm.values_digest(stored) == cm.values_digest(content)


def test_labels_come_back_from_every_format(tmp_path: Path) -> None:
    wiper = cm.Axis([0.0, 1.0, 2.0], name="Wiper", labels="off, slow, fast")
    content = cm.CalibrationSet(
        [
            cm.Table("factor", [1.0, 1.1, 1.2], (wiper,)),
            cm.Table("allowed", [0.0, 1.0, 1.0], (wiper,), labels="no, yes", unit="0/1"),
        ]
    )
    for suffix in ("csv", "xlsx", "nc"):
        back = cm.bring_in(cm.export_set(content, tmp_path / f"x.{suffix}"))
        for table in content:
            assert back[table.id].labels == table.labels, suffix
            assert back[table.id].axes[0].labels == wiper.labels, suffix


@pytest.mark.parametrize("name", ["speed \\", "a \\ b", "soft\xadhyphen", "\\"])
def test_an_axis_may_have_a_backslash_in_its_name(name: str, tmp_path: Path) -> None:
    points = cm.Axis([0.0, 1.0], name=name)
    content = cm.CalibrationSet([cm.Table("curve", [3.0, 4.0], (points,))])
    (back,) = cm.bring_in(cm.export_set(content, tmp_path / "x.xlsx"), as_understood=True)
    assert back.values.tolist() == [3.0, 4.0]
    assert back.axes[0].values.tolist() == [0.0, 1.0]


NUMBERS = st.floats(allow_nan=False, allow_infinity=False)
TEXTS = st.text(
    st.characters(
        codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="\ufffe\uffff"
    ),
    max_size=12,
)
UNITS = st.sampled_from(["-", "N.m", "km/h", "degC", "0/1", "%", "N.m/(km/h.s)", "weird unit"])
POINTS = st.lists(NUMBERS, min_size=1, max_size=4, unique_by=lambda x: x + 0.0).map(sorted)


@st.composite
def tables(draw: Any, number: int) -> cm.Table:
    points = draw(st.lists(POINTS, max_size=3))
    axes = tuple(
        cm.Axis(p, name=f"axis {n} {draw(TEXTS)}", unit=draw(UNITS)) for n, p in enumerate(points)
    )
    shape = tuple(len(p) for p in points)
    cells = st.one_of(NUMBERS, st.just(float("nan")))
    size = int(np.prod(shape, dtype=int))
    values = np.array(draw(st.lists(cells, min_size=size, max_size=size))).reshape(shape)
    return cm.Table(f"table_{number}", values, axes, draw(TEXTS), draw(UNITS),
                    draw(st.sampled_from(["", "Clutch"])))  # fmt: skip


@st.composite
def sets(draw: Any) -> cm.CalibrationSet:
    return cm.CalibrationSet([draw(tables(n)) for n in range(draw(st.integers(1, 4)))])


@settings(
    max_examples=20, deadline=None, derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)  # fmt: skip
@given(content=sets())
def test_any_set_comes_back(content: cm.CalibrationSet, tmp_path: Path) -> None:
    for suffix, data in (
        (".nc", netcdf_bytes(content)),
        (".xlsx", spreadsheet_bytes(content)),
        (".csv", csv_bytes(content)),
    ):
        path = tmp_path / f"x{suffix}"
        path.write_bytes(data)
        back = set_of([path], as_understood=True)
        assert set(back.tables) == set(content.tables)
        for table in content:
            mine = back[table.id]
            assert np.array_equal(mine.values, table.values, equal_nan=True), suffix
            assert mine.unit == table.unit
            for axis, own in zip(mine.axes, table.axes, strict=True):
                assert (axis.values == own.values).all(), suffix
                assert axis.unit == own.unit
        if suffix != ".csv":
            assert cm.digest(back) == cm.digest(content), suffix
