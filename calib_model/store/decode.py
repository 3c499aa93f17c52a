"""Columns as a calibration set.  The columns may come from anyone: everything is checked."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np

from .. import rules as _kinds  # noqa: F401  # makes the kinds of rule known
from ..core.axis import Axis, End, Interpolation
from ..core.calibration_set import CalibrationSet
from ..core.collecting import collector_held
from ..core.labels import NO_LABELS, Labels
from ..core.rule import Rule
from ..core.rule_plain import rule_from_plain
from ..core.storage import Storage
from ..core.table import NO_RELATIONS, RELATIONS, Table, are_ids
from ..errors import DamagedFile, ModelError
from .jsontext import JsonBudget, json_value
from .layout import (
    ENDS,
    INTERPOLATIONS,
    MAX_TEXT_BYTES,
    MOST_RULES,
    MOST_RULES_OF_TABLE,
    STORAGE_TYPES,
    TEXT_ATTRIBUTES,
)
from .raw import integer_cells, raw_values
from .structure import Columns, Misfit, Neutral, completed
from .texts import Array, joined, plain

REMEDY = "Restore the file from a backup."
_INTERPOLATIONS = [Interpolation(text) for text in INTERPOLATIONS]
_ENDS = [End(text) for text in ENDS]


def decode(neutral: Neutral, path: Path) -> tuple[CalibrationSet, Columns]:
    """Build the set from a file's columns.

    Parameters
    ----------
    neutral : Neutral
        In the current version's layout.
    path : Path
        For error messages.

    Returns
    -------
    CalibrationSet
    Columns
        Every column of the layout, the left-out ones without rows.

    Raises
    ------
    DamagedFile
    """
    try:
        with collector_held():
            columns = completed(neutral.columns)
            return _set(columns, neutral.attributes, path), columns
    except Misfit as misfit:
        raise DamagedFile(path, misfit.place, f"It {misfit.problem}", REMEDY) from None
    except UnicodeDecodeError:
        raise DamagedFile(path, "texts", "A text is not valid UTF-8.", REMEDY) from None


def _set(columns: Columns, attributes: Mapping[str, Any], path: Path) -> CalibrationSet:
    labels = _labels(columns, path)
    axes = _axes(columns, labels, path)
    tables = _tables(columns, axes, labels, path)
    about: dict[str, Any] = {}
    for name in TEXT_ATTRIBUTES:
        text = attributes.get(name)
        if not isinstance(text, str):
            raise DamagedFile(path, f"attribute {name}", "It is missing or not a text.", REMEDY)
        about[name] = text
    index = {table.id: table for table in tables}
    shared = {axes[row].shared: axes[row] for row in columns["shared_axes"].tolist()}
    if len(index) != len(tables) or len(shared) != len(columns["shared_axes"]):
        raise DamagedFile(path, "column table", "It names the same id twice.", REMEDY)
    try:
        return CalibrationSet(index, shared, **about)
    except ModelError as error:
        raise DamagedFile(path, "tables", error.problem, error.remedy or REMEDY) from None


def _labels(columns: Columns, path: Path) -> list[Labels]:
    """Return the different label sets; the last, which -1 stands for, is none."""
    pairs = list(
        zip(_clean(columns["label_value"]).tolist(), plain(columns["label_name"]), strict=True)
    )
    sets: list[Labels] = []
    end = 0
    for number, count in enumerate(columns["label_count"].tolist()):
        start, end = end, end + count
        try:
            sets.append(Labels(tuple(pairs[start:end])))
        except ModelError as error:
            raise DamagedFile(
                path, f"labels, set {number + 1}", error.problem, error.remedy or REMEDY
            ) from None
    return [*sets, NO_LABELS]


def _axes(columns: Columns, labels: list[Labels], path: Path) -> list[Axis]:
    values = _clean(columns["axis_values"])
    counts = columns["axis_count"]
    ends = np.cumsum(counts, dtype=np.int64)
    bad = np.flatnonzero(~np.isfinite(values))
    names = plain(columns["axis_name"])
    quantities = plain(columns["axis_quantity"])
    if bad.size:
        row = int(np.searchsorted(ends, bad[0], side="right"))
        place = int(bad[0]) - int(ends[row] - counts[row]) + 1
        label = names[row] or quantities[row] or "axis"
        raise DamagedFile(
            path,
            f"{_first_user(columns, row)}axis {label}, breakpoint {place}",
            "It is not a finite number.",
            "Give the breakpoint a finite value where the file was made.",
        )
    blocks = [
        values[end - count : end] for count, end in zip(counts.tolist(), ends.tolist(), strict=True)
    ]
    parts = (
        blocks,
        names,
        plain(columns["axis_unit"]),
        quantities,
        [_INTERPOLATIONS[code] for code in columns["axis_interpolation"].tolist()],
        [_ENDS[code] for code in columns["axis_below"].tolist()],
        [_ENDS[code] for code in columns["axis_above"].tolist()],
        _storages(columns, "axis_", path),
        plain(columns["axis_shared"]),
        [labels[row] for row in columns["axis_labels"].tolist()],
    )
    if (counts > 0).all():  # with finite breakpoints, which was seen above, all that `Axis` asks
        return Axis.of_checked(*parts)
    try:
        return [Axis(*row) for row in zip(*parts, strict=True)]
    except ModelError as error:
        raise DamagedFile(path, "axes", error.problem, error.remedy or REMEDY) from None


def _first_user(columns: Columns, axis_row: int) -> str:
    users = np.flatnonzero((columns["axes"] == axis_row).any(axis=1))
    if not users.size:
        return ""
    return f"table {columns['table'][users[0]].decode(errors='replace')[:200]}, "


def _tables(columns: Columns, axes: list[Axis], labels: list[Labels], path: Path) -> list[Table]:
    values = _clean(columns["values"])
    ids = plain(columns["table"])
    _check_shapes(columns, ids, path)
    _check_raw(columns, ids, path)
    per_table_axes = _per_table_axes(columns, axes)
    relations = _relations(columns)
    parts = (
        ids,
        _blocks(values, columns["value_count"], per_table_axes),
        per_table_axes,
        plain(columns["name"]),
        plain(columns["unit"]),
        plain(columns["function"]),
        joined(columns["description_count"], columns["description_text"]),
        columns["lower"].tolist(),
        columns["upper"].tolist(),
        _storages(columns, "", path),
        plain(columns["role"]),
        relations,
        _rules(columns, ids, path),
        [labels[row] for row in columns["labels"].tolist()],
    )
    if _is_sound(columns, ids, relations):
        return Table.of_checked(*parts)
    tables: list[Table] = []
    id = ""
    try:
        for row in zip(*parts, strict=True):
            id = row[0]
            tables.append(Table(*row))
    except ModelError as error:
        raise DamagedFile(
            path, f"table {id[:200]}", error.problem, error.remedy or REMEDY
        ) from None
    return tables


def _is_sound(columns: Columns, ids: list[str], relations: list[Mapping[str, str]]) -> bool:
    """Whether every table has what `Table` checks; if not, `Table` says of which and what.

    Shapes were checked before, and the values are read-only and clean.
    """
    used = set().union(*(set(of.values()) for of in {id(r): r for r in relations}.values()))
    return (
        are_ids(ids)
        and used <= RELATIONS
        and not np.isnan(columns["lower"]).any()
        and not np.isnan(columns["upper"]).any()
    )


def _blocks(values: Array, counts: Array, axes: list[tuple[Axis, ...]]) -> list[Array]:
    """Each table's part of the flat values, in its shape."""
    blocks = []
    ends = np.cumsum(counts, dtype=np.int64)
    for own, count, end in zip(axes, counts.tolist(), ends.tolist(), strict=True):
        block = values[end - count : end]
        if len(own) != 1:
            block = block.reshape([axis.values.size for axis in own])
        blocks.append(block)
    return blocks


