"""A shaping tool's options on the command line, from its description."""

from __future__ import annotations

import argparse
from argparse import ArgumentTypeError
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from app.cli.proposals import table_of
from calib_model.core.numbers import exact
from calib_model.core.rule import find_axis
from calib_model.errors import EditRefused
from calib_model.shaping.options import LISTS

if TYPE_CHECKING:
    from app.cli.parser import VerbParser
    from calib_model.core.calibration_set import CalibrationSet
    from calib_model.core.table import Table
    from calib_model.shaping.options import Option
    from calib_model.shaping.tools import ToolDescription

METAVARS = {
    "number": "X", "whole": "N", "text": "TEXT", "axis": "AXIS", "axes": "AXIS", "table": "TABLE",
    "tables": "TABLE", "names": "NAME",
}  # fmt: skip
_UNITS = {"value": "in the table's unit", "axis": "in the axis's unit"}


def add_options(made: VerbParser, tool: ToolDescription, *, without: tuple[str, ...] = ()) -> None:
    """Add the options of a tool; those in `without` are the verb's own matter."""
    for option in tool.options:
        if option.name in without:
            continue
        add_option(made, option)


def add_option(made: VerbParser, option: Option, **further: Any) -> None:
    """Add one option; what is given besides counts in place of what follows from it."""
    names = [f"--{option.off or option.name.replace('_', '-')}"]
    names += [f"--{spelling}" for spelling in option.spellings]
    how: dict[str, Any] = {"dest": option.name, "default": option.default, "help": _help(option)}
    match option.kind:
        case "flag":
            how["action"] = "store_false" if option.off else "store_true"
        case "axes" | "tables" | "names":
            how |= {"action": "append", "default": [], "metavar": METAVARS[option.kind]}
        case "numbers" if option.size:
            how |= {"nargs": option.size, "type": float, "metavar": ("LOW", "HIGH")}
        case "numbers":
            how |= {"type": _numbers, "metavar": "X,..."}
        case "choice":
            words = [str(value).replace(" ", "-") for value, _ in option.choices]
            how |= {"type": _choice(option), "metavar": "{" + ",".join(words) + "}"}
            how["metavar"] = how["metavar"][:-1] + ",X}" if option.or_number else how["metavar"]
        case "axis":
            how |= {"default": None, "metavar": METAVARS["axis"]}
        case "number" | "whole":
            how |= {"type": _number(option), "metavar": METAVARS[option.kind]}
        case _:
            how["metavar"] = METAVARS[option.kind]
    made.add_argument(*names, **(how | further))


def values(
    tool: ToolDescription, given: argparse.Namespace, content: CalibrationSet, table: Table
) -> dict[str, Any]:
    """Return what was given for a tool's options, as its function takes it."""
    found: dict[str, Any] = {}
    for option in tool.options:
        value = getattr(given, option.name, option.default)
        match option.kind:
            case "axis" if value is not None:
                value = find_axis(table, value)
            case "axis":
                value = option.default
            case "axes" if isinstance(value, list):
                value = tuple(find_axis(table, name) for name in value) or option.default
            case "table" if value:
                value = table_of(content, given.set, value).id
            case "tables":
                value = tuple(table_of(content, given.set, id).id for id in value)
            case "names":
                value = tuple(value)
            case "numbers" if value is not None:
                value = tuple(value)
        found[option.name] = value
    return found


def _help(option: Option) -> str:
    """Return the help of an option, with its choices, unit, bounds and default."""
    parts = [f"do not {option.help}" if option.off else option.help]
    if option.kind in ("axis", "axes"):
        parts.append("by quantity, name or number")
    if option.kind == "choice":
        named = [f"{str(v).replace(' ', '-')} ({w.lower()})" for v, w in option.choices]
        parts.append(", ".join(named))
    if option.unit and option.kind != "text":
        parts.append(_UNITS.get(option.unit, f"in {option.unit}"))
    if option.bounds:
        parts.append(f"a number of {option.bounds}" if option.or_number else option.bounds)
    if option.kind in LISTS:
        parts.append("may be given several times")
    if option.default and option.kind not in ("flag", "axis") and option.kind not in LISTS:
        default = option.default
        parts.append(f"{exact(default) if isinstance(default, float) else default} by default")
    return "; ".join(parts).replace("%", "%%")


def _number(option: Option) -> Callable[[str], float]:
    def read(text: str) -> float:
        try:
            return option.check(float(text))
        except ValueError:
            raise ArgumentTypeError(f"{text!r} is not understood") from None
        except EditRefused as refused:
            raise ArgumentTypeError(f"{text!r} is not understood. {refused.remedy}"[:-1]) from None

    return read


def _choice(option: Option) -> Callable[[str], Any]:
    by_word = {str(value).replace(" ", "-"): value for value, _ in option.choices}

    def read(text: str) -> Any:
        if text in by_word or text == option.default:
            return by_word.get(text, text)
        if option.or_number:
            try:
                return option.check(float(text))
            except (ValueError, EditRefused):
                pass
        number = f" or a number of {option.bounds}" if option.or_number else ""
        raise ArgumentTypeError(
            f"{text!r} is not understood. Give {', '.join(by_word)}{number}"
        )  # the parser adds the full stop

    return read


def _numbers(text: str) -> list[float]:
    try:
        found = [float(word) for word in text.replace(",", " ").split()]
    except ValueError:
        found = []
    if not found:
        raise ArgumentTypeError(
            f"{text!r} is not understood. Write numbers with a point: 0,12.5,40"
        )
    return found
