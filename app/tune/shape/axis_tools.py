"""Shaping tools for axes: place breakpoints, move to other breakpoints, turn a table round."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from calib_model.shaping.tools import BREAKPOINTS, INVERT, REAXIS

from .fields import Field
from .form import axis_chosen, field, fields
from .tool import Asking, Question, Tool, given, needs_axes

if TYPE_CHECKING:
    from calib_model.shaping import Proposal


def _detach_field(asking: Asking) -> tuple[Field, ...]:
    shared = asking.table.axes[axis_chosen(asking)].shared
    if not shared:
        return ()
    users = len(asking.content.users_of(shared))
    options = ((False, f"All {users} tables that share it"), (True, "This table only"))
    made = field(BREAKPOINTS["detach"], asking, label="For", kind="choice", options=options)
    return (made,)


# -- best breakpoints ----------------------------------------------------------------------


def _place_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    if not table.axes:
        return ()
    count = len(table.axes[axis_chosen(asking)])
    relative = bool(asking.entered.get("relative"))
    tolerance = field(BREAKPOINTS["tolerance"], asking, when=lambda v: v.get("goal") == "tolerance")
    if relative:
        tolerance = replace(tolerance, label="Error [%]")
    return (
        *fields(BREAKPOINTS, asking, "axis"),
        Field("goal", "&Goal", "choice", "What is asked for.",
              (("count", "The best of so many"), ("tolerance", "The fewest for an error"))),
        field(BREAKPOINTS["count"], asking, default=float(count),
              when=lambda v: v.get("goal") == "count"),
        field(BREAKPOINTS["relative"], asking, kind="choice",
              options=((False, "In the table's unit"), (True, "In % of the value"))),
        tolerance,
        *fields(BREAKPOINTS, asking, "step", "kept", "free"),
        *_detach_field(asking),
    )  # fmt: skip


def _place(question: Question) -> Proposal:
    # Late: a tenth of a second that the window's start need not wait for.
    from calib_model.shaping.breakpoints import place_breakpoints

    asked = given(BREAKPOINTS, question)
    asked["count" if question.settings["goal"] == "tolerance" else "tolerance"] = None
    if asked["tolerance"] is not None and asked["relative"]:
        asked["tolerance"] /= 100
    return place_breakpoints(question.content, question.table, **asked)


# -- other breakpoints ---------------------------------------------------------------------


def _other_fields(asking: Asking) -> tuple[Field, ...]:
    table, content = asking.table, asking.content
    if not table.axes:
        return ()
    axis = table.axes[axis_chosen(asking)]
    sources = [("", "Typed below")]
    sources += [(key, f"Shared axis {key}") for key in content.shared_axes]
    sources += [
        (other.id, f"Those of {other.label}")
        for other in content
        if other.id != table.id and axis.quantity
        and any(a.quantity == axis.quantity and not a.shared for a in other.axes)
    ]  # fmt: skip
    shared = lambda v: v.get("like") in content.shared_axes  # noqa: E731
    return (
        *fields(REAXIS, asking, "axis"),
        field(REAXIS["like"], asking, kind="choice", options=tuple(sources)),
        field(REAXIS["breakpoints"], asking, default=tuple(axis.values.tolist()),
              when=lambda v: not v.get("like")),
        field(REAXIS["adopt"], asking, when=shared),
        *fields(REAXIS, asking, "method"),
        *_detach_field(asking),
    )  # fmt: skip


def _other(question: Question) -> Proposal:
    from calib_model.shaping.reaxis import reaxis  # late, as above

    asked = given(REAXIS, question)
    if asked["like"]:
        asked["breakpoints"] = None
    asked["adopt"] = asked["adopt"] and asked["like"] in question.content.shared_axes
    return reaxis(question.content, question.table, **asked)


# -- inverse -------------------------------------------------------------------------------


def _inverse_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    into = [("", "A new table")]
    into += [
        (other.id, other.label)
        for other in asking.content
        if other.id != table.id and len(other.axes) == len(table.axes)
        and any(axis.unit == table.unit for axis in other.axes)
    ]  # fmt: skip
    return (
        *fields(INVERT, asking, "axis"),
        field(INVERT["into"], asking, options=tuple(into)),
        field(INVERT["new_id"], asking, default=f"{table.id}_inverse",
              when=lambda v: not v.get("into")),
        *fields(INVERT, asking, "breakpoints", "count", "tolerance", "step", "end"),
    )  # fmt: skip


def _inverse(question: Question) -> Proposal:
    from calib_model.shaping.invert import invert  # late, as above

    asked = given(INVERT, question)
    if asked["into"]:
        asked["new_id"] = ""
    return invert(question.content, question.table, **asked)


AXIS_TOOLS: tuple[Tool, ...] = (
    Tool("breakpoints", "Best breakpoints",
         "Puts breakpoints where the curve bends, so that reading between them errs least.",
         BREAKPOINTS, _place, _place_fields, needs_axes, live=False),
    Tool("reaxis", "Other breakpoints",
         "Moves the table to other breakpoints and says what that changes.",
         REAXIS, _other, _other_fields, needs_axes, live=False),
    Tool("invert", "Inverse",
         "Turns a rising or falling table round: the value becomes an input.",
         INVERT, _inverse, _inverse_fields, needs_axes, live=False),
)  # fmt: skip
