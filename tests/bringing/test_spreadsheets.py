"""Tables in spreadsheets: as openpyxl and pandas write them, and what a hostile one may hold."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import openpyxl
import pandas as pd
import pytest

from calib_model.bringing import bounds
from calib_model.bringing.understanding import NotTaken, set_of, understand
from calib_model.errors import FileProblem
from tests.bringing.making_ods import ods, row

FRAME = pd.DataFrame(
    [[0.1, 1.25], [4.0, -1e-300]],  # openpyxl writes 16 digits: no number that needs 17
    index=pd.Index([-10.0, 0.0], name="ambient [degC]"),
    columns=[0.0, 12.5],
)


def book(path: Path, **sheets: list[list[object]]) -> Path:
    made = openpyxl.Workbook()
    made.remove(made.active)
    for name, rows in sheets.items():
        sheet = made.create_sheet(name)
        for one in rows:
            sheet.append(one)
    made.save(path)
    return path


def test_frames_written_by_pandas_come_in_exactly(tmp_path: Path) -> None:
    with pd.ExcelWriter(tmp_path / "x.xlsx", engine="openpyxl") as writer:
        FRAME.to_excel(writer, sheet_name="torque")
        (FRAME * 2).to_excel(writer, sheet_name="torque_2")
    content = set_of([tmp_path / "x.xlsx"])
    assert [t.id for t in content] == ["torque", "torque_2"]
    assert (content["torque"].values == FRAME.to_numpy()).all()
    assert (content["torque_2"].values == FRAME.to_numpy() * 2).all()
    assert content["torque"].axes[0].unit == "degC"


def test_several_tables_in_a_sheet_and_places_by_cell(tmp_path: Path) -> None:
    path = book(
        tmp_path / "x.xlsx",
        Clutch=[
            ["limit", "Limit of the clutch [N.m]"], ["speed [km/h]", "value"], [0, 3], [10, 4.5],
            [], ["gain", "Gain", "N"], ["", 0, 5], [0, 1, 2], [1, 3, "x"],
        ],
    )  # fmt: skip
    found = understand([path])
    assert [(d.table.id, d.where) for d in found.tables] == [
        ("limit", "x.xlsx | Clutch, A1:B4"), ("gain", "x.xlsx | Clutch, A6:C9"),
    ]  # fmt: skip
    assert "'x' stands in cell C9" in found.tables[1].doubts[0].why
    assert found.tables[0].table.name == "Limit of the clutch"


def test_formulas_without_a_value_and_errors_are_named(tmp_path: Path) -> None:
    """Openpyxl writes formulas and computes none; a spreadsheet program has not seen this file."""
    path = book(tmp_path / "x.xlsx", m=[["", 0, 5], [0, "=1+1", 2], [1, 3, "#DIV/0!"]])
    (draft,) = understand([path]).tables
    assert "a formula whose value was never computed stands in cell B2 and 1 more" in (
        draft.doubts[0].why
    )
    assert draft.blocked
    with pytest.raises(NotTaken, match="cell B2"):
        set_of([path], as_understood=True)


def test_a_formula_with_its_value_is_that_value(tmp_path: Path) -> None:
    import xlsxwriter

    made = xlsxwriter.Workbook(tmp_path / "x.xlsx")
    sheet = made.add_worksheet("m")
    for at, cells in enumerate([["v", "f"], [0, 1], [5, 2]]):
        sheet.write_row(at, 0, cells)
    sheet.write_formula(2, 1, "=B2+1", None, 2.5)
    made.close()
    assert set_of([tmp_path / "x.xlsx"])["f"].values.tolist() == [1, 2.5]


def test_merged_cells_count_once_and_hidden_sheets_are_told(tmp_path: Path) -> None:
    made = openpyxl.Workbook()
    sheet = made.active
    sheet.title = "m"
    for one in (["gain [N]"], ["v", 0, 5], [0, 1, 2], [1, 3, 4]):
        sheet.append(one)
    sheet.merge_cells("A1:C1")
    sheet.sheet_state = "hidden"
    made.create_sheet("other")
    made.save(tmp_path / "x.xlsx")
    found = understand([tmp_path / "x.xlsx"])
    (draft,) = found.tables
    assert (draft.table.id, draft.table.unit) == ("gain", "N")
    assert any("merged" in note for note in draft.notes)
    assert any("hidden" in note for note in draft.notes)
    assert any("empty" in one.why for one in found.left_out)


def test_duplicated_sheets_are_told(tmp_path: Path) -> None:
    rows: list[list[object]] = [["f", "F [N]"], ["v", "value"], [0, 1], [5, 2]]
    found = understand([book(tmp_path / "x.xlsx", one=rows, two=rows)])
    assert [d.takes for d in found.tables] == [True, False]
    assert "x.xlsx | one" in found.tables[1].why_not


def test_cells_shown_as_percentages_are_asked_for(tmp_path: Path) -> None:
    """0.05 is shown as 5 %: under a head of [%] it would be off by a factor of a hundred."""
    made = openpyxl.Workbook()
    sheet = made.active
    for one in (["v [km/h]", "grade [%]"], [0, 0.05], [10, 0.125]):
        sheet.append(one)
    sheet["B2"].number_format = "0%"
    sheet["B3"].number_format = "0.0 %"
    made.save(tmp_path / "x.xlsx")
    found = understand([tmp_path / "x.xlsx"])
    ((_, doubt),) = found.doubtful
    assert doubt.about == "percent"
    assert "cell B2 and 1 more holds 0.05, which the sheet shows as 5 %" in doubt.why
    cell = '<table:table-cell office:value-type="percentage" office:value="0.05"/>'
    rows = row("v", "f") + row(0.0, cell) + row(1.0, 2.0)
    ((_, doubt),) = understand([ods(tmp_path / "x.ods", {"m": rows})]).doubtful
    assert doubt.about == "percent"


def test_macros_are_never_opened(tmp_path: Path) -> None:
    book(tmp_path / "x.xlsx", m=[["v", "f"], [0, 1], [5, 2]])
    with zipfile.ZipFile(tmp_path / "x.xlsx", "a") as file:
        file.writestr("xl/vbaProject.bin", b"\xd0\xcf\x11\xe0 not even a macro")
    assert set_of([tmp_path / "x.xlsx"])["f"].values.tolist() == [1, 2]


def test_an_ods_file_comes_in_exactly(tmp_path: Path) -> None:
    empty = '<table:table-cell table:number-columns-repeated="16380"/>'
    rows = (
        row("v [km/h]", "f [N.m]", more=empty)
        + row(0.1, 1 / 3, more=empty)
        + row(5.0, -2.5e-300, more=empty)
        + f'<table:table-row table:number-rows-repeated="1048570">{empty}</table:table-row>'
    )
    table = set_of([ods(tmp_path / "x.ods", {"Sheet1": rows})])["f"]
    assert table.values.tolist() == [1 / 3, -2.5e-300]
    assert table.axes[0].values.tolist() == [0.1, 5.0]
    assert (table.unit, table.axes[0].unit) == ("N.m", "km/h")


def test_an_ods_formula_without_a_value_is_named(tmp_path: Path) -> None:
    formula = '<table:table-cell table:formula="of:=1+1"/>'
    error = (
        '<table:table-cell table:formula="of:=1/0" office:value-type="string" '
        'office:string-value="" calcext:value-type="error"><text:p>#DIV/0!</text:p>'
        "</table:table-cell>"
    )
    rows = row("v", "f") + row(0.0, formula) + row(1.0, 2.0) + row(2.0, error)
    (draft,) = understand([ods(tmp_path / "x.ods", {"m": rows})]).tables
    assert "never computed stands in cell B2 and 1 more" in draft.doubts[0].why


# -- what unfolds without end --------------------------------------------------------------------


def _with_part(path: Path, name: str, data: bytes) -> Path:
    book(path, m=[["v", "f"], [0, 1], [5, 2]])
    source = zipfile.ZipFile(io.BytesIO(path.read_bytes()))
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
        for part in source.namelist():
            if part != name:
                file.writestr(part, source.read(part))
        file.writestr(name, data)
    return path


def _sheet(cells: str) -> bytes:
    return (
        '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        f"<sheetData>{cells}</sheetData></worksheet>"
    ).encode()


SHEET = "xl/worksheets/sheet1.xml"
FAR = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c></row>'
HOSTILE = {
    "a zip bomb": (SHEET, b" " * (bounds.MIN_UNPACKED + 1), "unpacks to more than"),
    "cells far apart": (SHEET, _sheet(FAR), "cell XFD1048576: The filled cells lie too far"),
    "entities": (SHEET, b'<!DOCTYPE a [<!ENTITY b "c">]>' + _sheet(""), "declares entities"),
    "no XML": (SHEET, b"<worksheet", "damaged"),
    "no workbook": ("xl/_rels/workbook.xml.rels", b"<a/>", ""),
}


@pytest.mark.parametrize("kind", HOSTILE)
def test_hostile_parts_are_refused_or_read_as_nothing(tmp_path: Path, kind: str) -> None:
    name, data, why = HOSTILE[kind]
    path = _with_part(tmp_path / "x.xlsx", name, data)
    with pytest.raises((FileProblem, NotTaken), match=why or None) as told:
        set_of([path])
    assert told.value.remedy
    assert told.value.problem


def test_a_million_empty_columns_cost_nothing(tmp_path: Path) -> None:
    """Styled cells without a value, as a stray format leaves behind."""
    cells = '<row r="1"><c r="A1" t="str"><v>v</v></c><c r="B1" t="str"><v>f</v></c>'
    cells += '<c r="XFD1" s="0"/></row>'
    cells += '<row r="2"><c r="A2"><v>0</v></c><c r="B2"><v>1</v></c></row>'
    cells += '<row r="3"><c r="A3"><v>5</v></c><c r="B3"><v>2</v></c></row>'
    cells += "".join(f'<row r="{n}"><c r="XFD{n}" s="0"/></row>' for n in range(4, 3000))
    path = _with_part(tmp_path / "x.xlsx", SHEET, _sheet(cells))
    assert set_of([path])["f"].values.tolist() == [1, 2]


def test_filled_cells_repeated_without_end_are_refused(tmp_path: Path) -> None:
    cell = (
        '<table:table-cell table:number-columns-repeated="16384" office:value-type="float" '
        'office:value="1"/>'
    )
    rows = row(cell, repeat=1048576)
    with pytest.raises(FileProblem, match="too far apart"):
        understand([ods(tmp_path / "x.ods", {"m": rows})])


def test_what_is_no_spreadsheet_says_so(tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "x.xlsx", "w") as file:
        file.writestr("a.txt", "hello")
    with pytest.raises(FileProblem, match="no spreadsheet"):
        understand([tmp_path / "x.xlsx"])
    (tmp_path / "y.xlsx").write_bytes(b"PK\x03\x04" + bytes(100))
    with pytest.raises(FileProblem, match="damaged"):
        understand([tmp_path / "y.xlsx"])


def test_numbers_as_text_in_a_sheet_follow_its_own_marks(tmp_path: Path) -> None:
    path = book(tmp_path / "x.xlsx", m=[["v", "f"], ["0", "1,5"], ["5", "2,25"]])
    assert set_of([path])["f"].values.tolist() == [1.5, 2.25]
    assert np.isfinite(set_of([path])["f"].axes[0].values).all()
