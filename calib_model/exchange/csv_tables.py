"""Tables as CSV (RFC 4180): one row per cell, for spreadsheets and for other programs.

The layout, one for a table and for a whole set::

    table,name,function,unit,axis_1,axis_1_unit,axis_1_value,axis_2,...,value
    ambient_factor,Ambient factor,cruise,,Ambient temperature,degC,-40,,,,1.35

- Where a table or axis of the export has labels, ``axis_1_label``, ``axis_2_label``, ... and
  ``value_label`` follow: the names of the numbers, empty where one has none.
- A row is a cell; the last axis varies fastest.  There are as many groups of axis columns as the
  table with most axes needs, at least two; those that a table does not need are empty.
- Numbers are the shortest text that reads back as the same float64, with a decimal point.  An
  empty ``value`` is a cell that is not filled; an empty unit is none.
- An export that is not of a signed-off set has a last column ``status`` that says so in every row.
- One for a trial has a column ``value_before`` too: the value of a changed cell as it was, ``new``
  for a cell that was not there, empty where nothing changed.
- UTF-8 without a byte order mark, lines end with CR LF, fields are quoted where needed.
- Wherever a spreadsheet might take a part of a text for a formula, that part is given a leading
  apostrophe (`calib_model.exchange.formulas`, which also takes it away).  Numbers are left as
  they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from itertools import product
from pathlib import Path

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import exact
from calib_model.core.table import Table
from calib_model.exchange.formulas import guarded
from calib_model.store import write_whole

_LEAST_AXES = 2


def csv_bytes(
    what: CalibrationSet | Table | Iterable[Table],
    status: str = "",
    earlier: CalibrationSet | None = None,
) -> bytes:
    """Return tables as CSV.

    Parameters
    ----------
    what : CalibrationSet, Table or iterable of Table
    status : str
        What to say in the last column (`calib_model.exchange.marking`); no column if empty.
    earlier : CalibrationSet, optional
        The state that ``value_before`` is of; no column without it.

    Returns
    -------
    bytes
        See the layout above.
    """
    tables = [what] if isinstance(what, Table) else list(what)
    axis_count = max([_LEAST_AXES, *(len(t.axes) for t in tables)])
    header = ["table", "name", "function", "unit"]
    for number in range(1, axis_count + 1):
        header += [f"axis_{number}", f"axis_{number}_unit", f"axis_{number}_value"]
    named = any(t.labels or any(a.labels for a in t.axes) for t in tables)
    names = [*(f"axis_{n}_label" for n in range(1, axis_count + 1)), "value_label"]
    header += ["value", *(["value_before"] if earlier else []), *(names if named else [])]
    header += ["status"] if status else []
    lines = [",".join(header)]
    end = f",{text_field(status)}" if status else ""
    for table in tables:
        rows = list(_rows(table, axis_count))
        if earlier is not None:
            before = _before(table, earlier.tables.get(table.id))
            rows = [f"{row},{b}" for row, b in zip(rows, before, strict=True)]
        if named:
            rows = [row + name for row, name in zip(rows, _names(table, axis_count), strict=True)]
        lines += [row + end for row in rows]
    return ("\r\n".join(lines) + "\r\n").encode()


def write_csv(
    what: CalibrationSet | Table | Iterable[Table],
    path: Path | str,
    status: str = "",
    earlier: CalibrationSet | None = None,
) -> None:
    """Write tables to a CSV file, put in place whole or not at all.

    Parameters
    ----------
    what : CalibrationSet, Table or iterable of Table
    path : path-like
    status, earlier
        See `csv_bytes`.

    Raises
    ------
    SaveFailed
        If the file cannot be written; an old one is as it was.
    """
    write_whole(Path(path), csv_bytes(what, status, earlier))


def _rows(table: Table, axis_count: int) -> Iterator[str]:
    about = (table.id, table.name, table.function, _unit(table.unit))
    start = ",".join(text_field(text) for text in about)
    points = [_points(axis) for axis in table.axes]
    rest = ",,," * (axis_count - len(table.axes))
    for place, value in zip(product(*points), table.values.flat, strict=True):
        yield f"{start}{''.join(place)}{rest},{_number(float(value))}"


def _names(table: Table, axis_count: int) -> Iterator[str]:
    points = [[text_field(a.labels.name(x)) for x in a.values.tolist()] for a in table.axes]
    rest = "," * (axis_count - len(table.axes))
    for place, value in zip(product(*points), table.values.flat, strict=True):
        start = "".join(f",{name}" for name in place)
        yield f"{start}{rest},{text_field(table.labels.name(float(value)))}"


def _before(table: Table, earlier: Table | None) -> Iterator[str]:
    known: dict[tuple[float, ...], float] = {}
    if earlier is not None and len(earlier.axes) == len(table.axes):
        points = product(*(axis.values.tolist() for axis in earlier.axes))
        known = dict(zip(points, earlier.values.flat, strict=True))
    places = product(*(axis.values.tolist() for axis in table.axes))
    for place, value in zip(places, table.values.flat, strict=True):
        old = known.get(place)
        if old is None:
            yield "new"
        elif old == value or (math.isnan(old) and math.isnan(value)):
            yield ""
        else:
            yield "nan" if math.isnan(old) else exact(float(old))


def _points(axis: Axis) -> list[str]:
    about = f",{text_field(axis.label)},{text_field(_unit(axis.unit))},"
    return [about + exact(value) for value in axis.values.tolist()]


def text_field(text: str) -> str:
    """Return a text as a CSV field: safe in a spreadsheet, quoted where RFC 4180 asks for it."""
    text = guarded(text)
    if any(sign in text for sign in ',"\r\n'):
        return '"' + text.replace('"', '""') + '"'
    return text


def _unit(unit: str) -> str:
    return "" if unit == "-" else unit


def _number(value: float) -> str:
    return "" if math.isnan(value) else exact(value)
