"""Tables in text files: the forms people use, written by pandas and by hand."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import calib_model as cm
from calib_model.bringing.layout import Layout
from calib_model.bringing.understanding import NotTaken, Understood, set_of, understand
from calib_model.errors import FileProblem

FRAME = pd.DataFrame(
    [[0.1 + 0.2, 1.25, 3.0], [4.0, -5.5, 1e-300]],
    index=pd.Index([-10.0, 0.0], name="ambient [degC]"),
    columns=pd.Index([0.0, 12.5, 100.0], name="pedal [%]"),
)


def write(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_bytes(text.encode(encoding))
    return path


def only(path: Path, **layout: object) -> cm.Table:
    (table,) = set_of([path], **layout)  # type: ignore[arg-type]
    return table


def doubts(found: Understood) -> list[str]:
    return [doubt.about for _, doubt in found.doubtful]


# -- forms, as pandas writes them --------------------------------------------------------------


def test_a_frame_written_by_pandas_is_a_map_named_by_its_file(tmp_path: Path) -> None:
    FRAME.to_csv(tmp_path / "pre_engage.csv")
    table = only(tmp_path / "pre_engage.csv")
    assert table.id == "pre_engage"
    assert (table.values == FRAME.to_numpy()).all()
    assert table.axes[0].values.tolist() == FRAME.index.tolist()
    assert (table.axes[0].name, table.axes[0].unit) == ("ambient", "degC")
    assert table.axes[1].values.tolist() == FRAME.columns.tolist()
    assert table.unit == "-"


def test_long_form_written_by_pandas_is_the_same_map(tmp_path: Path) -> None:
    long = FRAME.stack()
    long.name = "torque [N.m]"
    # The order of rows says nothing: pandas' own shuffle, with a fixed state.
    long.reset_index().sample(frac=1, random_state=3).sort_values("ambient [degC]").to_csv(
        tmp_path / "x.csv", index=False
    )
    found = understand([tmp_path / "x.csv"])
    (draft,) = found.tables
    table = draft.table
    assert (table.id, table.unit, table.axes[1].unit) == ("torque", "N.m", "%")
    by_point = {
        (x, y): v
        for x, row in zip(table.axes[0].values, table.values, strict=True)
        for y, v in zip(table.axes[1].values, row, strict=True)
    }
    assert by_point == long.to_dict()


def test_long_form_with_a_column_of_tables(tmp_path: Path) -> None:
    rows = [("a", x, y, x + y) for x in (0, 1) for y in (0, 10, 20)]
    frame = pd.DataFrame(rows, columns=["table", "speed [km/h]", "pedal [%]", "value"])
    more = pd.DataFrame({"table": ["b", "b", "c"], "speed [km/h]": [0, 5, np.nan],
                         "value": [1.5, 2.5, 7.0]})  # fmt: skip
    pd.concat([frame, more]).to_csv(tmp_path / "all.csv", index=False)
    content = set_of([tmp_path / "all.csv"])
    assert [(t.id, t.shape) for t in content] == [("a", (2, 3)), ("b", (2,)), ("c", ())]
    assert content["a"].values.tolist() == [[0, 10, 20], [1, 11, 21]]
    assert content["b"].axes[0].unit == "km/h"


def test_columns_side_by_side_are_curves_over_the_first(tmp_path: Path) -> None:
    frame = pd.DataFrame(
        {"v (km/h)": [0, 50.0, 100], "limit [N]": [3, 2, 1.0], "fade": [1, 0.5, 0]}
    )
    frame.to_csv(tmp_path / "curves.csv", index=False)
    content = set_of([tmp_path / "curves.csv"])
    assert [(t.id, t.unit, t.axes[0].unit) for t in content] == [
        ("limit", "N", "km/h"), ("fade", "-", "km/h"),
    ]  # fmt: skip


def test_units_in_a_row_of_their_own(tmp_path: Path) -> None:
    path = write(tmp_path / "x.csv", "speed,limit\nkm/h,N.m\n0,1\n10,2\n20,3\n")
    table = only(path)
    assert (table.unit, table.axes[0].unit) == ("N.m", "km/h")


def test_several_blocks_with_titles(tmp_path: Path) -> None:
    text = (
        "Two maps of the clutch\n\n"
        "torque_a [Nm]\nspeed [km/h] \\ pedal [%],0,50,100\n0,1,2,3\n10,4,5,6\n\n"
        "torque_b,Torque B,N.m\n,0,50\n0,1,2\n5,2,3\n"
        "torque_c\nspeed [km/h],value\n0,7\n30,8\n"
    )
    content = set_of([write(tmp_path / "x.csv", text)])
    assert [(t.id, t.name, t.unit, t.shape) for t in content] == [
        ("torque_a", "", "N.m", (2, 3)),
        ("torque_b", "Torque B", "N.m", (2, 2)),
        ("torque_c", "", "-", (2,)),
    ]
    assert content["torque_a"].axes[1].name == "pedal"


def test_blocks_side_by_side(tmp_path: Path) -> None:
    text = "a,,,,b,,\n,0,1,,,0,1\n0,1,2,,0,5,6\n9,3,4,,9,7,8\n"
    content = set_of([write(tmp_path / "x.csv", text)])
    assert content["a"].values.tolist() == [[1, 2], [3, 4]]
    assert content["b"].values.tolist() == [[5, 6], [7, 8]]


def test_scalars_as_a_list_with_and_without_a_header(tmp_path: Path) -> None:
    first = write(tmp_path / "a.csv", "name,value,unit\ntick,20,ms\nmass,1700,kg\n")
    second = write(tmp_path / "b.csv", "gain [N.m/s];2,5\nratio;2,6\n")
    content = set_of([first, second])
    assert {t.id: (t.values.item(), t.unit) for t in content} == {
        "tick": (20.0, "ms"), "mass": (1700.0, "kg"), "gain": (2.5, "N.m/s"), "ratio": (2.6, "-"),
    }  # fmt: skip


@pytest.mark.parametrize("turned", [False, True])
def test_breakpoints_that_are_names_become_labels_in_doubt(tmp_path: Path, turned: bool) -> None:
    text = "ambient [degC] \\ wiper,off,slow,fast\n-10,1,2,3\n0,4,5,6\n"
    if turned:
        text = "wiper \\ ambient [degC],-10,0\noff,1,4\nslow,2,5\nfast,3,6\n"
    found = understand([write(tmp_path / "factor.csv", text)])
    assert doubts(found) == ["axis 1" if turned else "axis 2"]
    assert "are names" in found.doubtful[0][1].why
    table = set_of([tmp_path / "factor.csv"], as_understood=True)["factor"]
    wiper = table.axes[0 if turned else 1]
    assert str(wiper.labels) == "0 off, 1 slow, 2 fast"
    assert (wiper.values.tolist(), wiper.interpolation) == ([0, 1, 2], "step")
    assert table.values.tolist() == ([[1, 4], [2, 5], [3, 6]] if turned else [[1, 2, 3], [4, 5, 6]])


def test_curves_in_rows(tmp_path: Path) -> None:
    content = set_of([write(tmp_path / "x.tsv", "v [km/h]\t0\t10\nlim [N]\t1\t2\nfoo\t3\t4\n")])
    assert content["lim"].values.tolist() == [1, 2]
    assert content["foo"].axes[0].unit == "km/h"


# -- how texts are written ----------------------------------------------------------------------


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    path = write(tmp_path / "öl.csv", "Öl [°C];0;5\n-10;1,5;2\n0;4;5\n", encoding)
    found = understand([path])
    assert found.tables[0].table.axes[0].name == "Öl"
    assert found.tables[0].table.axes[0].unit == "degC"
    assert found.tables[0].table.values[0, 0] == 1.5
    told = any("read as cp1252" in note for note in found.tables[0].notes)
    assert told == (encoding == "cp1252")


def test_decimal_commas_as_pandas_writes_them(tmp_path: Path) -> None:
    FRAME.to_csv(tmp_path / "x.csv", sep=";", decimal=",")
    assert (only(tmp_path / "x.csv").values == FRAME.to_numpy()).all()


@pytest.mark.parametrize(
    ("cell", "others", "value"),
    [
        ("1.234,5", "2", 1234.5), ("1,234.5", "2", 1234.5), ("1 234,5", "2", 1234.5),
        ("1'234.5", "2", 1234.5), ("1.234", "0,5", 1234.0), ("\u22121,5", "2", -1.5),
        ("1.234.567", "2", 1234567.0), ("1,5e3", "2", 1500.0),
    ],
)  # fmt: skip
def test_thousands_marks_that_are_plain(
    tmp_path: Path, cell: str, others: str, value: float
) -> None:
    path = write(tmp_path / "x.csv", f"v;f\n0;{cell}\n1;{others}\n")
    assert only(path).values[0] == value


@pytest.mark.parametrize("cell", ["1,234", "1.234"])
def test_a_number_that_could_be_two_is_asked_for(tmp_path: Path, cell: str) -> None:
    """A clutch torque would be off by a factor of a thousand."""
    path = write(tmp_path / "x.csv", f"v;f\n0;{cell}\n1;2\n")
    found = understand([path])
    assert doubts(found) == ["numbers"]
    assert "line 2, column 2" in found.doubtful[0][1].why
    with pytest.raises(NotTaken, match="could be read in two ways"):
        set_of([path])
    for decimal, value in ((cell[1], 1.234), ("." if cell[1] == "," else ",", 1234.0)):
        chosen = found.with_layout(found.layout.with_file("*", decimal=decimal))
        assert not chosen.doubtful
        assert chosen.content()["f"].values[0] == value


def test_quotes_and_line_breaks_by_rfc_4180(tmp_path: Path) -> None:
    """RFC 4180, 2.5 to 2.7: quoted fields may hold commas, line breaks and doubled quotes."""
    made = io.StringIO()
    writer = csv.writer(made)  # the standard library writes it as the RFC says
    name = 'The "old", long\nname'
    writer.writerows([["table", "name", "speed", "value"], ["a", name, 0, 1], ["a", name, 5, 2]])
    found = understand([write(tmp_path / "x.csv", made.getvalue())])
    (draft,) = found.tables
    assert draft.table.name == 'The "old", long\nname'
    assert "lines 2 to 4" in draft.where


# -- bad input: named with file, place and remedy -----------------------------------------------


BAD = {
    "ragged": ("v \\ p,0,5\n0,1,2\n10,4\n", "Line 3 has 2 cells, not 3"),
    "text for a number": ("v \\ p,0,5\n0,1,x7\n10,4,5\n", "'x7' stands in line 2, column 3"),
    "missing row": ("table,x,y,value\na,0,0,1\na,0,1,2\na,1,0,3\n", "1 of 4 cells have no row"),
}


@pytest.mark.parametrize("kind", BAD)
def test_bad_cells_block_their_table_until_left_unfilled(tmp_path: Path, kind: str) -> None:
    text, why = BAD[kind]
    found = understand([write(tmp_path / "x.csv", text)])
    (draft,) = found.tables
    assert draft.blocked
    assert why in draft.doubts[0].why
    assert draft.doubts[0].remedy
    with pytest.raises(NotTaken, match=r"x\.csv"):
        set_of([tmp_path / "x.csv"], as_understood=True)
    table = found.with_table(draft, cells="empty").content()[draft.table.id]
    assert np.isnan(table.values).sum() == 1


def test_what_is_no_table_is_left_out_and_says_why(tmp_path: Path) -> None:
    text = (
        "v \\ p,0,5\n0,1,2\nten,4,5\n\n"  # a breakpoint that is no number
        "table,x,value\na,0,1\na,0,2\n\n"  # one point twice
        "1,2\n3,4\n"  # numbers without breakpoints
    )
    found = understand([write(tmp_path / "x.csv", text)])
    assert not found.tables
    said = " ".join(f"{one.where}: {one.why}" for one in found.left_out)
    assert "line 3, column 1 holds 'ten'" in said
    assert "Two rows hold the same point: line 6, column 3 and line 7, column 3" in said
    assert "No breakpoints" in said
    with pytest.raises(NotTaken, match="No table was found"):
        found.content()


def test_an_axis_out_of_order_is_kept_in_doubt_or_sorted(tmp_path: Path) -> None:
    path = write(tmp_path / "x.csv", "v,f\n0,1\n20,2\n10,3\n")
    found = understand([path])
    assert doubts(found) == ["axis 1"]
    assert "Breakpoint 3 of v (10)" in found.doubtful[0][1].why
    assert set_of([path], as_understood=True)["f"].axes[0].values.tolist() == [0, 20, 10]
    (draft,) = found.tables
    sorted_ = found.with_table(draft, axes=(_axis(order="sorted"),))
    assert not sorted_.doubtful
    assert sorted_.content()["f"].values.tolist() == [1, 3, 2]


def test_two_tables_that_claim_one_id_block_each_other(tmp_path: Path) -> None:
    a = write(tmp_path / "a.csv", "v,f\n0,1\n1,2\n")
    b = write(tmp_path / "b.csv", "v,f\n0,1\n1,3\n")
    c = write(tmp_path / "c.csv", "v,f\n0,1\n1,2\n")
    found = understand([a, b])
    assert [d.blocked for d in found.tables] == [True, True]
    assert "b.csv" in found.tables[0].doubts[-1].why
    renamed = found.with_table(found.tables[1], id="f_2")
    assert [t.id for t in renamed.content()] == ["f", "f_2"]
    # What is the same again is left out, and said so.
    same = understand([a, c])
    assert [d.takes for d in same.tables] == [True, False]
    assert "the same as in a.csv" in same.tables[1].why_not
    assert len(same.content()) == 1


def test_no_id_and_a_foreign_one(tmp_path: Path) -> None:
    path = write(tmp_path / "x.csv", "v,=1+1\n0,1\n1,2\n")
    (draft,) = understand([path]).tables
    assert draft.table.id == "1_1"
    assert draft.table.name == "=1+1"
    two = write(tmp_path / "y.csv", ",0,1\n0,1,2\n5,3,4\n\n,0,1\n0,1,2\n5,3,9\n")
    found = understand([two])
    assert doubts(found) == ["id", "id"]
    with pytest.raises(NotTaken, match="Nothing says what its id is"):
        found.content()


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "empty"),
        (b"a\0b,c\n" * 9, "not a text file"),
        (b'v,f\n0,"1\n1,2\n', "line 2"),
        (b"\xd0\xcf\x11\xe0" + bytes(99), "old kind"),
        (b"CDF\x01" + bytes(99), "classic"),
        (b"v,f\n0,\x81\n", "line 2"),
    ],
    ids=["empty", "binary", "open quote", "old spreadsheet", "classic netcdf", "no encoding"],
)
def test_what_cannot_be_read_is_refused_with_its_place(
    tmp_path: Path, data: bytes, why: str
) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(data)
    with pytest.raises(FileProblem) as told:
        understand([path])
    assert why in str(told.value)
    assert told.value.remedy
    assert path.read_bytes() == data


def test_a_folder_is_all_its_files_of_tables(tmp_path: Path) -> None:
    for name in ("b.csv", "a.csv"):
        FRAME.to_csv(tmp_path / name)
    write(tmp_path / "notes.md", "# nothing")
    found = understand([tmp_path])
    assert [draft.table.id for draft in found.tables] == ["a", "b"]


def test_the_reading_process_reads_the_same(tmp_path: Path, own_process: None) -> None:
    FRAME.to_csv(tmp_path / "a.csv")
    FRAME.to_csv(tmp_path / "b.csv", sep=";", decimal=",")
    (tmp_path / "c.csv").write_bytes(b'v,f\n0,"1\n')
    with pytest.raises(FileProblem, match=r"c\.csv: line 2"):
        understand([tmp_path / "a.csv", tmp_path / "c.csv"])
    content = set_of([tmp_path / "a.csv", tmp_path / "b.csv"])
    assert (content["a"].values == FRAME.to_numpy()).all()
    assert (content["b"].values == FRAME.to_numpy()).all()


def _axis(**chosen: str) -> object:
    from calib_model.bringing.layout import AxisChoice

    return AxisChoice(**chosen)


def test_a_layout_that_leaves_a_file_out_does_not_open_it(tmp_path: Path) -> None:
    layout = Layout().with_file("*.csv", take=False)
    found = understand([tmp_path / "not_there.csv"], layout)
    assert "leaves the file out" in found.left_out[0].why
