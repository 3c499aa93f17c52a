"""Tables in columns under a header: a row per cell (long form), or curves side by side.

A column that names the table parts the rows; without one they are one table, or several over the
same breakpoints.  Columns are told by their headers: those of our own export, and the usual words.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from ..core.arrays import FloatArray, IntArray
from ..core.axis import Axis
from ..core.labels import Labels
from ..core.table import MAX_AXES
from ..errors import ModelError
from ..exchange.formulas import unguarded
from ..exchange.particulars import OF_A_TABLE, OF_AN_AXIS
from .found import (
    Cells,
    Doubt,
    Found,
    Reading,
    axis_doubts,
    bad_cells,
    empty_note,
    numeral_doubts,
    ragged_doubts,
)
from .grid import EMPTY, NUMBER, TEXT, TROUBLE, Grid
from .headings import heading_of
from .said import headed, id_said, is_id, is_unit, unit_said

if TYPE_CHECKING:
    from .blocks import Block

ID_WORDS = (
    "table", "id", "table_id", "label", "parameter", "characteristic", "map", "curve", "name",
)  # fmt: skip
VALUE_WORDS = ("value", "values", "val", "z")
UNIT_WORDS = ("unit", "units")
IGNORED = ("status", "value_before", "index", "")
_TEXTS = {"name": "name", "long_name": "name", "function": "function", "group": "function",
          "function_group": "function", "description": "description",
          "comment": "description"}  # fmt: skip
_AXIS = re.compile(r"axis_([1-4])(?:_([a-z]+))?")
MOST_TABLES_ABREAST = 2000


def _word(text: str) -> str:
    return re.sub(r"[\s_]+", "_", text.strip().lower().strip("#*"))


def _words(grid: Grid, row: int, left: int, right: int) -> list[str]:
    return [_word(grid.text(row, column)) for column in range(left, right)]


def has_header(grid: Grid, row: int, left: int, right: int) -> bool:
    """Whether a row is a header that names a column of tables and one of values."""
    if (grid.kinds[row, left:right] == NUMBER).any():
        return False
    words = _words(grid, row, left, right)
    return any(w in ID_WORDS for w in words) and any(w in VALUE_WORDS for w in words)


def is_details(grid: Grid, row: int, left: int, right: int) -> bool:
    """Whether a row heads a list that says more of tables, without values."""
    if (grid.kinds[row, left:right] == NUMBER).any():
        return False
    words = _words(grid, row, left, right)
    more = {"storage", "role", "rules", "relations", "lower", "upper"}
    named = any(w in ("table", "id", "table_id") for w in words)
    return named and bool(more & set(words)) and not any(w in VALUE_WORDS for w in words)


def read_details(grid: Grid, block: Block, reading: Reading) -> None:
    """Read a list of what is said of tables; see `calib_model.exchange.particulars`."""
    words = _words(grid, block.top, block.left, block.right)
    known = {*OF_A_TABLE, "unit"}
    of_axes = {"unit", *OF_AN_AXIS}
    id_at = next(block.left + n for n, w in enumerate(words) if w in ("table", "id", "table_id"))
    wanted: list[tuple[int, str]] = []
    for number, word in enumerate(words):
        found = _AXIS.fullmatch(word)
        if word in known or (found and found[2] in of_axes):
            wanted.append((block.left + number, word))
    for row in range(block.top + 1, block.bottom):
        id = grid.text(row, id_at)
        if id:
            texts = {w: grid.exact_text(row, c) for c, w in wanted if grid.kinds[row, c] != EMPTY}
            reading.details.append((id, texts))


@dataclass
class _Columns:
    """Which column plays which part."""

    id: int = -1
    value: int = -1
    unit: int = -1
    texts: dict[int, str] = field(default_factory=dict)
    own_axes: dict[int, tuple[int, int, int]] = field(default_factory=dict)
    numbers: list[int] = field(default_factory=list)
    said: dict[int, tuple[str, str | None]] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    labels: dict[int, int] = field(default_factory=dict)
    """Column of names by the axis's number, 0 for the values."""


def is_columns(grid: Grid, block: Block) -> bool:
    """Whether every filled column of a block has a header in the row above it."""
    if not block.heads:
        return False
    head = grid.kinds[block.heads[-1], block.left : block.right]
    body = grid.kinds[block.top : block.bottom, block.left : block.right]
    filled = (body != EMPTY).any(axis=0)
    if not (head[filled] == TEXT).all():
        return False
    # Values may be unfilled, all of them.
    words = _words(grid, block.heads[-1], block.left, block.right)
    return int(filled.sum()) > 1 or any(word in VALUE_WORDS for word in words)


