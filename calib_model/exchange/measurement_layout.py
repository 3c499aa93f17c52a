"""What a text file of measurements looks like: encoding, separator, decimal mark, header, units."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

from ..core.numbers import counted
from ..core.plain_file import open_plain
from ..core.text_cells import cells_of, encoding_of, rows_of
from ..core.units import known
from ..errors import FileProblem

HEAD = 1 << 16
"""Bytes that are looked at."""
LINES = 200
SEPARATORS = (";", "\t", ",", "|", " ")

_IN_BRACKETS = re.compile(r"^(.*?)\s*[\[(]([^\])]*)[\])]\s*$")
_NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
_GROUPS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_UNITS = {
    "": "", "1": "-", "-": "-", "°c": "degC", "deg c": "degC", "c": "degC", "celsius": "degC",
    "°": "deg", "nm": "N.m", "n·m": "N.m", "n*m": "N.m", "n m": "N.m", "n-m": "N.m",
    "m/s²": "m/s2", "kph": "km/h", "kmh": "km/h",
}  # fmt: skip
_USUAL = frozenset({
    "s", "ms", "min", "h", "-", "%", "0/1", "degC", "K", "km/h", "m/s", "mph", "m/s2", "deg",
    "deg/s", "rad", "rad/s", "rpm", "N", "kN", "N.m", "W", "kW", "A", "V", "m", "mm", "bar", "kPa",
    "Pa", "Hz", "kg", "J",
})  # fmt: skip


@dataclass(frozen=True)
class Column:
    """A column of the file.

    Parameters
    ----------
    number : int
        From 0.
    name : str
    unit : str
        As this program writes it; empty if the file states none.
    samples : tuple of str
        The first few cells, for showing.
    """

    number: int
    name: str
    unit: str = ""
    samples: tuple[str, ...] = ()


@dataclass(frozen=True)
class Layout:
    """What a file looks like.

    Parameters
    ----------
    path : Path
    encoding : str
    separator : str
        A space stands for any run of spaces.
    decimal : ``"."`` or ``","``
    columns : tuple of Column
    first_line : int
        Line of the first row of numbers, counted from 1.
    """

    path: Path
    encoding: str
    separator: str
    decimal: str
    columns: tuple[Column, ...]
    first_line: int

    def column(self, wanted: str | int) -> Column:
        """Return a column by its name, or by its number counted from 1.

        Raises
        ------
        FileProblem
            If there is none, or the name is given twice.
        """
        text = str(wanted).strip()
        for same in (text.__eq__, lambda n: n.lower() == text.lower()):
            found = [c for c in self.columns if same(c.name)]
            if len(found) > 1:
                raise FileProblem(
                    self.path, "", f"{len(found)} columns are called {text!r}.",
                    "Name the column by its number, counted from 1.",
                )  # fmt: skip
            if found:
                return found[0]
        place = counted(text, len(self.columns))
        if place is not None:
            return self.columns[place - 1]
        raise FileProblem(
            self.path, "", f"There is no column {text!r}.",
            f"It has: {', '.join(c.name for c in self.columns)}.",
        )  # fmt: skip

    def with_unit(self, column: str | int, unit: str) -> Layout:
        """Return the layout with another unit for a column."""
        number = self.column(column).number
        columns = tuple(replace(c, unit=unit) if c.number == number else c for c in self.columns)
        return replace(self, columns=columns)


def inspect(
    path: Path | str,
    *,
    encoding: str | None = None,
    separator: str | None = None,
    decimal: str | None = None,
) -> Layout:
    """Find out what a file of measurements looks like.

    Parameters
    ----------
    path : path-like
    encoding, separator, decimal : str, optional
        Given by the user; found out otherwise.

    Raises
    ------
    FileProblem
        If it cannot be read, holds no rows of numbers, or leaves a doubt about its decimal mark.
    """
    path = Path(path)
    if separator is not None and (len(separator) != 1 or separator in '\r\n"\0'):
        raise FileProblem(
            path, "", f"{separator!r} separates no columns.", "Name one sign, such as ; or a tab."
        )
    if decimal is not None and decimal not in (".", ","):
        raise FileProblem(path, "", f"{decimal!r} is no decimal mark.", "Name . or a comma.")
    try:
        with open_plain(path) as file:
            data = file.read(HEAD)
            whole = not file.read(1)
    except OSError as error:
        raise FileProblem(
            path, "", f"Cannot be read: {error.strerror or error}.", "Check the name."
        ) from None
    if not data:
        raise FileProblem(path, "", "The file is empty.", "Check the name.")
    encoding = encoding or encoding_of(data, whole=whole)
    try:
        text = data.decode(encoding, errors="strict" if whole else "ignore")
    except (LookupError, ValueError):  # a name may be no text that could be one
        raise FileProblem(
            path, "", f"This is not {encoding} text.", "Name the file's encoding."
        ) from None
    if "\0" in text:
        raise FileProblem(path, "", "This is not a text file.", "Export the measurements as CSV.")
    lines = text.splitlines()[:LINES]
    if not whole and len(lines) < LINES and len(lines) > 1:
        lines.pop()  # probably cut
    separator = separator or _separator_of(lines, decimal)
    if separator is None:
        raise FileProblem(
            path, "", "No columns of numbers are found.", "Name the separator, or check the file."
        )
    numbered = list(rows_of("\n".join(lines), separator, LINES))
    cells = [row for _, row in numbered]
    first = _first_row(cells, decimal)
    if first is None:
        raise FileProblem(
            path, "", "There are no rows of numbers.", "Check the separator and the decimal mark."
        )
    mark = decimal or _decimal_of(path, separator, cells[first:])
    columns = _columns(cells, first)
    return Layout(path, encoding, separator, mark, columns, numbered[first][0] + 1)


def unit_text(text: str) -> str:
    """Return a unit as this program writes it; as it stands if it is not known."""
    plain = text.strip().replace("\N{MICRO SIGN}", "u").replace("\N{DEGREE CELSIUS}", "°C")
    return _UNITS.get(plain.lower(), plain.replace("·", ".").replace("²", "2"))


def _numeric(cell: str) -> bool:
    return bool(_NUMBER.fullmatch(cell.replace("\N{MINUS SIGN}", "-")))


def _filled(row: list[str]) -> int:
    return len(row) - row.count("")


def _separator_of(lines: list[str], decimal: str | None) -> str | None:
    best, most = None, 0
    for separator in SEPARATORS:
        if separator == decimal:
            continue
        rows = [cells_of(line, separator) for line in lines if line.strip()]
        # Empty cells say nothing: where rates are mixed most cells of a row are empty.
        counts = Counter(
            len(r) for r in rows if len(r) > 1 and sum(map(_numeric, r)) * 2 >= max(1, _filled(r))
        )
        if not counts:
            continue
        (_width, number), *_ = counts.most_common(1)
        if number > most * 1.2:  # a comma that splits decimals must win clearly
            best, most = separator, number
    return best


def _first_row(cells: list[list[str]], decimal: str | None) -> int | None:
    def is_row(row: list[str]) -> bool:
        numbers = sum(map(_numeric, row))
        return len(row) > 1 and numbers * 2 >= _filled(row) and numbers > 0

    widths = Counter(len(r) for r in cells if is_row(r))
    if not widths:
        return None
    width = widths.most_common(1)[0][0]
    for number, row in enumerate(cells):
        if is_row(row) and len(row) == width:
            return number
    return None


def _decimal_of(path: Path, separator: str, rows: list[list[str]]) -> str:
    if separator == ",":
        return "."
    numbers = [c for row in rows for c in row if _numeric(c)]
    points = any("." in c for c in numbers)
    commas = [c for c in numbers if "," in c]
    if not commas:
        return "."
    if points or all(_GROUPS.fullmatch(c) for c in commas):
        raise FileProblem(
            path, "", f"{commas[0]!r} could have a decimal comma or a thousands separator.",
            "Say which decimal mark the file has.",
        )  # fmt: skip
    return ","


def _columns(cells: list[list[str]], first: int) -> tuple[Column, ...]:
    width = len(cells[first])
    above = [r for r in cells[:first] if len(r) == width]
    names = [f"column {n + 1}" for n in range(width)]
    units = [""] * width
    if len(above) >= 2 and _are_units(above[-1]):
        names, units = above[-2], [unit_text(_bare(u)) for u in above[-1]]
    elif above:
        names = above[-1]
    shown = [r for r in cells[first : first + 5] if len(r) == width]
    columns = []
    for number, (name, unit) in enumerate(zip(names, units, strict=True)):
        match = _IN_BRACKETS.match(name)
        if match and not unit and match[1]:
            name, unit = match[1], unit_text(match[2])
        samples = tuple(r[number] for r in shown)
        columns.append(Column(number, name or f"column {number + 1}", unit, samples))
    return tuple(columns)


def _bare(unit: str) -> str:
    return unit.strip().strip("[]()")


def _are_units(row: list[str]) -> bool:
    given = [_bare(c) for c in row if _bare(c)]
    if not given:
        return False
    if any(_numeric(c) for c in given if c != "1"):
        return False
    units = [unit_text(c) for c in given]
    # Looking up the usual ones first spares the 0.4 s that the library of units takes to load.
    if sum(u in _USUAL for u in units) * 2 >= len(units):
        return True
    return sum(known(u) for u in units) * 2 >= len(units)
