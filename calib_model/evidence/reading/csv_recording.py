"""Read the columns of a CSV recording block by block, in the reading process.

A block of whole lines is read by pyarrow where it is installed, else by numpy, and cell by cell
where either stumbles: then each odd cell is told with its line.  An empty cell is no sample (that
is how rates are mixed); a cell such as ``nan`` or ``n/a`` is a sample without a value.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from ...core.arrays import FloatArray
from ...core.plain_file import open_plain
from ...core.text_cells import cells_of, number_in
from .csv_layout import NO_VALUE
from .layout import ISO, Layout
from .stream import Block, Refused, Remarks

BLOCK_BYTES = 8 << 20
MAX_LINE = 1 << 20
_PLAIN_ENCODINGS = {"utf-8", "utf8", "utf-8-sig", "cp1252", "latin-1", "iso8859-1", "ascii"}
_LIKE_A_NUMBER = re.compile(r"[+-]?[0-9]*[.,][0-9]*(?:[.,][0-9]+)*(?:[eE][+-]?[0-9]+)?")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LINE_FEED = ord("\n")
_EMPTY = -np.inf  # stands for an empty cell while numpy reads a block


def read_csv(path: Path, layout: Layout, remarks: Remarks) -> Iterator[Block]:
    """Yield the columns of a CSV recording, block by block.

    Parameters
    ----------
    path : Path
    layout : Layout
    remarks : Remarks
        Told about cells and rows that were no numbers.

    Raises
    ------
    Refused
        If the file does not fit its layout.
    """
    return _CsvReader(path, layout, remarks).blocks()


class _CsvReader:
    def __init__(self, path: Path, layout: Layout, remarks: Remarks) -> None:
        self.path, self.layout, self.remarks = path, layout, remarks
        self.dates = {t.number for t in layout.times if t.unit == ISO}
        self.numbers = sorted(
            {t.number for t in layout.times} | {c.number for c in layout.channels}
        )
        self.names = {t.number: t.name for t in layout.times}
        self.names.update({c.number: c.name for c in layout.channels})
        self.width = 0
        self.arrow = _arrow() if layout.separator != " " else None
        self.tokens = _token_pattern(layout.separator)
        self.other = "." if layout.decimal == "," else ","

    def blocks(self) -> Iterator[Block]:
        size = max(1, self.path.stat().st_size)
        line = self.layout.first_line
        for data, at in self._pieces():
            columns, rows = self._parsed(data, line)
            # numpy counts ten times as fast as bytes do.
            line += int(np.count_nonzero(np.frombuffer(data, dtype=np.uint8) == _LINE_FEED))
            yield Block(at / size, {n: (c, rows) for n, c in columns.items()})

    def _pieces(self) -> Iterator[tuple[bytes, int]]:
        """Yield whole lines as bytes in an encoding that keeps ASCII, and the place reached."""
        plain = self.layout.encoding.lower().replace("_", "-") in _PLAIN_ENCODINGS
        try:
            decode = None if plain else codecs.getincrementaldecoder(self.layout.encoding)()
        except LookupError:
            raise Refused("", f"{self.layout.encoding} is no encoding.", "Name another.") from None
        skip, rest, at = self.layout.first_line - 1, b"", 0
        with open_plain(self.path) as file:
            while True:
                part = file.read(BLOCK_BYTES)
                at += len(part)
                if decode is not None:
                    try:
                        data = rest + decode.decode(part, final=not part).encode()
                    except UnicodeDecodeError:
                        raise Refused(
                            "", f"This is not {self.layout.encoding} text.",
                            "Name the file's encoding.",
                        ) from None  # fmt: skip
                else:
                    data = rest + part
                if b"\r" in data:
                    # A line feed that belongs to the last carriage return may be in the next part.
                    held = b"\r" if part and data.endswith(b"\r") else b""
                    data = data[: len(data) - len(held)].replace(b"\r\n", b"\n") + held
                    if b"\r" in data[: len(data) - len(held)]:
                        data = data[: len(data) - len(held)].replace(b"\r", b"\n") + held
                while skip and (end := data.find(b"\n")) >= 0:
                    data, skip = data[end + 1 :], skip - 1
                end = data.rfind(b"\n") + 1
                if not part:
                    end = len(data)
                if len(data) - end > MAX_LINE + BLOCK_BYTES:
                    raise Refused("", "A line is too long.", "Check that it is a recording.")
                if end and not skip:
                    if not data[:end].endswith(b"\n"):
                        self.remarks.others.append(
                            "The last line has no end: its last value may be cut short."
                        )
                    yield data[:end], at
                    data = data[end:]
                rest = data
                if not part:
                    return

    def _parsed(self, data: bytes, line: int) -> tuple[dict[int, FloatArray], int]:
        if b"\0" in data:
            self.remarks.damaged(data.count(b"\0"), "bytes of zero in the text")
            data = data.replace(b"\0", b"")
        quick = self._quick(data)
        if quick is None and (plain := self._with_plain_tokens(data)) is not None:
            quick = self._quick(plain)
        return quick if quick is not None else self._by_cells(data, line)

    def _quick(self, data: bytes) -> tuple[dict[int, FloatArray], int] | None:
        return self._by_arrow(data) if self.arrow else self._by_numpy(data)

    def _with_plain_tokens(self, data: bytes) -> bytes | None:
        """Return the block with ``n/a`` and the like as ``nan``; None if there are none."""
        changed = self.tokens.sub(b"nan", data)
        return changed if changed != data else None

    def _by_arrow(self, data: bytes) -> tuple[dict[int, FloatArray], int] | None:
        pa, pc = self.arrow or (None, None)
        assert pa is not None
        assert pc is not None
        if not self.width:
            first = data[: data.find(b"\n") if b"\n" in data else len(data)]
            text = first.decode("utf-8", "replace")
            self.width = len(cells_of(text, self.layout.separator))
            if self.width <= max(self.numbers):
                return None
        names = [f"f{n}" for n in range(self.width)]
        bad = []

        def skip(row: Any) -> str:
            bad.append((row.actual_columns, (row.text or "")[:40]))
            return "skip"

        types = {f"f{n}": pa.string() if n in self.dates else pa.float64() for n in self.numbers}
        try:
            table = pc.read_csv(
                pa.BufferReader(data),
                read_options=pc.ReadOptions(column_names=names, block_size=1 << 20),
                parse_options=pc.ParseOptions(
                    delimiter=self.layout.separator, invalid_row_handler=skip
                ),
                convert_options=pc.ConvertOptions(
                    column_types=types, include_columns=list(types), null_values=[""],
                    strings_can_be_null=True, decimal_point=self.layout.decimal,
                    check_utf8=False,
                ),
            )  # fmt: skip
            texts = {n: table.column(f"f{n}").to_pylist() for n in self.dates}
        except (pa.ArrowInvalid, pa.ArrowKeyError, UnicodeDecodeError):
            return None  # cell by cell it is told which one is not what it should be
        found: dict[int, Any] = {}
        for number in self.numbers:
            if number in self.dates:
                found[number] = self._dates([text or "" for text in texts[number]])
                continue
            column = table.column(f"f{number}")
            values = column.to_numpy()
            if column.null_count:
                empty = np.asarray(column.is_null().to_numpy(), dtype=bool)
                found[number] = np.ma.MaskedArray(values, empty)
            else:
                found[number] = values
        self._bad_rows(bad)
        return found, table.num_rows

    def _bad_rows(self, bad: list[tuple[int, str]]) -> None:
        if bad:
            self.remarks.damaged(
                len(bad), f"rows that do not have {self.width} cells (such as {bad[0][1]!r})"
            )

    def _by_numpy(self, data: bytes) -> tuple[dict[int, FloatArray], int] | None:
        """Read with numpy's own reader; None where a row needs a closer look."""
        if self.dates or b'"' in data or b"_" in data or b"inf" in data.lower():
            return None
        text = data.decode("latin-1")
        separator = self.layout.separator
        if self.layout.decimal == ",":
            if "." in text:
                return None
            text = text.replace(",", ".")
        if separator != " ":
            empty = f"{separator}-inf{separator}"
            double = separator * 2
            if double in text:
                text = text.replace(double, empty).replace(double, empty)
            text = text.replace(f"\n{separator}", f"\n-inf{separator}")
            text = text.replace(f"{separator}\n", f"{separator}-inf\n")
            text = f"-inf{text}" if text.startswith(separator) else text
            text = f"{text}-inf" if text.endswith(separator) else text
        lines = text.split("\n")
        if lines and not lines[-1]:
            lines.pop()
        if not lines or not all(lines):
            return None
        try:
            found = np.loadtxt(
                lines, delimiter=separator if separator != " " else None, usecols=self.numbers,
                comments=None, ndmin=2,
            )  # fmt: skip
        except (ValueError, IndexError, OverflowError):
            return None
        if found.shape != (len(lines), len(self.numbers)):
            return None
        columns: dict[int, Any] = {}
        for place, number in enumerate(self.numbers):
            values = np.ascontiguousarray(found[:, place])
            gone = values == _EMPTY
            columns[number] = np.ma.MaskedArray(values, gone) if gone.any() else values
        return columns, len(lines)

    def _by_cells(self, data: bytes, first: int) -> tuple[dict[int, FloatArray], int]:
        """Read cell by cell, and say which one is no number."""
        encoding = self.layout.encoding
        if encoding.lower().replace("_", "-") not in _PLAIN_ENCODINGS:
            encoding = "utf-8"
        lines = data.decode(encoding, "replace").split("\n")
        separator = self.layout.separator
        rows: list[list[float | None]] = []
        need = max(self.numbers) + 1
        bad: list[tuple[int, str]] = []
        for number, line in enumerate(lines, first):
            if not line.strip():
                continue
            cells = cells_of(line, separator)
            if not self.width and len(cells) >= need:
                self.width = len(cells)
            if len(cells) < need or (self.width and len(cells) != self.width):
                bad.append((len(cells), line[:40]))
                continue
            rows.append([self._cell(cells[n], n, number) for n in self.numbers])
        self._bad_rows(bad)
        columns: dict[int, Any] = {}
        for place, number in enumerate(self.numbers):
            column = [row[place] for row in rows]
            gone = np.fromiter((v is None for v in column), dtype=bool, count=len(column))
            values = np.array([np.nan if v is None else v for v in column], dtype=np.float64)
            columns[number] = np.ma.MaskedArray(values, gone) if gone.any() else values
        return columns, len(rows)

    def _cell(self, cell: str, place: int, line: int) -> float | None:
        if not cell:
            return None
        if place in self.dates:
            return self._date(cell)
        if cell.lower() in NO_VALUE:
            return float("nan")
        found = number_in(cell, self.layout.decimal)
        if found is not None:
            return found
        plain = cell.replace("\N{MINUS SIGN}", "-")
        if self.other in plain and re.fullmatch(
            r"[+-]?[0-9]*[.,][0-9]*(?:[.,][0-9]+)*(?:[eE][+-]?[0-9]+)?", plain
        ):
            mark = "point" if self.layout.decimal == "." else "comma"
            raise Refused(
                f"line {line}, column {self.names[place]!r}",
                f"{cell[:30]!r} is not a number with a decimal {mark}.",
                "Say which decimal mark the file has, or mend the file.",
            )
        self.remarks.text_cell(self.names[place], line, cell)
        return float("nan")

    def _dates(self, texts: list[str]) -> FloatArray:
        found = [self._date(t) if t else None for t in texts]
        values = np.array([np.nan if v is None else v for v in found], dtype=np.float64)
        empty = np.fromiter((v is None for v in found), dtype=bool, count=len(found))
        if empty.any():
            return np.ma.MaskedArray(values, empty)
        return values

    def _date(self, text: str) -> float:
        """Return seconds since 1970; a date-time without a zone is taken as UTC."""
        try:
            moment = datetime.fromisoformat(text.strip())
        except ValueError:
            return float("nan")
        if moment.tzinfo is None:
            moment = moment.replace(tzinfo=UTC)
        return (moment - _EPOCH).total_seconds()


def _arrow() -> tuple[Any, Any] | None:
    try:
        import pyarrow as pa
        import pyarrow.csv as pc
    except ImportError:
        return None
    return pa, pc


def _token_pattern(separator: str) -> re.Pattern[bytes]:
    words = sorted(NO_VALUE - {"nan", "inf", "-inf"}, key=len, reverse=True)
    either = b"|".join(re.escape(w.encode()) for w in words)
    edge = re.escape(separator.encode())
    return re.compile(
        rb"(?:(?<=%b)|(?<=\n)|(?<=^)) *(?:%b) *(?=%b|\n|$)" % (edge, either, edge),
        re.IGNORECASE,
    )
