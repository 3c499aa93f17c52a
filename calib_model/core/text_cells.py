"""Cells of delimited text: encoding, rows and numbers, told in one way wherever files are read.

Quoting is that of RFC 4180 ("Common Format and MIME Type for CSV Files"): a quoted cell may hold
the separator, a doubled quote and line breaks.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

LONGEST_ROW = 40
"""Lines that one row may take where files are looked at: a quote that never closes takes all."""


def encoding_of(data: bytes, *, whole: bool = True) -> str:
    """Return the encoding of a text's beginning.

    Parameters
    ----------
    data : bytes
    whole : bool
        Whether that is all of it; else a sign may be cut at its end.

    Returns
    -------
    str
        ``utf-16`` or ``utf-8-sig`` by their marks, ``utf-8`` where it is that, else ``cp1252``,
        which is what western desks write when it is not UTF-8.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if data.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    longest = 0 if whole else 3  # bytes of a sign that is cut
    return "utf-8" if not_utf8_from(data) >= len(data) - longest else "cp1252"


def not_utf8_from(data: bytes) -> int:
    """Return the first byte that is not UTF-8; the length where all of it is."""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        return error.start
    return len(data)


def cells_of(line: str, separator: str) -> list[str]:
    """Return the cells of one line without the spaces around them; no error for any line.

    Parameters
    ----------
    line : str
    separator : str
        A space stands for any run of spaces.
    """
    if separator == " ":
        return line.split()
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=separator), [])]
    except csv.Error:  # longer than the module takes for one cell
        return []


def rows_of(text: str, separator: str, most: int) -> Iterator[tuple[int, list[str]]]:
    """Yield the rows at a text's beginning, with the line from 0 that each begins on.

    Parameters
    ----------
    text : str
    separator : str
    most : int
        Lines to look at.
    """
    lines = io.StringIO(text, newline=None).readlines()[:most]
    at = 0
    while at < len(lines):
        # A row with a line break in a cell takes more lines; a stray quote would take all there
        # are, so that such a line stands for itself.
        taken, cells = 1, cells_of(lines[at], separator)
        if separator != " " and lines[at].count('"') % 2:
            reader = csv.reader(lines[at : at + LONGEST_ROW], delimiter=separator, strict=True)
            try:
                row = next(reader)
            except (csv.Error, StopIteration):
                pass
            else:
                taken, cells = reader.line_num, [" ".join(cell.split()) for cell in row]
        yield at, cells
        at += taken


def number_in(cell: str, decimal: str) -> float | None:
    """Return the number in a cell, or None: what could be another number is never guessed.

    Parameters
    ----------
    cell : str
    decimal : ``"."`` or ``","``
    """
    plain = cell.replace("\N{MINUS SIGN}", "-")
    if ("." if decimal == "," else ",") in plain or "_" in plain:
        return None
    try:
        return float(plain.replace(decimal, "."))
    except ValueError:
        return None
