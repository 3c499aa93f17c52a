"""Shaping tools for values: smooth, nearest values under the rules, storable values."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from calib_model.remedies import suited
from calib_model.shaping import quantise, repair, smooth
from calib_model.shaping.tools import QUANTISE, REPAIR, SMOOTH

from .fields import Field
from .form import field, fields
from .tool import WHICH_CELLS, Asking, Question, Tool, given, needs_axes, selected_cells, suits_any

if TYPE_CHECKING:
    from calib_model.shaping import Proposal

OWN = "own"
"""A strength that the user sets by the slider."""


# -- smooth --------------------------------------------------------------------------------


def _smooth_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    strength, along = SMOOTH["strength"], SMOOTH["along"]
    axes: tuple[Field, ...] = ()
    if table.values.ndim == 2:
        first, second = (axis.label for axis in table.axes)
        options: list[tuple[object, str]] = [(None, "Both axes")]
        options += [((n,), f"{axis.label} only") for n, axis in enumerate(table.axes)]
        tip = f"How many times as strongly along {second} as along {first}."
        axes = (
            field(along, asking, kind="choice", options=tuple(options), default=None,
                  tip="Axes to smooth along."),
            Field("balance", "Balance", "slider", tip, default=1.0, low=-3, high=3,
                  when=lambda values: values.get("along") is None),
        )  # fmt: skip
    return (
        field(strength, asking, options=(*strength.choices, (OWN, "My own"))),
        Field("lambda", "La&mbda", "slider", "Larger is smoother.", default=0.01, low=-7, high=4,
              when=lambda values: values["strength"] == OWN),
        *axes,
        WHICH_CELLS,
        *fields(SMOOTH, asking, "on_raster"),
    )  # fmt: skip


def _smooth(question: Question) -> Proposal:
    asked, settings = given(SMOOTH, question), question.settings
    if asked["strength"] == OWN:
        asked["strength"] = settings["lambda"]
    balance = settings.get("balance", 1.0) if asked["along"] is None else 1.0
    return smooth(
        question.content,
        question.table,
        selection=selected_cells(question),
        factors={1: balance} if balance != 1.0 else None,
        against=question.against,
        **asked,
    )


# -- nearest values ------------------------------------------------------------------------


def _nearest_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    partners = dict.fromkeys(i for rule in table.rules for i in rule.reads())
    asked: tuple[Field, ...] = ()
    if partners:
        options = ((False, "This table only"), (True, f"Also {', '.join(partners)}"))
        asked = (Field("partners", "&May move", "choice", "Which tables give way.", options),)
    return (*asked, WHICH_CELLS, *fields(REPAIR, asking, "on_raster", "seconds"))


def _nearest(question: Question) -> Proposal:
    table = question.content[question.table]
    named = [question.table]
    if question.settings.get("partners"):
        named += dict.fromkeys(i for rule in table.rules for i in rule.reads())
    selection = selected_cells(question)
    allowed = None if selection is None else {question.table: selection}
    made = repair(
        question.content,
        named,
        against=question.against,
        allowed=allowed,
        **given(REPAIR, question),
    )
    mode = question.content.base_mode
    base = next((other for other in question.against if other.mode == mode), None)
    better = tuple(
        f"{s.finding.message} What suits: {s.remedy.text} (see the finding's remedies)."
        for s in suited(question.content, named, base, allowed)
    )
    return replace(made, notes=(*better, *made.notes))


# -- stored values -------------------------------------------------------------------------


def _stored(question: Question) -> Proposal:
    return quantise(
        question.content,
        question.table,
        selection=selected_cells(question),
        against=question.against,
        **given(QUANTISE, question),
    )


VALUE_TOOLS: tuple[Tool, ...] = (
    Tool(
        "smooth",
        "Smooth",
        "The smoothest values near the present ones that keep every rule and lock.",
        SMOOTH,
        _smooth,
        _smooth_fields,
        needs_axes,
    ),
    Tool(
        "nearest",
        "Nearest values under the rules",
        "Moves cells as little as possible until every rule holds. For a slipped digit, exchanged "
        "branches or a wrong axis the remedies of the finding are the better way.",
        REPAIR,
        _nearest,
        _nearest_fields,
        suits_any,
    ),
    Tool(
        "stored",
        "Storable values that keep the rules",
        "The nearest values the controller can hold, with order, limits and steps kept.",
        QUANTISE,
        _stored,
        lambda asking: (WHICH_CELLS, *fields(QUANTISE, asking, "step", "type", "range")),
        suits_any,
    ),
)
