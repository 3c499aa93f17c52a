"""Sheets of a spreadsheet (.xlsx, .xlsm, .ods) as rows of cells; runs in the reading process.

python-calamine reads the cells.  What it would show as empty or unfold without end is looked at
first, in the file's own XML: formulas and errors without a value, cells far out, cells that are
repeated, parts that unpack too large.  Macros are parts that are never opened.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.etree import ElementTree as ET

import python_calamine as calamine

from .bounds import (
    MAX_CELLS,
    MAX_COLUMNS,
    MAX_MERGED,
    MAX_PARTS,
    MAX_PERCENT,
    MAX_RATIO,
    MAX_SHEETS,
    MAX_TEXT,
    MAX_UNPACKED,
    MIN_UNPACKED,
    REMEDY,
)
from .grid import Cell, Trouble, column_letters
from .refused import Refused

NO_VALUE = "a formula whose value was never computed"
ERROR = "an error in place of a value"
_REFERENCE = re.compile(r"([A-Z]{1,3})([0-9]{1,7})")
_MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
_STRICT = "{http://purl.oclc.org/ooxml/spreadsheetml/main}"
_RELATED = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_CALCEXT = "{urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}"
PERCENT = "shown as a percentage"
"""Not a trouble of its own: 0.05 is shown as 5 %, so that a column of % may be meant by it."""
Troubles = dict[tuple[int, int], str]


@dataclass
class Sheet:
    """A sheet: name, rows of cells, remarks, merged and percentage cells (see `grid.Grid`)."""

    name: str
    rows: list[list[Cell]]
    notes: list[str]
    merged: list[tuple[int, int, int]]
    percent: list[tuple[int, int]]


def read_workbook(data: bytes) -> Iterator[Sheet]:
    """Yield the sheets of a spreadsheet.

    Raises
    ------
    Refused
        If it is damaged, protected, or unpacks too large.
    """
    try:
        book = zipfile.ZipFile(io.BytesIO(data))
        parts = _checked(book, len(data))
        looked = _look_at_ods(book) if "content.xml" in parts else _look_at_xlsx(book, parts)
    except Refused:
        raise
    except (
        zipfile.BadZipFile,
        zipfile.LargeZipFile,
        zlib.error,
        LookupError,
        ValueError,
        EOFError,
        OSError,
        NotImplementedError,
        RuntimeError,
        ET.ParseError,
        OverflowError,
    ) as error:
        raise Refused(
            "", f"Its structure is damaged ({str(error)[:200]}).",
            "Open it in the program that made it, and save it again.",
        ) from None  # fmt: skip
    try:
        yield from _sheets(data, looked)
    except BaseException as error:
        # What its library, written in Rust, did not foresee comes out beside all of Python's.
        if type(error).__name__ == "PanicException":
            raise _unread("", error) from None
        raise


def _checked(book: zipfile.ZipFile, size: int) -> set[str]:
    """Unpack every part once, within bounds; what lies about its size is refused."""
    infos = book.infolist()
    if len(infos) > MAX_PARTS:
        raise Refused("", f"It has {len(infos)} parts; {MAX_PARTS} are read.", REMEDY)
    most = min(MAX_UNPACKED, max(MIN_UNPACKED, MAX_RATIO * size))
    total = 0
    names = set()
    for info in infos:
        if info.filename in names:
            raise Refused("", f"It has two parts {info.filename[:60]!r}.", "Save it again.")
        names.add(info.filename)
        if info.flag_bits & 1:
            raise Refused("", "It is protected by a password.", "Save it without one.")
        total += info.file_size
        if total > most:
            raise Refused("", f"It unpacks to more than {most >> 20} MiB.", REMEDY)
        with book.open(info) as part:
            while part.read(1 << 20):  # the check sum, and no more than was said
                pass
    return names


def _xml(data: bytes) -> bytes:
    if b"<!DOCTYPE" in data or b"<!ENTITY" in data:
        raise Refused("", "Its XML declares entities, which no spreadsheet does.",
                      "Save it again with a spreadsheet program.")  # fmt: skip
    return data


# -- .xlsx ---------------------------------------------------------------------------------


def _look_at_xlsx(book: zipfile.ZipFile, parts: set[str]) -> dict[str, Troubles]:
    if "xl/workbook.xml" not in parts and not any(p.endswith("workbook.xml") for p in parts):
        raise Refused("", "This is no spreadsheet.", "Save it as .xlsx, .ods or CSV.")
    home = next(p for p in sorted(parts, key=len) if p.endswith("workbook.xml"))
    folder = home.rpartition("/")[0]
    relations = f"{folder}/_rels/workbook.xml.rels".lstrip("/")
    targets = {}
    for one in ET.fromstring(_xml(book.read(relations))):
        target = one.get("Target", "")
        targets[one.get("Id", "")] = (
            target[1:] if target.startswith("/") else f"{folder}/{target}".lstrip("/")
        )
    found: dict[str, Troubles] = {}
    styles = f"{folder}/styles.xml".lstrip("/")
    percent = _percentages(_xml(book.read(styles))) if styles in parts else frozenset()
    for element in ET.fromstring(_xml(book.read(home))).iter():
        if element.tag in (_MAIN + "sheet", _STRICT + "sheet"):
            name = element.get("name", "")
            part = targets.get(element.get(_RELATED, "")) or ""
            if part not in parts:
                part = next((t for t in targets.values() if t in parts and "sheet" in t), "")
            if len(found) >= MAX_SHEETS:
                raise Refused("", f"It has more than {MAX_SHEETS} sheets.", REMEDY)
            data = _xml(book.read(part)) if part else b""
            found[name] = _cells_of_xlsx(name, data, percent) if part else {}
    return found


def _percentages(data: bytes) -> frozenset[str]:
    """Return the styles of cells that are shown as percentages (ISO/IEC 29500-1, 18.8.30)."""
    root = ET.fromstring(data)
    formats = {"9", "10"}
    styles: list[str] = []
    for element in root.iter():
        tag = element.tag.rpartition("}")[2]
        if tag == "numFmt" and "%" in (element.get("formatCode") or ""):
            formats.add(element.get("numFmtId") or "")
        elif tag == "cellXfs":
            styles = [one.get("numFmtId") or "" for one in element]
    return frozenset(str(number) for number, form in enumerate(styles) if form in formats)


def _cells_of_xlsx(sheet: str, data: bytes, percent: frozenset[str]) -> Troubles:
    """Find cells without a value, and refuse a sheet whose filled cells lie too far apart."""
    troubles: Troubles = {}
    row = column = -1
    top, left, bottom, right = 1 << 30, 1 << 30, -1, -1
    has_formula = has_value = shown = False
    state = ""
    for event, element in ET.iterparse(io.BytesIO(data), ("start", "end")):
        tag = element.tag.rpartition("}")[2]
        if event == "start":
            if tag == "row":
                row = int(element.get("r") or row + 2) - 1
                column = -1
            elif tag == "c":
                found = _REFERENCE.fullmatch(element.get("r") or "")
                if found:
                    row, column = int(found[2]) - 1, _number_of(found[1])
                else:
                    column += 1
                state = element.get("t") or "n"
                shown = element.get("s") in percent
                has_formula = has_value = False
            continue
        if tag == "f":
            has_formula = True
        elif tag in ("v", "t"):
            has_value = has_value or bool(element.text)
        elif tag == "c":
            if has_value or has_formula:
                top, bottom = min(top, row), max(bottom, row)
                left, right = min(left, column), max(right, column)
                if (bottom - top + 1) * (right - left + 1) > MAX_CELLS or right >= MAX_COLUMNS:
                    raise _too_wide(sheet, row, column)
            if state == "e":
                troubles[row, column] = ERROR
            elif has_formula and not has_value and state != "str":
                troubles[row, column] = NO_VALUE
            elif shown and has_value and state == "n":
                troubles[row, column] = PERCENT
            element.clear()
        elif tag == "row":
            element.clear()
    return troubles


def _number_of(letters: str) -> int:
    number = 0
    for sign in letters:
        number = number * 26 + ord(sign) - 64
    return number - 1


def _too_wide(sheet: str, row: int, column: int) -> Refused:
    return Refused(
        f"sheet {sheet!r}, cell {column_letters(min(column, 99_999))}{row + 1}",
        f"The filled cells lie too far apart: more than {MAX_CELLS} cells between them.",
        "Delete what stands far out, and save the file again.",
    )


# -- .ods ----------------------------------------------------------------------------------


def _look_at_ods(book: zipfile.ZipFile) -> dict[str, Troubles]:
    found: dict[str, Troubles] = {}
    troubles: Troubles = {}
    sheet = ""
    row = column = 0
    filled = False
    total = right = 0
    pending: list[tuple[int, str]] = []
    data = _xml(book.read("content.xml"))
    for event, element in ET.iterparse(io.BytesIO(data), ("start", "end")):
        tag = element.tag
        if event == "start":
            if tag == _TABLE + "table":
                sheet, troubles, row, total, right = element.get(_TABLE + "name", ""), {}, 0, 0, 0
                found[sheet] = troubles
                if len(found) > MAX_SHEETS:
                    raise Refused("", f"It has more than {MAX_SHEETS} sheets.", REMEDY)
            elif tag == _TABLE + "table-row":
                column, filled, pending = 0, False, []
            continue
        if tag in (_TABLE + "table-cell", _TABLE + "covered-table-cell"):
            again = _times(element.get(_TABLE + "number-columns-repeated"))
            kind = element.get(_OFFICE + "value-type")
            formula = element.get(_TABLE + "formula")
            text = "".join(element.itertext())
            if kind or formula or text:
                filled = True
                right = max(right, column + again)
                if right > MAX_COLUMNS:
                    raise _too_wide(sheet, row, column)
                if element.get(_CALCEXT + "value-type") == "error" or (
                    formula and kind == "string" and text.startswith(("#", "Err:"))
                ):
                    pending.append((column, ERROR))
                elif formula and (kind is None or (kind == "float" and not element.get(
                        _OFFICE + "value"))):  # fmt: skip
                    pending.append((column, NO_VALUE))
                elif kind == "percentage":
                    pending.append((column, PERCENT))
            column += again
            element.clear()
        elif tag == _TABLE + "table-row":
            again = _times(element.get(_TABLE + "number-rows-repeated"))
            if filled:
                total = (row + again) * max(right, 1)
                if total > MAX_CELLS:
                    raise _too_wide(sheet, row + again - 1, max(right - 1, 0))
                for at in range(row, row + min(again, 1000) if pending else row):
                    for place, why in pending:
                        troubles[at, place] = why
            row += again
            element.clear()
    return found


def _times(text: str | None) -> int:
    return max(1, min(int(text), 1 << 24)) if text else 1


# -- both ----------------------------------------------------------------------------------


def _sheets(data: bytes, looked: dict[str, Troubles]) -> Iterator[Sheet]:
    try:
        book = calamine.load_workbook(io.BytesIO(data))
        listed = list(book.sheets_metadata)
    except calamine.CalamineError as error:
        raise _unread("", error) from None
    left = MAX_CELLS
    for number, about in enumerate(listed):
        if about.typ != calamine.SheetTypeEnum.WorkSheet:
            continue
        place = f"sheet {about.name!r}"
        try:
            sheet = book.get_sheet_by_index(number)
            left -= sheet.total_height * sheet.total_width
            if left < 0:
                raise Refused(place, f"It has more than {MAX_CELLS} cells.", REMEDY)
            rows = sheet.to_python(skip_empty_area=False)
            merged = sheet.merged_cell_ranges or []
        except calamine.CalamineError as error:
            raise _unread(place, error) from None
        notes = []
        if about.visible != calamine.SheetVisibleEnum.Visible:
            notes.append("The sheet is hidden.")
        troubles = looked.get(about.name, {})
        percent = [at for at, why in troubles.items() if why == PERCENT][:MAX_PERCENT]
        width = max(map(len, rows), default=0)
        if troubles:
            width = max(width, *(column + 1 for _, column in troubles))
            rows += [[] for _ in range(max(row for row, _ in troubles) + 1 - len(rows))]
        made = [[_cell(cell, place) for cell in row] + [""] * (width - len(row)) for row in rows]
        for (row, column), why in troubles.items():
            if made[row][column] == "" and why != PERCENT:
                made[row][column] = Trouble(why)
        if merged:
            notes.append(f"{len(merged)} merged areas: a value counts in its first cell only.")
        down = [
            (top, bottom, left) for (top, left), (bottom, right) in merged[:MAX_MERGED]
            if left == right and bottom > top
        ]  # fmt: skip
        yield Sheet(about.name, made, notes, down, percent)


def _cell(cell: Any, place: str) -> Cell:
    if type(cell) is float:
        return cell
    if type(cell) is str:
        if len(cell) > MAX_TEXT:
            raise Refused(place, f"A cell holds {len(cell)} characters.", REMEDY)
        return cell
    if isinstance(cell, bool | int):
        return float(cell)
    return "" if cell is None else str(cell)


def _unread(place: str, error: BaseException) -> Refused:
    return Refused(
        place, f"It cannot be read ({str(error)[:200]}).",
        "Open it in the program that made it, and save it again as .xlsx or .ods.",
    )  # fmt: skip