def read_columns(grid: Grid, block: Block, reading: Reading) -> None:
    """Read a block of columns."""
    columns, title_rows = _parts(grid, block)
    rows = np.arange(block.top, block.bottom)
    own = [c for parts in columns.own_axes.values() for c in parts]
    last = max([columns.value, *columns.numbers])
    beside = (columns.id, columns.unit, *columns.texts, *own, *columns.numbers)
    filled = grid.filled_down([c for c in beside if c != last])
    if columns.id >= 0:
        grid = filled
        for group in _groups(grid, rows, columns.id):
            reading.count_block()
            _group(grid, block, reading, columns, group)
        return
    heading = heading_of(grid, title_rows, block.left, block.right)
    points, values = _axes_and_values(filled, rows, columns)
    grid = grid.filled_down(points)
    if not values or len(values) > MOST_TABLES_ABREAST:
        reading.leave_out(grid, block.area, "No column of values is plainly beside its axes.")
        return
    for value in values:
        name, unit = columns.said[value]
        plain = len(values) == 1 and (_word(name) in VALUE_WORDS or bool(heading.id))
        id = heading.id if plain else (name if is_id(name) else id_said(name))
        called = heading.name if plain else ("" if is_id(name) else name)
        settings: dict[str, Any] = dict(heading.said)
        unit = unit if unit is not None else heading.unit if len(values) == 1 else None
        axes_said = [columns.said[p] for p in points]
        _table(grid, block.area, reading, rows, (points, value), axes_said,
               (id, called, unit, settings))  # fmt: skip


def _parts(grid: Grid, block: Block) -> tuple[_Columns, tuple[int, ...]]:
    """Tell the columns' parts by header and content."""
    heads = list(block.heads)
    head = heads.pop()
    units: dict[int, str] = {}
    width = range(block.left, block.right)
    texts = {c: grid.text(head, c) for c in width if grid.kinds[head, c] != EMPTY}
    bare = [text.strip("[]() ") for text in texts.values()]
    if heads and texts and sum(map(is_unit, bare)) * 2 > len(bare):
        above = [c for c in width if grid.kinds[heads[-1], c] == TEXT]
        if set(texts) <= set(above):
            units = {c: unit_said(text.strip("[]() ")) for c, text in texts.items()}
            head = heads.pop()
            texts = {c: grid.text(head, c) for c in above}
    columns = _Columns()
    kinds = grid.kinds[block.top : block.bottom]
    words = {c: _word(text) for c, text in texts.items()}
    numeric = {
        c: bool(((kinds[:, c] == NUMBER) | (kinds[:, c] == TROUBLE)).sum() * 2
                >= (kinds[:, c] != EMPTY).sum())
        and bool((kinds[:, c] != EMPTY).any())
        for c in texts
    }  # fmt: skip
    own: dict[int, dict[str, int]] = {}
    for c, word in words.items():
        found = _AXIS.fullmatch(word)
        if found and found[2] in (None, "unit", "value"):
            own.setdefault(int(found[1]), {})[found[2] or "name"] = c
    if all({"name", "unit", "value"} == set(parts) for parts in own.values()):
        columns.own_axes = {n: (p["name"], p["unit"], p["value"]) for n, p in own.items()}
    of_axes = {c for parts in columns.own_axes.values() for c in parts}
    columns.id = next(
        (c for w in ID_WORDS for c, word in words.items() if word == w and not numeric[c]), -1
    )
    for c, word in words.items():
        if c == columns.id or c in of_axes:
            continue
        found = _AXIS.fullmatch(word)
        if word == "value_label" or (found and found[2] == "label"):
            columns.labels[int(found[1]) if found else 0] = c
            continue
        name, unit = headed(texts[c])
        said = (name, units.get(c, unit))
        if word in VALUE_WORDS or _word(name) in VALUE_WORDS:
            columns.value = c
            columns.said[c] = said
        elif word in UNIT_WORDS and not numeric[c]:
            columns.unit = c
        elif word in _TEXTS and not numeric[c]:
            columns.texts[c] = _TEXTS[word]
        elif word in IGNORED:
            columns.left_out.append(word)
        elif numeric[c]:
            columns.numbers.append(c)
            columns.said[c] = said
        elif (kinds[:, c] != EMPTY).any():
            columns.left_out.append(texts[c])
    if columns.id >= 0 and columns.value < 0 and columns.numbers:
        columns.value = columns.numbers.pop()
    return columns, tuple(heads)


