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


def numbers_from_plain(values: Any, shape: tuple[int, ...]) -> FloatArray:
    """Read back what `numbers_to_plain` wrote."""
    try:
        return np.array([float(v) for v in values], dtype=np.float64).reshape(shape)
    except (TypeError, ValueError):
        raise ModelError("A list of numbers is damaged.") from None


def axis_to_plain(axis: Axis) -> dict[str, Any]:
    """Return an axis as plain data."""
    s = axis.storage
    return {
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


def axis_from_plain(plain: Mapping[str, Any]) -> Axis:
    """Read back what `axis_to_plain` wrote."""
    given = dict(plain)
    try:
        return Axis(
            given["values"],
            given["name"],
            given["unit"],
            given["quantity"],
            Interpolation(given["interpolation"]),
            End(given["below"]),
            End(given["above"]),
            Storage(*given["storage"]),
            given["shared"],
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ModelError(f"An axis is damaged: {error}.") from None


def table_to_plain(table: Table) -> dict[str, Any]:
    """Return a table as plain data."""
    s = table.storage
    return {
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


def table_from_plain(plain: Mapping[str, Any]) -> Table:
    """Read back what `table_to_plain` wrote."""
    try:
        given = dict(plain)
        axes = tuple(axis_from_plain(a) for a in given.pop("axes"))
        values = numbers_from_plain(given.pop("values"), tuple(len(a) for a in axes))
        return Table(
            values=values,
            axes=axes,
            storage=Storage(*given.pop("storage")),
            lower=float(given.pop("lower")),
            upper=float(given.pop("upper")),
            rules=tuple(rule_from_plain(r) for r in given.pop("rules")),
            **given,
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ModelError(f"A table is damaged: {error}.") from None
