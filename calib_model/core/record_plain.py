"""A record as plain data, as files and the journal keep it, and back."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from enum import StrEnum
from typing import Any

from ..errors import ModelError
from .numbers import one_form
from .record import EMPTY_RECORD, Record
from .record_items import (
    FIELD_OF,
    Complaint,
    Decision,
    Drive,
    Item,
    Level,
    Maturity,
    Outcome,
    Remark,
    SignOff,
    Standing,
    Trial,
    Waiver,
)

_CLASSES: dict[str, type[Item]] = {
    cls.KIND: cls for cls in (Remark, Waiver, Decision, Maturity, Trial, Complaint, Drive, SignOff)
}


def rule_text(plain: Mapping[str, Any]) -> str:
    """Return a rule's plain form as one text, the same for equal settings.

    Parameters
    ----------
    plain : mapping
        As `calib_model.core.rule.Rule.to_plain` gives it.
    """
    return json.dumps(_one_form(plain), ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def _one_form(value: Any) -> Any:
    """Return plain data in which 1 and 1.0 are one, and no number is infinite."""
    if isinstance(value, Mapping):
        return {str(key): _one_form(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_one_form(part) for part in value]
    if isinstance(value, bool) or not isinstance(value, int | float):
        return value
    return one_form(value)


def item_to_plain(item: Item) -> dict[str, Any]:
    """Return an item as plain data, empty fields left out."""
    plain: dict[str, Any] = {}
    for entry in fields(item):
        value = getattr(item, entry.name)
        if entry.name == "id" or value != entry.default:
            plain[entry.name] = _plain(value)
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, StrEnum):
        return str(value)
    return [_plain(part) for part in value] if isinstance(value, tuple) else value


def item_from_plain(kind: str, plain: Mapping[str, Any]) -> Item:
    """Read back what `item_to_plain` gave.

    Raises
    ------
    ModelError
        If the kind is not known, or a field is unknown, missing or of another type.
    """
    cls = _CLASSES.get(kind)
    if cls is None:
        raise ModelError(f"A record of kind {kind!r} is not known.")
    known = {entry.name: entry for entry in fields(cls)}
    if "id" not in plain or not set(plain) <= set(known):
        raise ModelError(f"A {kind} in the record is damaged.")
    given = {name: _read(kind, str(known[name].type), value) for name, value in plain.items()}
    return cls(**given)


def _read(kind: str, type_text: str, value: Any) -> Any:
    try:
        if type_text == "Outcome":
            return Outcome(value)
        if type_text == "Level":
            return Level(value)
        if type_text == "Standing":
            return Standing(value)
        if type_text == "float":
            return _number(value)
        if type_text == "Places":
            return tuple(tuple(_number(x) for x in place) for place in _listed(value))
        if type_text.startswith("tuple"):
            return tuple(_string(text) for text in _listed(value))
        return _string(value)
    except (TypeError, ValueError, OverflowError):  # the last: a whole number beyond all floats
        raise ModelError(f"A {kind} in the record is damaged.") from None


def _listed(value: Any) -> Sequence[Any]:
    if not isinstance(value, list | tuple):
        raise TypeError
    return value


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise TypeError
    return float(value) + 0.0


def _string(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError
    value.encode()  # half of a character can be neither shown nor kept
    return value


def record_to_plain(record: Record) -> list[tuple[str, dict[str, Any]]]:
    """Return the items as (kind, plain data), as files keep them."""
    return [(item.KIND, item_to_plain(item)) for item in record.items]


def record_from_plain(
    listed: Iterable[tuple[str, Mapping[str, Any]]],
) -> tuple[Record, tuple[tuple[str, Mapping[str, Any]], ...]]:
    """Read back what `record_to_plain` gave.

    Returns
    -------
    Record
    tuple of (kind, plain data)
        What this version does not know or cannot read, and items of one id that say different
        things, none of which counts; to be kept as it is.
    """
    read: list[tuple[str, Mapping[str, Any], Item | None]] = []
    said: dict[tuple[str, str], set[Item]] = {}
    for kind, plain in listed:
        try:
            item = item_from_plain(kind, plain)
        except ModelError:
            read.append((kind, plain, None))
            continue
        read.append((kind, plain, item))
        said.setdefault((kind, item.id), set()).add(item)
    found: dict[str, dict[str, Item]] = {name: {} for name in FIELD_OF.values()}
    unknown = []
    for kind, plain, one in read:
        # The first of two would be a matter of their order, which nobody signs.
        if one is None or len(said[kind, one.id]) > 1:
            unknown.append((kind, plain))
        else:
            found[FIELD_OF[kind]][one.id] = one
    record = Record(**{name: tuple(items.values()) for name, items in found.items()})  # type: ignore[arg-type]
    return (record if record else EMPTY_RECORD), tuple(unknown)
