"""How a table and a set show themselves in a notebook: small, escaped HTML without scripts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from html import escape
from itertools import islice, product

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.core.units import shown
from calib_model.reports.frame import axis_words

from ..core.planes import plane_index

MOST_ROWS = 60
MOST_COLUMNS = 40
MOST_GRIDS = 6
MOST_TABLES = 200

_NUMBERS = ' style="text-align:right"'
_TEXT = ' style="text-align:left"'


def table_html(table: Table) -> str:
    """Return a table as HTML: what it is, and its values over the axes.

    Parameters
    ----------
    table : Table

    Returns
    -------
    str
        A ``div``; all text escaped.  Very large tables are cut, which is said.
    """
    facts = [table.kind, shown(table.unit), table.function, f"storage {table.storage}"]
    if math.isfinite(table.lower) or math.isfinite(table.upper):
        facts.append(f"limits {table.said_short(table.lower)} to {table.said_short(table.upper)}")
    heading = f"<b>{escape(table.label)}</b>"
    if table.name:
        heading += f" <code>{escape(table.id)}</code>"
    parts = [f"<div>{heading} <small>{escape(', '.join(filter(None, facts)))}</small></div>"]
    if table.description:
        parts.append(f"<div><small>{escape(table.description)}</small></div>")
    if not table.axes:
        parts.append(f"<div>{escape(table.said(float(table.values)))}</div>")
    else:
        parts += islice(_grids(table), MOST_GRIDS)
        further = math.prod(table.shape[2:]) - MOST_GRIDS
        if further > 0:
            parts.append(_note(f"{further} more slices are not shown."))
    return f"<div>{''.join(parts)}</div>"


def set_html(content: CalibrationSet) -> str:
    """Return a set as HTML: what it is, and its tables.

    Parameters
    ----------
    content : CalibrationSet

    Returns
    -------
    str
        A ``div``; all text escaped.  Of very many tables the first are listed, which is said.
    """
    plural = "" if len(content) == 1 else "s"
    facts = [content.programme, content.mode, content.revision, f"{len(content)} table{plural}"]
    about = escape(", ".join(filter(None, facts)))
    parts = [f"<div><b>{escape(content.label)}</b> <small>{about}</small></div>"]
    if content.description:
        parts.append(f"<div><small>{escape(content.description)}</small></div>")
    if len(content):
        head = _row("th", ("Id", "Name", "Kind", "Size", "Unit", "Function group"), _TEXT)
        body = "".join(_row("td", _about(t), _TEXT) for t in islice(content, MOST_TABLES))
        parts.append(f"<table><thead>{head}</thead><tbody>{body}</tbody></table>")
    if len(content) > MOST_TABLES:
        parts.append(_note(f"{len(content) - MOST_TABLES} more tables are not listed."))
    return f"<div>{''.join(parts)}</div>"


def _about(table: Table) -> tuple[str, ...]:
    size = " × ".join(map(str, table.shape))
    return table.id, table.name, table.kind, size, shown(table.unit), table.function


def _grids(table: Table) -> Iterator[str]:
    """Yield one grid, or one per combination of the third and fourth axis."""
    further = table.axes[2:]
    for index in product(*(range(len(axis)) for axis in further)):
        where = ", ".join(
            f"{axis.label} {axis.said(float(axis.values[i]))}"
            for axis, i in zip(further, index, strict=True)
        )
        yield _grid(table, index, where)


def _grid(table: Table, index: tuple[int, ...], where: str) -> str:
    rows = table.axes[0]
    columns = table.axes[1] if len(table.axes) > 1 else None
    values = table.values[plane_index(index) if index else ...].reshape(len(rows), -1)
    corner = axis_words(rows) + (f" \\ {axis_words(columns)}" if columns is not None else "")
    head = [corner]
    if columns is None:
        head.append(table.label)
    else:
        head += [columns.said_short(x) for x in columns.values[:MOST_COLUMNS].tolist()]
    lines = [_row("th", head, _NUMBERS)]
    for x, line in zip(rows.values[:MOST_ROWS].tolist(), values.tolist(), strict=False):
        cells = "".join(
            f"<td{_NUMBERS}>{escape(table.said_short(v))}</td>" for v in line[:MOST_COLUMNS]
        )
        lines.append(f'<tr><th scope="row"{_NUMBERS}>{escape(rows.said_short(x))}</th>{cells}</tr>')
    caption = f"<caption>{escape(where)}</caption>" if where else ""
    grid = f"<table>{caption}<thead>{lines[0]}</thead><tbody>{''.join(lines[1:])}</tbody></table>"
    if values.shape[0] > MOST_ROWS or values.shape[1] > MOST_COLUMNS:
        grid += _note(f"The first of {values.shape[0]} × {values.shape[1]} cells.")
    return grid


def _row(tag: str, cells: Iterable[str], style: str) -> str:
    scope = ' scope="col"' if tag == "th" else ""
    return f"<tr>{''.join(f'<{tag}{scope}{style}>{escape(c)}</{tag}>' for c in cells)}</tr>"


def _note(text: str) -> str:
    return f"<div><small>{escape(text)}</small></div>"
