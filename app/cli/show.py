"""`bitepoint show SET [TABLE]`: what is in a set, or one table with its values and rules."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING

from app.cli.answer import GOOD, Answer, refuse
from app.cli.parser import VerbParser
from app.cli.reading import SetFiles
from app.cli.text import aligned, caution, count, listed, title
from calib_model.core.canonical import digest
from calib_model.core.numbers import exact
from calib_model.core.planes import plane_index
from calib_model.core.rule import stated
from calib_model.core.units import shown
from calib_model.core.values_digest import values_digest
from calib_model.foreign_text import plain_line

if TYPE_CHECKING:
    from calib_model.core.axis import Axis
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.table import Table


def parser() -> VerbParser:
    """Return the verb's parser."""
    made = VerbParser(
        "show",
        "List the tables of a set, or show one table with its values, limits and rules.",
        "Exit status: 0 shown, 2 could not be done.",
    )
    made.add_argument("set", metavar="SET", type=Path, help="calibration set file")
    made.add_argument("table", metavar="TABLE", nargs="?", help="id of a table")
    return made


def run(arguments: Sequence[str]) -> Answer:
    """Show a set or a table."""
    given = parser().parse_args(arguments)
    with SetFiles([given.set]) as files:
        (stored,) = files.results()
    content = stored.set
    if given.table is None:
        return Answer(GOOD, set_words(content, given.set))
    if given.table not in content:
        near = difflib.get_close_matches(given.table, content.tables, 3)
        hint = (
            f"Perhaps {' or '.join(near)}." if near else f"`bitepoint show {given.set}` lists all."
        )
        refuse(f"{given.set}: There is no table {given.table!r}.", hint)
    return Answer(GOOD, table_words(content[given.table]))


def set_words(content: CalibrationSet, path: Path) -> str:
    """Return what a set holds, for reading."""
    parts = [f"{title(content, path)}: {count(len(content), 'table')}."]
    about = [
        (label, text)
        for label, text in (
            ("Programme", plain_line(content.programme)),
            ("Mode", plain_line(content.mode) + (" (the base mode)" if content.is_base else "")),
            ("Base mode", "" if content.is_base else content.base_mode),
            ("About", content.description),
            ("Digest", digest(content)),
            ("of values", values_digest(content)),
        )
        if text.strip()
    ]
    if about:
        parts.append(listed(about))
    groups: dict[str, list[Table]] = {}
    for table in content:
        groups.setdefault(table.function, []).append(table)
    rows = []
    for group, tables in groups.items():
        for table in tables:
            size = " × ".join(map(str, table.shape))
            kind = f"{table.kind} {size}".strip()
            rows.append((table.id, kind, shown(table.unit), group, plain_line(table.name)))
    if rows:
        parts.append(listed([("id", "kind", "unit", "function group", "name"), *rows]))
    parts.append(caution())
    return "\n\n".join(parts) + "\n"


def table_words(table: Table) -> str:
    """Return a table for reading."""
    unit = shown(table.unit)
    facts = [
        ("Kind", table.kind),
        ("Unit", unit or "none"),
        ("Function group", plain_line(table.function)),
        ("Part of the controller", table.role),
        ("About", table.description),
        ("Limits", _limits(table)),
        ("Storage", str(table.storage)),
        ("Labels", str(table.labels)),
    ]
    for axis, where in zip(table.axes, _where(table), strict=True):
        facts.append((f"Axis {where}", _axis_words(axis)))
    for mode, relation in table.relations.items():
        facts.append((f"In mode {mode}", _RELATION.get(relation, relation)))
    for rule in table.rules:
        reason = f" ({rule.reason})" if rule.reason else ""
        facts.append(("Rule, off" if rule.off else "Rule", f"{stated(rule, table)}{reason}"))
    heading = plain_line(f"{table.id}: {table.name}" if table.name else table.id)
    parts = [heading, listed([fact for fact in facts if fact[1]])]
    if table.axes:
        parts += _grids(table)
    else:
        value = float(table.values)
        said = table.labels.name(value)
        number = "empty" if math.isnan(value) else exact(value)
        parts.append(f"Value: {said or f'{number} {unit}'}".rstrip())
    parts.append(caution())
    return "\n\n".join(parts) + "\n"


_RELATION = {
    ">=": "at least as in the base mode",
    "<=": "at most as in the base mode",
    "==": "the same as in the base mode",
    "free": "free",
    "zero": "zero throughout",
}


def _limits(table: Table) -> str:
    low, high = table.lower, table.upper
    if math.isinf(low) and math.isinf(high):
        return ""
    if math.isinf(low):
        return f"at most {table.said(high)}"
    if math.isinf(high):
        return f"at least {table.said(low)}"
    return f"{table.said_short(low)} to {table.said(high)}"


def _where(table: Table) -> Sequence[str]:
    return ("1 (rows)", "2 (columns)", "3", "4")[: len(table.axes)]


def _axis_words(axis: Axis) -> str:
    unit = shown(axis.unit)
    ends = f"below the first {axis.below}, above the last {axis.above}"
    reads = f", reads {axis.quantity}" if axis.quantity else ""
    named = f", {axis.labels}" if axis.labels else ""
    return (
        f"{axis.label}{f' in {unit}' if unit else ''}, {axis.interpolation}, {ends}{reads}{named}"
    )


def _grids(table: Table) -> Iterator[str]:
    """Yield the values: as one grid, or one per combination of the third and fourth axis."""
    further = table.axes[2:]
    for index in product(*(range(len(axis)) for axis in further)):
        place = ", ".join(
            f"{axis.label} {axis.said(float(axis.values[i]))}"
            for axis, i in zip(further, index, strict=True)
        )
        yield (f"At {place}\n" if place else "") + _grid(table, index)


def _grid(table: Table, index: tuple[int, ...]) -> str:
    values = table.values[plane_index(index) if index else ...]
    rows_axis = table.axes[0]
    columns = table.axes[1] if len(table.axes) > 1 else None
    head = [_named(rows_axis) + (f" \\ {_named(columns)}" if columns is not None else "")]
    if columns is None:
        head.append(_in_unit("value", table.unit))
        values = values[:, None]
    else:
        head += [columns.said_exactly(x) for x in columns.values.tolist()]
    rows = [head]
    for x, line in zip(rows_axis.values.tolist(), values.tolist(), strict=True):
        rows.append([rows_axis.said_exactly(x), *(table.said_exactly(v) for v in line)])
    return "\n".join(aligned(rows))


def _named(axis: Axis) -> str:
    return _in_unit(axis.label, axis.unit)


def _in_unit(label: str, unit: str) -> str:
    text = shown(unit)
    return f"{label} [{text}]" if text else label
