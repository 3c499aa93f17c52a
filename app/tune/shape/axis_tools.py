"""Shaping tools for axes: place breakpoints, move to other breakpoints, turn a table round."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from calib_model.core.numbers import exact
from calib_model.core.table import Table
from calib_model.core.typed_number import parse_number
from calib_model.core.units import shown
from calib_model.errors import BitepointError, EditRefused

from .fields import Field
from .tool import Asking, Question, Tool, needs_axes

if TYPE_CHECKING:
    from calib_model.shaping import Proposal


def _axis_field(table: Table) -> tuple[Field, ...]:
    if len(table.axes) < 2:
        return ()
    options = tuple((n, axis.label) for n, axis in enumerate(table.axes))
    return (Field("axis", "A&xis", "choice", "Which axis to change.", options),)


def _detach_field(asking: Asking) -> tuple[Field, ...]:
    number = min(int(asking.entered.get("axis") or 0), len(asking.table.axes) - 1)
    shared = asking.table.axes[number].shared
    if not shared:
        return ()
    users = len(asking.content.users_of(shared))
    options = ((False, f"All {users} tables that share it"), (True, "This table only"))
    return (Field("detach", "For", "choice", "The axis is shared.", options),)


def _positive(settings: dict[str, Any], key: str, words: str) -> float:
    value = settings.get(key)
    if value is None or not value > 0:
        raise EditRefused(f"{words} must be a number above zero.")
    return float(value)


# -- best breakpoints ----------------------------------------------------------------------


def _place_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    number = min(int(asking.entered.get("axis") or 0), max(len(table.axes) - 1, 0))
    count = len(table.axes[number]) if table.axes else 2
    unit, x_unit = shown(table.unit), shown(table.axes[number].unit) if table.axes else ""
    return (
        *_axis_field(table),
        Field("goal", "&Goal", "choice", "What is asked for.",
              (("count", "The best of so many"), ("tolerance", "The fewest for an error"))),
        Field("count", "&Number", "number", "How many breakpoints.", default=float(count),
              when=lambda v: v.get("goal") == "count"),
        Field("measure", "Errors", "choice", "What an error counts in.",
              (("unit", f"In {unit.strip('[]') or 'the unit'}"), ("value", "In % of the value"))),
        Field("tolerance", f"Error {unit}".strip(), "number",
              "Largest difference from the table as it is.",
              when=lambda v: v.get("goal") == "tolerance" and v.get("measure") == "unit"),
        Field("percent", "Error [%]", "number",
              "Largest difference from the table as it is, in % of the value; values below a "
              "hundredth of the largest count as that.",
              when=lambda v: v.get("goal") == "tolerance" and v.get("measure") == "value"),
        Field("step", f"Raster {x_unit}".strip(), "number",
              "Breakpoints are to be multiples of it; empty for any that can be stored."),
        Field("free", "Values ma&y move", "check",
              "Values may leave the present curve, which halves the error where it is bent."),
        *_detach_field(asking),
    )  # fmt: skip


def _place(question: Question) -> Proposal:
    from calib_model.shaping.breakpoints import place_breakpoints

    s = question.settings
    by_count, relative = s["goal"] == "count", s.get("measure") == "value"
    tolerance = None
    if not by_count:
        tolerance = _positive(s, "percent" if relative else "tolerance", "The error")
        tolerance = tolerance / 100 if relative else tolerance
    return place_breakpoints(
        question.content,
        question.table,
        int(s.get("axis") or 0),
        count=round(_positive(s, "count", "The number")) if by_count else None,
        tolerance=tolerance,
        step=float(s.get("step") or 0.0),
        free=bool(s.get("free")),
        relative=relative,
        detach=bool(s.get("detach")),
    )


# -- other breakpoints ---------------------------------------------------------------------


def _other_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    if not table.axes:
        return ()
    number = min(int(asking.entered.get("axis") or 0), len(table.axes) - 1)
    axis = table.axes[number]
    sources: list[tuple[Any, str]] = [("", "Typed below")]
    sources += [(key, f"Shared axis {key}") for key in asking.content.shared_axes]
    return (
        *_axis_field(table),
        Field("source", "Fro&m", "choice", "Where the breakpoints come from.", tuple(sources)),
        Field("typed", f"&Breakpoints {shown(axis.unit)}".strip(), "text",
              "Rising numbers, separated by blanks or semicolons.",
              default=" ".join(exact(float(x)) for x in axis.values),
              when=lambda v: not v.get("source")),
        Field("method", "Val&ues", "choice", "What the new values follow.",
              (("read", "As read before"), ("nearest", "Nearest everywhere"),
               ("not above", "Nowhere above before"), ("not below", "Nowhere below before"))),
        *_detach_field(asking),
    )  # fmt: skip


def _numbers(text: str) -> np.ndarray:
    parts = text.replace(";", " ").replace("\t", " ").split()
    try:
        return np.array([parse_number(part) for part in parts])
    except BitepointError as error:
        raise EditRefused(f"Breakpoints: {error.problem}", error.remedy) from None


def _other(question: Question) -> Proposal:
    from calib_model.shaping.reaxis import reaxis

    s = question.settings
    source = s.get("source")
    wanted = question.content.shared_axes[source] if source else _numbers(s.get("typed") or "")
    return reaxis(
        question.content,
        question.table,
        int(s.get("axis") or 0),
        wanted,
        method=s["method"],
        detach=bool(s.get("detach")),
    )


# -- inverse -------------------------------------------------------------------------------


def _inverse_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    into: list[tuple[Any, str]] = [("", "A new table")]
    into += [
        (other.id, other.label)
        for other in asking.content
        if other.id != table.id and len(other.axes) == len(table.axes)
        and any(axis.unit == table.unit for axis in other.axes)
    ]  # fmt: skip
    return (
        *_axis_field(table),
        Field("into", "&Into", "choice", "Which table takes the outcome.", tuple(into)),
        Field("new_id", "New id", "text", "Id of the new table.",
              default=f"{table.id}_inverse", when=lambda v: not v.get("into")),
        Field("count", "&Number", "number", "How many breakpoints; empty: one for each value."),
        Field("end", "P&lateaus", "choice", "Which input of a level stretch to take.",
              (("inner", "The inner end"), ("low", "The low end"), ("middle", "The middle"),
               ("high", "The high end"))),
    )  # fmt: skip


def _inverse(question: Question) -> Proposal:
    from calib_model.shaping.invert import invert

    s = question.settings
    into = s.get("into") or ""
    count = s.get("count")
    return invert(
        question.content,
        question.table,
        int(s.get("axis") or 0),
        into=into,
        new_id="" if into else str(s.get("new_id") or ""),
        count=None if count is None else round(count),
        end=s["end"],
    )


AXIS_TOOLS: tuple[Tool, ...] = (
    Tool("breakpoints", "Best breakpoints",
         "Puts breakpoints where the curve bends, so that reading between them errs least.",
         _place, _place_fields, needs_axes, live=False),
    Tool("reaxis", "Other breakpoints",
         "Moves the table to other breakpoints and says what that changes.",
         _other, _other_fields, needs_axes, live=False),
    Tool("invert", "Inverse",
         "Turns a rising or falling table round: the value becomes an input.",
         _inverse, _inverse_fields, needs_axes, live=False),
)  # fmt: skip