def _groups(grid: Grid, rows: IntArray, id_column: int) -> list[IntArray]:
    """Part rows by the cell that names their table, in the order of first mention."""
    codes = grid.codes[rows, id_column]
    order = np.argsort(codes, kind="stable")
    cuts = np.flatnonzero(np.diff(codes[order])) + 1
    groups = [rows[part] for part in np.split(order, cuts) if part.size]
    return sorted(groups, key=lambda group: int(group[0]))


def _group(grid: Grid, block: Block, reading: Reading, columns: _Columns, rows: IntArray) -> None:
    first = int(rows[0])
    text = _own_text(grid, first, columns.id)
    area = (first, block.left, int(rows[-1]) + 1, block.right)
    if not text.strip():
        reading.leave_out(grid, area, f"{grid.place(first, columns.id)} names no table.")
        return
    settings: dict[str, Any] = {}
    axes_said: list[tuple[str, str | None]]
    for column, key in columns.texts.items():
        said = _own_text(grid, first, column)
        if said:
            settings.setdefault(key, said)
    name = settings.pop("name", "")
    said_id, unit = headed(text)
    id = said_id if is_id(said_id) else id_said(said_id)
    name = name or ("" if is_id(said_id) else said_id)
    if columns.unit >= 0:
        unit = unit_said(_own_text(grid, first, columns.unit))
    elif unit is None and columns.value in columns.said:
        unit = columns.said[columns.value][1]
    if columns.own_axes:
        used = [
            parts for _, parts in sorted(columns.own_axes.items())
            if grid.kinds[first, parts[2]] != EMPTY
        ]  # fmt: skip
        points = [parts[2] for parts in used]
        axes_said = [
            (_own_text(grid, first, n), unit_said(_own_text(grid, first, u))) for n, u, _ in used
        ]
    else:
        filled = (
            grid.kinds[np.ix_(rows, np.asarray(columns.numbers, dtype=np.intp))] != EMPTY
        ).any(axis=0)
        points = [c for c, some in zip(columns.numbers, filled, strict=True) if some]
        axes_said = [columns.said[c] for c in points]
    before = len(reading.tables)
    _table(grid, area, reading, rows, (points, columns.value), axes_said,
           (id, name, unit, settings))  # fmt: skip
    if columns.labels and len(reading.tables) > before:
        reading.tables[-1] = _labelled(grid, reading.tables[-1], columns, rows)


def _labelled(grid: Grid, found: Found, columns: _Columns, rows: IntArray) -> Found:
    """Return a table with the names of its numbers, where every number has one of its own."""

    def labels(column: int, numbers: int) -> Labels:
        named = rows[grid.kinds[rows, column] != EMPTY]
        pairs = {
            float(grid.numbers[row, numbers]): _own_text(grid, int(row), column) for row in named
        }
        return Labels(tuple(pairs.items()))

    try:
        axes = tuple(
            replace(axis, labels=labels(columns.labels[n], columns.own_axes[n][2]))
            if n in columns.labels and n in columns.own_axes
            else axis
            for n, axis in enumerate(found.axes, start=1)
        )
        own = labels(columns.labels[0], columns.value) if 0 in columns.labels else Labels()
    except ModelError as error:
        doubt = Doubt("labels", f"Its labels are left out: {error}", "Mend them in the file.")
        return replace(found, doubts=(*found.doubts, doubt))
    settings = {**found.settings, "labels": own} if own else found.settings
    return replace(found, axes=axes, settings=settings)


def _own_text(grid: Grid, row: int, column: int) -> str:
    text = grid.exact_text(row, column) if grid.kinds[row, column] != EMPTY else ""
    # A text file's cell that looks like a formula was given an apostrophe by our own export.
    return unguarded(text) if grid.lines is not None and "'" in text else text


