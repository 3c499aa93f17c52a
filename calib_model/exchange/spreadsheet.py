"""A set as a spreadsheet (.xlsx, ISO/IEC 29500): grids to read, and all that was said of them.

- Sheet ``set``: what the set is, a name and a text per row.
- Sheet ``tables``: a row per table with what it says besides its numbers
  (`calib_model.exchange.particulars`), its axes behind it.
- Then a sheet per function group.  Scalars come first, as a list; a curve or map is a block: its
  id and its name and unit, then breakpoints above and beside the values, the corner naming the
  axes.  An empty row ends a block.
- Tables with three or four axes are in the sheet ``cells``, a row per cell, as in CSV.

A cell that is not filled is empty.  Numbers are written with all their digits, texts as texts: no
cell is a formula.  The same set gives the same bytes.
"""

from __future__ import annotations

import datetime as dt
import io
import math
import re
from collections.abc import Iterable, Iterator
from itertools import product
from pathlib import Path
from typing import Any

from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.table import MAX_AXES, Table
from ..errors import FileProblem
from ..foreign_text import plain_line
from ..store import write_whole
from .particulars import OF_A_TABLE, OF_AN_AXIS, axis_texts, table_texts

SET_SHEET, TABLES_SHEET, CELLS_SHEET = "set", "tables", "cells"
MAX_ROWS, MAX_COLUMNS, MAX_TEXT, MAX_NAME = 1_048_576, 16_384, 32_767, 31
"""Of a sheet; of a cell's text; of a sheet's name (ISO/IEC 29500 and what programs read)."""
CORNER = " \\ "
_NEVER = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]|\r|_x[0-9A-Fa-f]{4}_")
_OF_A_SHARED_AXIS = tuple(key for key in OF_AN_AXIS if key not in ("name", "shared"))
_NO_NAME = re.compile(r"[\[\]:*?/\\\x00-\x1f]")


class _Exact(float):
    """A float that the writer, which asks for 16 digits, writes with all of them."""

    def __format__(self, form: str) -> str:
        return repr(float(self))


def spreadsheet_bytes(content: CalibrationSet, status: str = "") -> bytes:
    """Return a set as a spreadsheet.

    Parameters
    ----------
    content : CalibrationSet
    status : str
        What to say of it in the sheet ``set`` (`calib_model.exchange.marking`).

    Raises
    ------
    FileProblem
        If a text or a size is more than a spreadsheet holds; the place names it.
    """
    import xlsxwriter

    made = io.BytesIO()
    book = xlsxwriter.Workbook(made, {"in_memory": True})
    # The time of writing is not: equal sets give equal bytes.
    book.set_properties({"created": dt.datetime(2000, 1, 1, tzinfo=dt.UTC)})
    bold = book.add_format({"bold": True})
    pages = [(SET_SHEET, _about(content, status)), (TABLES_SHEET, _listed(content))]
    taken = {name for name, _ in pages} | {CELLS_SHEET}
    groups: dict[str, list[Table]] = {}
    for table in content:
        if len(table.axes) <= 2:
            groups.setdefault(table.function, []).append(table)
    for group, tables in groups.items():
        pages.append((_sheet_name(group, taken), _blocks(tables)))
    deep = [table for table in content if len(table.axes) > 2]
    if deep:
        pages.append((CELLS_SHEET, _cells(deep)))
    for name, rows in pages:
        _write(book.add_worksheet(name), name, rows, bold)
    book.close()
    return made.getvalue()


def write_spreadsheet(content: CalibrationSet, path: Path | str, status: str = "") -> None:
    """Write a set as a spreadsheet, put in place whole or not at all.

    Raises
    ------
    FileProblem
        If a text or a size is more than a spreadsheet holds.
    SaveFailed
        If the file cannot be written; an old one is as it was.
    """
    try:
        data = spreadsheet_bytes(content, status)
    except FileProblem as problem:
        raise FileProblem(path, problem.place, problem.problem, problem.remedy) from None
    write_whole(Path(path), data)


Row = tuple[Any, ...]


def _about(content: CalibrationSet, status: str) -> Iterator[Row]:
    yield from content.about().items()
    if status:
        yield ("status", status)
    for axis in content.shared_axes.values():  # one that no table uses would be lost otherwise
        if not content.users_of(axis.shared):
            texts = axis_texts(axis)
            yield ("shared axis", axis.shared, axis.name, axis.unit,
                   *(texts[key] for key in _OF_A_SHARED_AXIS), *axis.values.tolist())  # fmt: skip


