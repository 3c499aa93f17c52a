"""A calibration set as columns."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.labels import Labels
from ..core.rule import Rule
from ..core.storage import Storage
from ..core.table import Table
from ..errors import ModelError
from .jsontext import json_text
from .layout import (
    ENDS,
    FORMAT_VERSION,
    INTERPOLATIONS,
    KINDS_OF_2,
    MAX_ATTRIBUTE_BYTES,
    MAX_RECORD_BYTES,
    MAX_TEXT_BYTES,
    NEWER_WORDS,
    OLDEST,
    POSITIONS,
    SCHEMA,
    STORAGE_TYPES,
    TEXT_ATTRIBUTES,
)
from .raw import raw_values
from .structure import Attributes, Columns, Neutral
from .texts import encoded, fixed, in_pieces

_TYPE_CODE = {name: code for code, name in enumerate(STORAGE_TYPES)}
_INTERPOLATION_CODE = {name: code for code, name in enumerate(INTERPOLATIONS)}
_END_CODE = {name: code for code, name in enumerate(ENDS)}


def encode(
    content: CalibrationSet,
    history: Mapping[str, Any],
    records: Sequence[tuple[str, Mapping[str, Any]]] = (),
) -> Neutral:
    """Return the columns and attributes of a set.

    Parameters
    ----------
    content : CalibrationSet
    history : mapping of name to array
        History columns, see `HistoryColumns.columns`.
    records : sequence of (kind, plain data)
        Remarks, waivers, decisions and sign-offs.

    Raises
    ------
    ModelError
        If a text is too long or a storage conversion too large to be kept.
    """
    tables = list(content)
    columns = _tables(tables)
    axes, rows = _axis_rows(tables, content.shared_axes.values())
    columns["axes"] = rows[: len(tables)]
    columns["shared_axes"] = np.ascontiguousarray(rows[len(tables) :, 0])
    columns |= _axes(axes)
    columns |= _relations(tables)
    columns |= _rules(tables)
    labels = _labels(tables, axes)
    columns["raw_values"] = raw_values(columns)
    columns |= history
    if records:
        columns |= _records(records)
    version = OLDEST
    newer = _newer_rules(tables) or _tells_of_newer(history)
    if labels["label_count"].size or newer:
        # Only then, so that a team with an older program among its own shares every other set.
        version = FORMAT_VERSION
        columns |= labels
    return Neutral(columns, _attributes(content, version))


def _attributes(content: CalibrationSet, version: int) -> Attributes:
    attributes: Attributes = {
        "format_version": version,
        "min_reader_version": version,
        "rule_schema": SCHEMA,
        "history_schema": SCHEMA,
    }
    for name, text in content.about().items():
        encoded(text, MAX_ATTRIBUTE_BYTES, lambda n=name: f"The set's {n}")  # type: ignore[misc]
        attributes[name] = text
    assert set(TEXT_ATTRIBUTES) <= attributes.keys()
    return attributes


def _tables(tables: list[Table]) -> Columns:
    def where(what: str) -> Callable[[int], str]:
        return lambda row: f"The {what} of table {tables[row].id}"

    counts, pieces = in_pieces(
        [t.description for t in tables], MAX_ATTRIBUTE_BYTES, where("description")
    )
    flat = [t.values.reshape(-1) for t in tables]
    return {
        "table": fixed((t.id for t in tables), where("id")),
        "name": fixed((t.name for t in tables), where("name")),
        "function": fixed((t.function for t in tables), where("function group")),
        "unit": fixed((t.unit for t in tables), where("unit")),
        "role": fixed((t.role for t in tables), where("role")),
        "kind": np.array([len(t.axes) for t in tables], dtype="|i1"),
        "lower": np.array([t.lower for t in tables], dtype="<f8"),
        "upper": np.array([t.upper for t in tables], dtype="<f8"),
        **_storages("", [t.storage for t in tables], where("storage")),
        "value_count": np.array([v.size for v in flat], dtype="<i4"),
        "description_count": counts,
        "description_text": pieces,
        "values": _values(flat),
    }


def _values(flat: list[FloatArray]) -> FloatArray:
    values = np.concatenate(flat) if flat else np.empty(0)
    values[np.isnan(values)] = np.nan  # any NaN is the same content, whatever its bits
    return values


def _storages(prefix: str, storages: list[Storage], where: Callable[[int], str]) -> Columns:
    try:
        return {
            f"{prefix}storage_type": np.array([_TYPE_CODE[s.type] for s in storages], dtype="|i1"),
            f"{prefix}storage_numerator": np.array([s.numerator for s in storages], dtype="<i8"),
            f"{prefix}storage_denominator": np.array(
                [s.denominator for s in storages], dtype="<i8"
            ),
            f"{prefix}storage_offset": np.array([s.offset for s in storages], dtype="<i8"),
        }
    except OverflowError:
        top = 2**63 - 1
        row = next(
            i
            for i, s in enumerate(storages)
            if max(s.numerator, s.denominator, abs(s.offset)) > top
        )
        raise ModelError(
            f"{where(row)} has a conversion too large for a file.", "Write it as a short decimal."
        ) from None


def _axis_rows(tables: list[Table], shared: Iterable[Axis]) -> tuple[list[Axis], Any]:
    """Return the different axes, and which of them each table (then each shared axis) has."""
    axes: list[Axis] = []
    by_object: dict[int, int] = {}
    by_value: dict[Axis, int] = {}
    owners = [t.axes for t in tables] + [(a,) for a in shared]
    rows: list[int] = []
    for owned in owners:
        for axis in owned:
            row = by_object.get(id(axis))
            if row is None:
                row = by_value.get(axis)
                if row is None:
                    row = by_value[axis] = len(axes)
                    axes.append(axis)
                by_object[id(axis)] = row
            rows.append(row)
        rows += (-1,) * (POSITIONS - len(owned))
    return axes, np.array(rows, dtype="<i4").reshape(-1, POSITIONS)


def _axes(axes: list[Axis]) -> Columns:
    def where(what: str) -> Callable[[int], str]:
        return lambda row: f"The {what} of axis {axes[row].label}"

    return {
        "axis_name": fixed((a.name for a in axes), where("name")),
        "axis_unit": fixed((a.unit for a in axes), where("unit")),
        "axis_quantity": fixed((a.quantity for a in axes), where("input quantity")),
        "axis_shared": fixed((a.shared for a in axes), where("shared id")),
        "axis_interpolation": np.array(
            [_INTERPOLATION_CODE[a.interpolation] for a in axes], dtype="|i1"
        ),
        "axis_below": np.array([_END_CODE[a.below] for a in axes], dtype="|i1"),
        "axis_above": np.array([_END_CODE[a.above] for a in axes], dtype="|i1"),
        **_storages("axis_", [a.storage for a in axes], where("storage")),
        "axis_count": np.array([a.values.size for a in axes], dtype="<i4"),
        "axis_values": np.concatenate([a.values for a in axes]) if axes else np.empty(0),
    }


def _relations(tables: list[Table]) -> Columns:
    rows = [
        (row, mode, sign)
        for row, t in enumerate(tables)
        if t.relations
        for mode, sign in t.relations.items()
    ]

    def where(number: int) -> str:
        return f"A mode relation of table {tables[rows[number][0]].id}"

    return {
        "relation_table": np.array([r[0] for r in rows], dtype="<i4"),
        "relation_mode": fixed((r[1] for r in rows), where),
        "relation_sign": fixed((r[2] for r in rows), where),
    }


def _rules(tables: list[Table]) -> Columns:
    texts: list[str] = []
    users: list[str] = []
    by_value: dict[tuple[Rule, ...], int] = {}
    rows: list[int] = []
    for table in tables:
        if not table.rules:
            rows.append(-1)
            continue
        row = by_value.get(table.rules)
        if row is None:
            row = by_value[table.rules] = len(texts)
            texts.append(json_text([rule.to_plain() for rule in table.rules]))
            users.append(table.id)
        rows.append(row)
    counts, pieces = in_pieces(texts, MAX_TEXT_BYTES, lambda n: f"The rules of table {users[n]}")
    return {
        "rules": np.array(rows, dtype="<i4"),
        "rule_count": counts,
        "rule_text": pieces,
    }


def _labels(tables: list[Table], axes: list[Axis]) -> Columns:
    sets: dict[Labels, int] = {}

    def row(labels: Labels) -> int:
        return sets.setdefault(labels, len(sets)) if labels else -1

    columns: Columns = {
        "labels": np.array([row(t.labels) for t in tables], dtype="<i4"),
        "axis_labels": np.array([row(a.labels) for a in axes], dtype="<i4"),
    }
    pairs = [pair for labels in sets for pair in labels.pairs]
    return columns | {
        "label_count": np.array([len(labels) for labels in sets], dtype="<i4"),
        "label_value": np.array([number for number, _ in pairs], dtype="<f8"),
        "label_name": fixed((text for _, text in pairs), lambda n: f"Label {pairs[n][1]}"),
    }


def _newer_rules(tables: list[Table]) -> bool:
    """Whether a rule says what version 1 had no word for."""
    told = {id(table.rules): table.rules for table in tables}
    return any(rule.off or rule.kind in KINDS_OF_2 for rules in told.values() for rule in rules)


def _tells_of_newer(history: Mapping[str, Any]) -> bool:
    """Whether an edit of the history holds what an older program could not show."""
    pieces = history.get("edit_text")
    if pieces is None:
        return False
    text = pieces.tobytes().replace(b"\0", b"")
    return any(word in text for word in NEWER_WORDS)


def _records(records: Sequence[tuple[str, Mapping[str, Any]]]) -> Columns:
    counts, pieces = in_pieces(
        [json_text(plain) for _, plain in records], MAX_RECORD_BYTES, lambda n: f"Record {n + 1}"
    )
    return {
        "record_kind": fixed((kind for kind, _ in records), lambda n: f"Kind of record {n + 1}"),
        "record_count": counts,
        "record_text": pieces,
    }
