"""CSV export, read back by the standard library and by pandas."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.errors import SaveFailed
from calib_model.exchange.csv_tables import csv_bytes, write_csv

MAP = Table(
    "pre_engage",
    [[0.1, 1 / 3, 215.0], [np.nan, -0.25, 1e-300]],
    (
        Axis([-40.0, 0.0], name="Ambient, outside", unit="degC"),
        Axis([0.0, 12.5, 100.0], name="Pedal", unit="%"),
    ),
    name='Pre-engage "torque"',
    unit="N.m",
    function="torque",
)
SCALAR = Table("tick", 0.02, unit="s", name="=cmd|'/c calc'!A1")

# pandas reads floats exactly by default from some release on and warns of the old option.
_EXACT = {} if int(pd.__version__.split(".")[0]) >= 3 else {"float_precision": "round_trip"}


def _by_pandas(data: bytes) -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(data), **_EXACT)


def test_bytes_follow_rfc_4180() -> None:
    # RFC 4180: lines end with CR LF, the last too; a field with a comma, a quote or a line break
    # is enclosed in quotes and quotes inside are doubled; every line has as many fields.
    data = csv_bytes(CalibrationSet({"pre_engage": MAP, "tick": SCALAR}))
    assert data.count(b"\n") == data.count(b"\r\n") == 1 + 6 + 1
    assert data.endswith(b"\r\n")
    lines = data.decode().split("\r\n")
    assert lines[0] == (
        "table,name,function,unit,axis_1,axis_1_unit,axis_1_value,"
        "axis_2,axis_2_unit,axis_2_value,value"
    )
    assert lines[1] == (
        'pre_engage,"Pre-engage ""torque""",torque,N.m,"Ambient, outside",degC,-40,Pedal,%,0,0.1'
    )
    rows = list(csv.reader(io.StringIO(data.decode(), newline=""), strict=True))
    assert {len(row) for row in rows} == {11}
    assert rows[1][4] == "Ambient, outside"
    assert rows[4][-1] == "", "a cell that is not filled is empty"


def test_pandas_reads_the_same_numbers() -> None:
    frame = _by_pandas(csv_bytes(MAP))
    wide = frame.pivot_table(
        index="axis_1_value", columns="axis_2_value", values="value", dropna=False
    )
    np.testing.assert_array_equal(wide.to_numpy(), MAP.values)
    np.testing.assert_array_equal(wide.index, MAP.axes[0].values)
    np.testing.assert_array_equal(wide.columns, MAP.axes[1].values)
    assert set(frame["unit"]) == {"N.m"}


@given(st.lists(st.floats(allow_infinity=False), min_size=1, max_size=30))
def test_every_float_survives(values: list[float]) -> None:
    table = Table("t", values, (Axis(np.arange(len(values), dtype=float)),))
    frame = _by_pandas(csv_bytes(table))
    np.testing.assert_array_equal(frame["value"].to_numpy(float), table.values)


def test_texts_that_look_like_formulas_are_disarmed() -> None:
    # The signs are those OWASP names for "CSV injection" (from memory).
    for text in ("=1+1", "+1", "-1", "@SUM(A1)", " =1", "\N{FULLWIDTH EQUALS SIGN}1"):
        table = Table("t", 1.0, name=text, function=text)
        (_, row) = csv.reader(io.StringIO(csv_bytes(table).decode(), newline=""))
        assert row[1] == row[2] == "'" + text
    (_, row) = csv.reader(io.StringIO(csv_bytes(Table("t", -5.5, unit="-")).decode(), newline=""))
    assert (row[3], row[-1]) == ("", "-5.5"), "a negative number is a number"


@given(st.text(max_size=20), st.text(max_size=20))
def test_any_text_stays_one_field(name: str, function: str) -> None:
    # A lone surrogate cannot be UTF-8; names from files cannot hold one.
    name, function = (t.encode(errors="ignore").decode() for t in (name, function))
    data = csv_bytes(Table("t", 1.0, name=name, function=function)).decode()
    rows = list(csv.reader(io.StringIO(data, newline=""), strict=True))
    assert len(rows) == 2
    assert [cell.removeprefix("'") for cell in rows[1][1:3]] == [
        name.removeprefix("'"),
        function.removeprefix("'"),
    ]


def test_four_axes_get_four_groups_of_columns() -> None:
    axes = tuple(Axis([0.0, 1.0], name=f"a{n}", unit="%") for n in range(4))
    table = Table("deep", np.arange(16.0).reshape(2, 2, 2, 2), axes)
    frame = _by_pandas(csv_bytes([SCALAR, table]))
    assert "axis_4_value" in frame.columns
    deep = frame[frame["table"] == "deep"]
    assert deep["value"].tolist() == list(range(16))
    assert deep["axis_4_value"].tolist() == [0, 1] * 8, "the last axis varies fastest"
    assert frame[frame["table"] == "tick"]["axis_1"].isna().all()


def test_file_is_put_in_place_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "Tabellen ä.csv"
    target.write_text("old")
    write_csv(MAP, target)
    assert target.read_bytes() == csv_bytes(MAP)
    assert [p.name for p in tmp_path.iterdir()] == [target.name], "nothing is left beside it"

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(SaveFailed, match="full"):
        write_csv(SCALAR, target)
    assert target.read_bytes() == csv_bytes(MAP)
    assert [p.name for p in tmp_path.iterdir()] == [target.name]


def test_missing_folder_is_said_in_words(tmp_path: Path) -> None:
    with pytest.raises(SaveFailed, match="folder"):
        write_csv(MAP, tmp_path / "none" / "out.csv")
