"""Tables and axes as plain data (dicts, lists, strings, numbers), for journal and history.

Numbers that JSON cannot hold are written as the texts ``nan``, ``inf`` and ``-inf``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from ..errors import ModelError
from .arrays import FloatArray
from .axis import Axis, End, Interpolation
from .labels import NO_LABELS, Labels
from .rule_plain import rule_from_plain
from .storage import Storage
from .table import Table


def number_to_plain(value: float) -> float | str:
    """Return a number, or its text where JSON has none."""
    return value if math.isfinite(value) else repr(float(value))


def numbers_to_plain(values: FloatArray) -> list[float | str]:
    """Return a flat list of numbers, see `number_to_plain`."""
    flat = values.reshape(-1)
    if np.isfinite(flat).all():
        return list(flat.tolist())
    return [number_to_plain(v) for v in flat.tolist()]


def text_from_plain(value: Any) -> str:
    """Return a text; TypeError if it is none, ValueError if it holds half of a character."""
    if not isinstance(value, str):
        raise TypeError("not a text")
    if not value.isascii():
        value.encode()
    return value


def _storage_from_plain(plain: Any) -> Storage:
    kind, *numbers = plain
    if [type(n) for n in numbers] != [int] * 3 or any(abs(n) >= 1 << 63 for n in numbers):
        raise TypeError("not a storage")
    return Storage(text_from_plain(kind), *numbers)


def numbers_from_plain(values: Any, shape: tuple[int, ...]) -> FloatArray:
    """Read back what `numbers_to_plain` wrote."""
    try:
        return np.array([float(v) for v in values], dtype=np.float64).reshape(shape)
    except (TypeError, ValueError, OverflowError):
        raise ModelError("A list of numbers is damaged.") from None


def _with_labels(plain: dict[str, Any], labels: Labels) -> dict[str, Any]:
    """Add labels only where there are any, so that older programs read what has none."""
    if labels:
        plain["labels"] = [list(pair) for pair in labels.pairs]
    return plain


def _labels_from_plain(plain: Any) -> Labels:
    pairs = tuple((float(number), text_from_plain(text)) for number, text in plain)
    return Labels(pairs) if pairs else NO_LABELS


def axis_to_plain(axis: Axis) -> dict[str, Any]:
    """Return an axis as plain data."""
    s = axis.storage
    plain = {
        "values": axis.values.tolist(),
        "name": axis.name,
        "unit": axis.unit,
        "quantity": axis.quantity,
        "interpolation": str(axis.interpolation),
        "below": str(axis.below),
        "above": str(axis.above),
        "storage": [s.type, s.numerator, s.denominator, s.offset],
        "shared": axis.shared,
    }
    return _with_labels(plain, axis.labels)


def axis_from_plain(plain: Mapping[str, Any]) -> Axis:
    """Read back what `axis_to_plain` wrote."""
    given = dict(plain)
    try:
        return Axis(
            given["values"],
            text_from_plain(given["name"]),
            text_from_plain(given["unit"]),
            text_from_plain(given["quantity"]),
            Interpolation(given["interpolation"]),
            End(given["below"]),
            End(given["above"]),
            _storage_from_plain(given["storage"]),
            text_from_plain(given["shared"]),
            _labels_from_plain(given.get("labels", ())),
        )
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise ModelError(f"An axis is damaged: {error}.") from None


def table_to_plain(table: Table) -> dict[str, Any]:
    """Return a table as plain data."""
    s = table.storage
    plain = {
        "id": table.id,
        "values": numbers_to_plain(table.values),
        "axes": [axis_to_plain(a) for a in table.axes],
        "name": table.name,
        "unit": table.unit,
        "function": table.function,
        "description": table.description,
        "lower": number_to_plain(table.lower),
        "upper": number_to_plain(table.upper),
        "storage": [s.type, s.numerator, s.denominator, s.offset],
        "role": table.role,
        "relations": dict(table.relations),
        "rules": [rule.to_plain() for rule in table.rules],
    }
    return _with_labels(plain, table.labels)


def table_from_plain(plain: Mapping[str, Any]) -> Table:
    """Read back what `table_to_plain` wrote."""
    try:
        given = dict(plain)
        axes = tuple(axis_from_plain(a) for a in given.pop("axes"))
        values = numbers_from_plain(given.pop("values"), tuple(len(a) for a in axes))
        relations = dict(given.pop("relations"))
        texts = {key: text_from_plain(value) for key, value in relations.items()}
        return Table(
            values=values,
            axes=axes,
            storage=_storage_from_plain(given.pop("storage")),
            relations={text_from_plain(key): value for key, value in texts.items()},
            lower=float(given.pop("lower")),
            upper=float(given.pop("upper")),
            rules=tuple(rule_from_plain(r) for r in given.pop("rules")),
            labels=_labels_from_plain(given.pop("labels", ())),
            **{key: text_from_plain(value) for key, value in given.items()},
        )
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise ModelError(f"A table is damaged: {error}.") from None
