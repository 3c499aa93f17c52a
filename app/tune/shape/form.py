"""Fields of a form from the descriptions of the shaping tools."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from calib_model.core.units import shown

from .fields import Field

if TYPE_CHECKING:
    from calib_model.shaping.options import Option
    from calib_model.shaping.tools import ToolDescription

    from .tool import Asking

_LETTERS = {
    "Strength": "g", "Along": "l", "Axis": "x", "Number": "n", "Values may move": "y", "From": "m",
    "Breakpoints": "b", "Values": "u", "Into": "i", "Plateaus": "l", "Branches": "b",
    "Outliers": "l", "No data": "n",
}  # fmt: skip
"""The letter that leads to a field; each is its own within a tool, and none is a menu's."""
_KINDS = {"flag": "check", "whole": "number", "axis": "choice", "table": "choice"}


def axis_chosen(asking: Asking) -> int:
    """Return the number of the axis that is chosen by now."""
    return min(int(asking.entered.get("axis") or 0), max(len(asking.table.axes) - 1, 0))


def fields(tool: ToolDescription, asking: Asking, *names: str) -> tuple[Field, ...]:
    """Return the fields of options by name; none for an axis where there is no choice."""
    many = len(asking.table.axes) > 1
    return tuple(field(tool[name], asking) for name in names if name != "axis" or many)


def field(option: Option, asking: Asking, **further: Any) -> Field:
    """Return the field of an option; what is given besides counts in place of what follows."""
    table = asking.table
    unit = option.unit
    if unit == "value":
        unit = table.unit
    elif unit == "axis":
        unit = table.axes[axis_chosen(asking)].unit if table.axes else ""
    options = option.choices
    default = option.default
    if option.kind == "axis":
        options = tuple((n, axis.label) for n, axis in enumerate(table.axes))
    elif option.kind == "table":
        options = (("", "None"), *((t.id, t.label) for t in asking.content if t.id != table.id))
    elif option.kind == "choice" and default not in [value for value, _ in options]:
        options = ((default, "All"), *options)
    how: dict[str, Any] = {
        "key": option.name,
        "label": f"{_lettered(option)} [{shown(unit)}]" if shown(unit) else _lettered(option),
        "kind": _KINDS.get(option.kind, option.kind),
        "tip": f"{option.help[:1].upper()}{option.help[1:]}.",
        "options": options,
        "default": default,
        "option": option,
    }
    return Field(**(how | further))


def _lettered(option: Option) -> str:
    letter = _LETTERS.get(option.label, "")
    place = option.label.lower().find(letter) if letter else -1
    return option.label if place < 0 else f"{option.label[:place]}&{option.label[place:]}"
