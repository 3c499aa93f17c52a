"""What a table says besides its numbers, as plain texts: for spreadsheets and NetCDF, and back.

A text is left empty where a table has what every table has by default.  Storage is ``TYPE
NUMERATOR/DENOMINATOR OFFSET`` as in canonical text; ``uint16 0.5`` and ``uint8 1/250`` are read
too.  Relations, rules and labels are JSON (`calib_model.store.jsontext`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from ..core.axis import Axis, End, Interpolation
from ..core.canonical import storage_text
from ..core.labels import Labels
from ..core.numbers import exact
from ..core.rule import Rule
from ..core.rule_plain import rule_from_plain
from ..core.storage import FLOAT64, Storage
from ..core.table import Table
from ..errors import ModelError
from ..rules import shape as _kinds  # noqa: F401  # makes the kinds of rule known
from ..store.jsontext import JsonBudget, json_text, json_value

OF_A_TABLE = (
    "name", "function", "description", "lower", "upper", "storage", "role", "relations", "rules",
    "labels",
)  # fmt: skip
OF_AN_AXIS = ("name", "quantity", "interpolation", "below", "above", "storage", "shared", "labels")
MAX_TEXT = 4 << 20
_EXACT_STORAGE = re.compile(r"([a-z0-9]+) ([0-9]{1,19})/([0-9]{1,19}) (-?[0-9]{1,19})")
_SHORT_STORAGE = re.compile(
    r"([a-z0-9]+)(?: ([0-9./]{1,30}))?(?: (?:from|offset) (-?[0-9./]{1,30}))?"
)


def table_texts(table: Table) -> dict[str, str]:
    """Return what a table says besides its numbers; see the names in `OF_A_TABLE`."""
    return {
        "name": table.name,
        "function": table.function,
        "description": table.description,
        "lower": "" if table.lower == -math.inf else exact(table.lower),
        "upper": "" if table.upper == math.inf else exact(table.upper),
        "storage": _storage(table.storage),
        "role": table.role,
        "relations": json_text(dict(table.relations)) if table.relations else "",
        "rules": json_text([rule.to_plain() for rule in table.rules]) if table.rules else "",
        "labels": _labels_text(table.labels),
    }


def axis_texts(axis: Axis) -> dict[str, str]:
    """Return what an axis says besides its numbers; see the names in `OF_AN_AXIS`."""
    return {
        "name": axis.name,
        "quantity": axis.quantity,
        "interpolation": "" if axis.interpolation == "linear" else str(axis.interpolation),
        "below": "" if axis.below == "held" else str(axis.below),
        "above": "" if axis.above == "held" else str(axis.above),
        "storage": _storage(axis.storage),
        "shared": axis.shared,
        "labels": _labels_text(axis.labels),
    }


def table_settings(texts: Mapping[str, str], budget: JsonBudget | None = None) -> dict[str, Any]:
    """Return the arguments of a `Table` that some of `table_texts` stand for.

    Raises
    ------
    ModelError
        Naming the text that is none of its kind.
    """
    found: dict[str, Any] = {}
    for key, text in texts.items():
        if not text:
            continue
        if key in ("name", "function", "description", "role"):
            found[key] = text
        elif key in ("lower", "upper"):
            found[key] = _number(key, text)
        elif key == "storage":
            found[key] = storage_of(text)
        elif key == "relations":
            found[key] = _relations(json_value(text, MAX_TEXT, budget))
        elif key == "rules":
            found[key] = _rules(json_value(text, MAX_TEXT, budget))
        elif key == "labels":
            found[key] = _labels(text)
    return found


def axis_settings(texts: Mapping[str, str]) -> dict[str, Any]:
    """Return the arguments of an `Axis` that some of `axis_texts` stand for.

    Raises
    ------
    ModelError
        Naming the text that is none of its kind.
    """
    found: dict[str, Any] = {}
    for key, text in texts.items():
        if not text:
            continue
        try:
            if key in ("name", "quantity", "shared"):
                found[key] = text
            elif key == "interpolation":
                found[key] = Interpolation(text)
            elif key in ("below", "above"):
                found[key] = End(text)
            elif key == "storage":
                found[key] = storage_of(text)
            elif key == "labels":
                found[key] = _labels(text)
        except ValueError:
            kinds = Interpolation if key == "interpolation" else End
            raise ModelError(
                f"{text[:40]!r} is no way that an axis is read.", f"Use {' or '.join(kinds)}."
            ) from None
    return found


def storage_of(text: str) -> Storage:
    """Return the storage that a text stands for.

    Parameters
    ----------
    text : str
        ``uint16 1/2 0`` as `table_texts` has it (type, step as numerator/denominator, offset in
        units of 1/denominator); or ``float32``, ``uint16 0.5``, ``uint8 1 from -40``.

    Raises
    ------
    ModelError
        If it is none.

    Examples
    --------
    >>> str(storage_of("uint16 0.5"))
    'uint16, step 0.5'
    >>> storage_of("uint16 1/2 0") == storage_of("uint16 0.5")
    True
    """
    plain = " ".join(text.replace(",", " ").replace(" step ", " ").split())
    found = _EXACT_STORAGE.fullmatch(plain)
    if found:
        return Storage(found[1], int(found[2]), int(found[3]), int(found[4]))
    found = _SHORT_STORAGE.fullmatch(plain)
    if not found:
        raise ModelError(
            f"{text[:60]!r} is no storage.", "Write it as uint16 0.5, uint8 1 from -40 or float32."
        )
    return Storage.of(found[1], found[2] or 1, found[3] or 0)


def _storage(storage: Storage) -> str:
    return "" if storage == FLOAT64 else storage_text(storage)


def _labels_text(labels: Labels) -> str:
    return json_text([[number, text] for number, text in labels.pairs]) if labels else ""


def _labels(text: str) -> Labels:
    if not text.lstrip().startswith("["):
        return Labels.of(text)
    pairs = json_value(text, MAX_TEXT)
    try:
        return Labels(tuple((float(number), _plain_text(name)) for number, name in pairs))
    except (TypeError, ValueError, OverflowError):
        raise ModelError("The labels are no numbers with a name each.", "Mend them.") from None


def _plain_text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _number(key: str, text: str) -> float:
    try:
        if "_" not in text:
            return float(text)
    except ValueError:
        pass
    raise ModelError(f"The limit {key} is {text[:40]!r}, which is no number.", "Mend it.")


def _relations(plain: Any) -> dict[str, str]:
    if isinstance(plain, dict) and all(isinstance(sense, str) for sense in plain.values()):
        return plain
    raise ModelError("The relations are no modes with a relation each.", 'Write {"wet": ">="}.')


def _rules(plain: Any) -> tuple[Rule, ...]:
    if not isinstance(plain, list) or not all(isinstance(rule, dict) for rule in plain):
        raise ModelError("The rules are no list.", "Export the set again.")
    try:
        return tuple(rule_from_plain(rule) for rule in plain)
    except (RecursionError, OverflowError, TypeError, ValueError):
        raise ModelError("A rule is not what it should be.", "Export the set again.") from None