def _listed(content: CalibrationSet) -> Iterator[Row]:
    most = max((len(table.axes) for table in content), default=0)
    of_axes = [f"axis_{n}_{key}" for n in range(1, most + 1) for key in ("unit", *OF_AN_AXIS)]
    yield ("table", "unit", *OF_A_TABLE, *of_axes)
    for table in content:
        texts = table_texts(table)
        row: list[Any] = [table.id, table.unit, *(texts[key] for key in OF_A_TABLE)]
        for axis in table.axes:
            said = axis_texts(axis)
            row += [axis.unit, *(said[key] for key in OF_AN_AXIS)]
        yield tuple(row)


def _blocks(tables: Iterable[Table]) -> Iterator[Row]:
    listed = list(tables)
    scalars = [table for table in listed if not table.axes]
    if scalars:
        yield ("table", "name", "value", "unit")
        for table in scalars:
            yield (table.id, table.name, table.values.item(), table.unit)
        yield ()
    for table in listed:
        if len(table.axes) == 1:
            yield (table.id, _headed(table.name or table.id, table.unit))
            yield (_axis_head(table.axes[0]), "value")
            yield from zip(table.axes[0].values.tolist(), table.values.tolist(), strict=True)
            yield ()
        elif len(table.axes) == 2:
            rows, columns = table.axes
            yield (table.id, _headed(table.name or table.id, table.unit))
            yield (f"{_axis_head(rows)}{CORNER}{_axis_head(columns)}", *columns.values.tolist())
            for x, line in zip(rows.values.tolist(), table.values.tolist(), strict=True):
                yield (x, *line)
            yield ()


def _cells(tables: list[Table]) -> Iterator[Row]:
    header = ["table", "name", "function", "unit"]
    for n in range(1, MAX_AXES + 1):
        header += [f"axis_{n}", f"axis_{n}_unit", f"axis_{n}_value"]
    yield (*header, "value")
    for table in tables:
        start = (table.id, table.name, table.function, table.unit)
        rest = ("",) * (3 * (MAX_AXES - len(table.axes)))
        points = [[(a.label, a.unit, x) for x in a.values.tolist()] for a in table.axes]
        for place, value in zip(product(*points), table.values.flat, strict=True):
            yield (*start, *(part for point in place for part in point), *rest, float(value))


def _axis_head(axis: Axis) -> str:
    return _headed(axis.label, axis.unit)


def _headed(label: str, unit: str) -> str:
    return f"{plain_line(label)} [{plain_line(unit)}]"


def _sheet_name(group: str, taken: set[str]) -> str:
    plain = _NO_NAME.sub(" ", plain_line(group)).strip(" '")[:MAX_NAME].strip() or "values"
    name, number = plain, 1
    while name.lower() in {one.lower() for one in taken} or name.lower() == "history":
        number += 1
        name = f"{plain[: MAX_NAME - 5]} ({number})"
    taken.add(name)
    return name


def _write(sheet: Any, name: str, rows: Iterable[Row], bold: Any) -> None:
    for number, row in enumerate(rows):
        if number >= MAX_ROWS or len(row) > MAX_COLUMNS:
            raise FileProblem(
                "", f"sheet {name!r}, row {number + 1}",
                f"A sheet holds {MAX_ROWS} rows of {MAX_COLUMNS} cells.",
                "Export the set as CSV or NetCDF, or in parts.",
            )  # fmt: skip
        for column, cell in enumerate(row):
            if isinstance(cell, float):
                if math.isfinite(cell):
                    sheet.write_number(number, column, _Exact(cell))
                elif not math.isnan(cell):
                    sheet.write_string(number, column, repr(cell))
            elif cell:
                _require_text(cell, name, number)
                heading = bool(name != SET_SHEET and number == 0)
                sheet.write_string(number, column, cell, bold if heading else None)


def _require_text(text: str, sheet: str, row: int) -> None:
    found = _NEVER.search(text)
    if found is None and len(text) <= MAX_TEXT:
        return
    why = (
        f"holds {found[0]!r}, which a spreadsheet does not keep as it is"
        if found
        else f"has {len(text)} characters; a cell holds {MAX_TEXT}"
    )
    raise FileProblem(
        "", f"sheet {sheet!r}, row {row + 1}", f"A text, {text[:40]!r}, {why}.",
        "Change the text, or export the set as NetCDF or canonical text.",
    )  # fmt: skip