def _per_table_axes(columns: Columns, axes: list[Axis]) -> list[tuple[Axis, ...]]:
    kinds = columns["kind"].tolist()
    return [
        tuple([axes[row] for row in rows[:kind]]) if kind else ()
        for kind, rows in zip(kinds, columns["axes"].tolist(), strict=True)
    ]


def _check_shapes(columns: Columns, ids: list[str], path: Path) -> None:
    rows = columns["axes"]
    used = rows >= 0
    kinds = columns["kind"]
    position = np.arange(rows.shape[1])
    bad = (used != (position < kinds[:, None])).any(axis=1)
    if not bad.any():
        lengths = np.ones(rows.shape, dtype=np.float64)  # float: a product cannot wrap round
        lengths[used] = columns["axis_count"][rows[used]]
        bad = lengths.prod(axis=1) != columns["value_count"]
    if bad.any():
        id = ids[int(np.flatnonzero(bad)[0])]
        raise DamagedFile(path, f"table {id[:200]}", "Its values do not fit its axes.", REMEDY)


def _check_raw(columns: Columns, ids: list[str], path: Path) -> None:
    expected = raw_values(columns)
    found = columns["raw_values"]
    if expected.shape != found.shape:
        raise DamagedFile(
            path,
            "column raw_values",
            f"It has {found.size} entries, not {expected.size}.",
            REMEDY,
        )
    if not np.array_equal(expected, found):
        cell = int(np.flatnonzero(integer_cells(columns))[np.flatnonzero(expected != found)[0]])
        ends = np.cumsum(columns["value_count"], dtype=np.int64)
        row = int(np.searchsorted(ends, cell, side="right"))
        raise DamagedFile(
            path,
            f"table {ids[row][:200]}",
            "Its raw values do not belong to its physical ones.",
            REMEDY,
        )