def _axes_and_values(grid: Grid, rows: IntArray, columns: _Columns) -> tuple[list[int], list[int]]:
    """Tell axes from values where no column names the table."""
    if columns.own_axes:
        points = [parts[2] for _, parts in sorted(columns.own_axes.items())]
        points = [c for c in points if (grid.kinds[rows, c] != EMPTY).any()]
        for n, u, v in columns.own_axes.values():
            columns.said[v] = (grid.text(int(rows[0]), n), unit_said(grid.text(int(rows[0]), u)))
        return points, [columns.value] if columns.value >= 0 else []
    numbers = columns.numbers
    if columns.value >= 0:
        return numbers[:MAX_AXES], [columns.value]
    for count in range(1, min(MAX_AXES, len(numbers) - 1) + 1):
        points = numbers[:count]
        keys = grid.numbers[np.ix_(rows, np.asarray(points, dtype=np.intp))]
        if len(np.unique(keys, axis=0)) == len(keys):
            return points, numbers[count:]
    if len(numbers) < 2:
        return [], []
    return numbers[:1], numbers[1:]


def _table(
    grid: Grid,
    area: tuple[int, int, int, int],
    reading: Reading,
    rows: IntArray,
    columns: tuple[Sequence[int], int],
    axes_said: Sequence[tuple[str, str | None]],
    said: tuple[str, str, str | None, dict[str, Any]],
) -> None:
    """Build a table of rows that each hold a cell."""
    points, value = columns
    keys = grid.numbers[np.ix_(rows, np.asarray(points, dtype=np.intp))]
    if len(points) > MAX_AXES:
        reading.leave_out(grid, area, f"It has {len(points)} axes; at most {MAX_AXES} are read.")
        return
    if not np.isfinite(keys).all():
        row, column = (int(n) for n in np.argwhere(~np.isfinite(keys))[0])
        at = grid.place(int(rows[row]), points[column])
        text = grid.text(int(rows[row]), points[column])[:40]
        reading.leave_out(grid, area, f"{at} holds {text!r} where a breakpoint belongs.")
        return
    found = _placed(keys)
    if found is None:
        first, second = _twice(keys)
        reading.leave_out(
            grid, area,
            f"Two rows hold the same point: {grid.place(int(rows[first]), value)} and "
            f"{grid.place(int(rows[second]), value)}. Leave one of them.",
        )  # fmt: skip
        return
    breakpoints, places = found
    shape = tuple(len(b) for b in breakpoints)
    size = int(np.prod(shape, dtype=np.int64))
    doubts: list[Doubt] = []
    if size > 4 * len(rows) + 16:
        reading.leave_out(
            grid, area, f"Its {len(rows)} rows fill a small part of {size} cells only: they are "
            "no table over these axes.",
        )  # fmt: skip
        return
    values = np.full(size, np.nan)
    values[places] = grid.numbers[rows, value]
    try:
        axes = tuple(
            Axis(b, name=name, unit=unit or "-")
            for b, (name, unit) in zip(breakpoints, axes_said, strict=True)
        )
    except ModelError as error:
        reading.leave_out(grid, area, str(error))
        return
    doubts += bad_cells(grid, rows, [value])
    if size > len(rows):
        doubts.append(
            Doubt("cells", f"{size - len(rows)} of {size} cells have no row.",
                  'Complete the file, or choose cells = "empty" to leave them unfilled.',
                  blocks=True)
        )  # fmt: skip
    doubts += ragged_doubts(grid, rows)
    doubts += numeral_doubts(grid, rows, [*points, value])
    doubts += axis_doubts(axes)
    id, name, unit, settings = said
    reading.tables.append(
        Found(
            grid.source, grid.area(*area), "columns", id, axes, values.reshape(shape), name, unit,
            settings, tuple(doubts), (*empty_note(grid, rows, [value]), *grid.notes),
            Cells(area, rows, (value,), tuple(points)),
        )
    )  # fmt: skip


def _placed(keys: FloatArray) -> tuple[list[FloatArray], IntArray] | None:
    """Return the breakpoints per axis and each row's flat cell; None if two share one."""
    breakpoints: list[FloatArray] = []
    places = np.zeros(len(keys), dtype=np.int64)
    for column in keys.T:
        points, first, inverse = np.unique(column, return_index=True, return_inverse=True)
        if (np.diff(first) < 0).any():  # the order of first mention is the axis's own
            order = np.argsort(first)
            rank = np.empty(len(order), dtype=np.int64)
            rank[order] = np.arange(len(order))
            points, inverse = points[order], rank[inverse]
        breakpoints.append(points)
        places = places * len(points) + inverse
    if len(keys) > 1 and len(np.unique(places)) < len(places):
        return None
    return breakpoints, places


def _twice(keys: FloatArray) -> tuple[int, int]:
    seen: dict[tuple[float, ...], int] = {}
    for number, key in enumerate(map(tuple, keys.tolist())):
        if key in seen:
            return seen[key], number
        seen[key] = number
    return 0, 0
