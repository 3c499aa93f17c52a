"""Rules from plain data, as files and rule sheets hold them: every setting has its type checked."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import Field, fields
from typing import Any

import numpy as np

from ..errors import ModelError
from .near import nearest
from .rule import KINDS, Range, Rule, Severity
from .rule_settings import settings_of


def rule_from_plain(plain: Mapping[str, Any]) -> Rule:
    """Make a rule from plain data, as `Rule.to_plain` gives it.

    Raises
    ------
    ModelError
        If the kind or a setting is not known or has the wrong type.
    """
    given = dict(plain)
    kind = given.pop("kind", None)
    if not isinstance(kind, str) or kind not in KINDS:
        shown = str(kind)[:60]
        raise ModelError(f"Rule kind {shown!r} is not known.", nearest(shown, KINDS, "kinds"))
    cls = KINDS[kind]
    known = {f.name: f for f in fields(cls)}
    arguments: dict[str, Any] = {}
    for name, value in given.items():
        if name not in known:
            raise ModelError(
                f"Rule {kind!r} has no setting {name!r}.", nearest(name, known, "settings")
            )
        arguments[name] = _from_plain(kind, name, type_text(known[name]), value)
    wanted = [s for s in settings_of(cls) if s.required and s.name not in arguments]
    if wanted:
        raise ModelError(
            f"Rule {kind!r} is incomplete: it has no {' and no '.join(s.name for s in wanted)}.",
            " ".join(f"{s.name}: {s.help}" for s in wanted if s.help),
        )
    return cls(**arguments)


def type_text(entry: Field[Any]) -> str:
    """Return a field's type as text, whether or not its module defers annotations."""
    given = entry.type
    return given.__name__ if isinstance(given, type) else str(given)


_PLAIN_TYPES: dict[str, tuple[type, ...]] = {
    "str": (str,),
    "bool": (bool,),
    "float": (int, float),
    "int": (int,),
}


def _from_plain(kind: str, name: str, type_text: str, value: Any) -> Any:
    try:
        if name == "scope":
            return tuple(_range(part) for part in _listed(value))
        if type_text == "Severity":
            return Severity(value)
        return _typed(type_text, value)
    except (KeyError, TypeError, ValueError, OverflowError):
        shown = str(value) if isinstance(value, str | int | float | bool) else "a list like this"
        raise ModelError(f"Setting {name!r} of rule {kind!r} cannot be {shown[:60]}.") from None


def _typed(type_text: str, value: Any) -> Any:
    """Return a plain value as a type says, or raise TypeError, ValueError or OverflowError."""
    if type_text.startswith("tuple["):
        inner = type_text.removeprefix("tuple[").removesuffix("]").removesuffix(", ...")
        return tuple(_typed(inner, part) for part in _listed(value))
    allowed = _PLAIN_TYPES.get(type_text)
    if allowed is None:
        return value
    if not isinstance(value, allowed) or (isinstance(value, bool) and bool not in allowed):
        raise TypeError
    if isinstance(value, str):
        value.encode()  # half of a character can be neither shown nor kept
    return _number(value) if type_text == "float" else value


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise TypeError
    number = float(value)
    if number != number:  # a limit that is no number would never be missed: not a rule at all
        raise ValueError
    return number


def _listed(value: Any) -> Iterable[Any]:
    if not isinstance(value, list | tuple):
        raise TypeError
    return value


def _range(part: Any) -> Range:
    if not isinstance(part, Mapping) or not set(part) <= {"axis", "low", "high"}:
        raise TypeError
    axis = part["axis"]
    if not isinstance(axis, str):
        raise TypeError
    return Range(axis, _number(part.get("low", -np.inf)), _number(part.get("high", np.inf)))