def _storages(columns: Columns, prefix: str, path: Path) -> list[Storage]:
    parts = ("storage_type", "storage_numerator", "storage_denominator", "storage_offset")
    rows = list(zip(*(columns[f"{prefix}{part}"].tolist() for part in parts), strict=True))
    known: dict[tuple[int, int, int, int], Storage] = {}
    for key in dict.fromkeys(rows):
        try:
            known[key] = Storage(STORAGE_TYPES[key[0]], *key[1:])
        except ModelError as error:
            raise DamagedFile(
                path, f"column {prefix}storage_type", error.problem, error.remedy or REMEDY
            ) from None
    return [known[key] for key in rows]


def _relations(columns: Columns) -> list[Mapping[str, str]]:
    relations: list[Mapping[str, str]] = [NO_RELATIONS] * len(columns["table"])
    own: dict[int, tuple[tuple[str, str], ...]] = {}
    pairs = zip(plain(columns["relation_mode"]), plain(columns["relation_sign"]), strict=True)
    for row, pair in zip(columns["relation_table"].tolist(), pairs, strict=True):
        own[row] = (*own[row], pair) if row in own else (pair,)
    known = {key: MappingProxyType(dict(key)) for key in dict.fromkeys(own.values())}
    for row, key in own.items():
        relations[row] = known[key]
    return relations


def _rules(columns: Columns, ids: list[str], path: Path) -> list[tuple[Rule, ...]]:
    texts = joined(columns["rule_count"], columns["rule_text"])
    rows = columns["rules"].tolist()
    if not texts:
        return [()] * len(rows)

    sets: list[tuple[Rule, ...]] = []
    budget, made = JsonBudget(), 0
    for number, text in enumerate(texts):
        try:
            listed = json_value(text, MAX_TEXT_BYTES, budget)
            if not isinstance(listed, list) or not all(isinstance(r, dict) for r in listed):
                raise ModelError("The rules are not a list.")
            made += len(listed)
            if len(listed) > MOST_RULES_OF_TABLE or made > MOST_RULES:
                raise ModelError(
                    f"There are more than {MOST_RULES_OF_TABLE} rules for a table, or "
                    f"{MOST_RULES} in all."
                )
            sets.append(tuple(rule_from_plain(r) for r in listed))
        except ModelError as error:
            user = ids[rows.index(number)] if number in rows else f"set {number + 1}"
            raise DamagedFile(
                path,
                f"rules of table {user[:200]}",
                error.problem,
                error.remedy or REMEDY,
            ) from None
    return [sets[row] if row >= 0 else () for row in rows]


def _clean(values: Array) -> Array:
    """Return the values read-only, -0 as 0 and every NaN the same, so that equal means equal."""
    clean = values + 0.0
    clean[np.isnan(clean)] = np.nan
    clean.setflags(write=False)
    return clean
