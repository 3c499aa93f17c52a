"""What a table of the demo scenario is to be: a row of the specification, and its rules."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class R:
    """A rule that a table must state: its kind, and the settings that matter."""

    kind: str
    settings: dict[str, Any]

    def __init__(self, kind: str, **settings: Any) -> None:
        object.__setattr__(self, "kind", kind)
        object.__setattr__(self, "settings", settings)


def up(axis: str) -> R:
    """Rises with an axis, weakly."""
    return R("monotone", axis=axis, direction="up", strict=False, scope=[])


def down(axis: str) -> R:
    """Falls with an axis, weakly."""
    return R("monotone", axis=axis, direction="down", strict=False, scope=[])


@dataclass(frozen=True)
class Row:
    """One table: axes as ``quantity breakpoints...``, an exclamation mark where read in steps."""

    id: str
    name: str
    unit: str
    axes: tuple[str, ...]
    limits: tuple[float, float]
    storage: str
    low_grip: str
    towing: str
    rules: tuple[R, ...] = field(default=())
