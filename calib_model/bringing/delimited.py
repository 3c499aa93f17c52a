"""Cells of a text file (CSV, TSV, semicolons); runs in the reading process."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass

from ..core.text_cells import encoding_of, not_utf8_from
from .bounds import MAX_CELLS, MAX_COLUMNS, MAX_DIFFERENT, MAX_TEXT, REMEDY
from .grid import Builder
from .refused import Refused

SEPARATORS = (";", "\t", ",", "|")
HEAD_LINES = 300
_NUMBER = re.compile(r"[+\-\u2212]?[0-9][0-9 .,']*(?:[eE][+-]?[0-9]+)?")


@dataclass
class Text:
    """Rows of cells, the line that each begins on, and how they were parted."""

    rows: Builder
    lines: list[int]
    separator: str
    notes: list[str]


def read_delimited(data: bytes, hints: Mapping[str, str]) -> Text:
    """Read a text file.

    Raises
    ------
    Refused
        If it is no text, or its quotes do not close.
    """
    notes: list[str] = []
    text = _decoded(data, hints.get("encoding", ""), notes)
    if "\0" in text[: 1 << 16]:
        raise Refused("", "This is not a text file.", "Save the tables as CSV or .xlsx.")
    first, _, rest = text.partition("\n")
    told = re.fullmatch(r"sep=(.)\r?", first)
    skipped = 0
    separator = hints.get("separator", "")
    if told:
        text, skipped = rest, 1
        separator = separator or told[1]
    if separator and (len(separator) != 1 or separator in '\r\n"\0'):
        raise Refused("", f"{separator!r} separates no cells.", "Name one sign, such as ;.")
    separator = separator or _separator_of(text)
    rows = Builder(all_texts=True)
    lines: list[int] = []
    csv.field_size_limit(MAX_TEXT)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    widest = 0
    at = 0
    try:
        for row in reader:
            rows.add(row)
            lines.append(at + 1 + skipped)
            at = reader.line_num
            widest = max(widest, len(row))
            if widest > MAX_COLUMNS or widest * len(lines) > MAX_CELLS:
                raise Refused(
                    f"line {at + skipped}", f"It has more than {MAX_CELLS} cells, or "
                    f"{MAX_COLUMNS} in a line.", REMEDY,
                )  # fmt: skip
            if rows.different > MAX_DIFFERENT:
                raise Refused(
                    f"line {at + skipped}", f"It has more than {MAX_DIFFERENT} different cells.",
                    REMEDY,
                )  # fmt: skip
    except csv.Error as error:
        raise Refused(
            f"line {at + 1 + skipped}", f"The row that begins here does not end ({error}).",
            "See whether its quotes close.",
        ) from None  # fmt: skip
    return Text(rows, lines, separator, notes)


def _decoded(data: bytes, encoding: str, notes: list[str]) -> str:
    if not encoding:
        encoding = encoding_of(data)
        if encoding == "cp1252":
            line = data.count(b"\n", 0, not_utf8_from(data)) + 1
            notes.append(f"It is not UTF-8 (line {line}); it was read as {encoding}.")
    try:
        return data.decode(encoding)
    except LookupError:
        raise Refused("", f"There is no encoding {encoding!r}.", "Name utf-8 or cp1252.") from None
    except (UnicodeDecodeError, ValueError) as error:
        at = getattr(error, "start", 0)
        line = data.count(b"\n", 0, at) + 1
        raise Refused(
            f"line {line}", f"This is not {encoding} text.", "Save it as UTF-8."
        ) from None


def _separator_of(text: str) -> str:
    """Choose the sign that parts the most numbers and leaves no other within a cell."""
    head = "\n".join(text[: 1 << 18].split("\n", HEAD_LINES)[:HEAD_LINES])
    best, most = ",", 0
    for separator in SEPARATORS:
        if separator not in head:
            continue
        try:
            rows = list(csv.reader(io.StringIO(head, newline=""), delimiter=separator))
        except csv.Error:
            continue
        score = 0
        for row in rows:
            if len(row) < 2:
                continue
            for cell in row:
                if _NUMBER.fullmatch(cell.strip()):
                    score += 2
                elif separator == "," and (";" in cell or "\t" in cell):
                    score -= 2
        if score > most:
            best, most = separator, score
    return best
