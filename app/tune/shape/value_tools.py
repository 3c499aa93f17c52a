"""Shaping tools for values: smooth, nearest values under the rules, storable values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib_model.core.table import Table

from .fields import Field
from .tool import WHICH_CELLS, Asking, Question, Tool, needs_axes, selected_cells, suits_any

if TYPE_CHECKING:
    from calib_model.shaping import Proposal


# -- smooth --------------------------------------------------------------------------------


def _smooth_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    along: tuple[Field, ...] = ()
    balance: tuple[Field, ...] = ()
    if table.values.ndim == 2:
        options: list[tuple[object, str]] = [(None, "Both axes")]
        options += [((n,), f"{axis.label} only") for n, axis in enumerate(table.axes)]
        along = (Field("along", "A&long", "choice", "Axes to smooth along.", tuple(options)),)
        first, second = (axis.label for axis in table.axes)
        tip = f"How many times as strongly along {second} as along {first}."
        balance = (
            Field(
                "balance",
                "Balance",
                "slider",
                tip,
                default=1.0,
                low=-3,
                high=3,
                when=lambda values: values.get("along") is None,
            ),
        )
    return (
        Field(
            "how",
            "Stren&gth",
            "choice",
            "Chosen from the data, or by you.",
            (
                ("auto", "From the data"),
                ("reml", "By likelihood"),
                ("own", "My own"),
                ("straight", "As straight as allowed"),
            ),
        ),
        Field(
            "strength",
            "La&mbda",
            "slider",
            "Larger is smoother.",
            default=0.01,
            low=-7,
            high=4,
            when=lambda values: values["how"] == "own",
        ),
        *along,
        *balance,
        WHICH_CELLS,
    )


def _smooth(question: Question) -> Proposal:
    from calib_model.shaping import smooth

    settings = question.settings
    how = settings["how"]
    along = settings.get("along")
    balance = settings.get("balance", 1.0) if along is None else 1.0
    return smooth(
        question.content,
        question.table,
        settings["strength"] if how == "own" else how,
        selection=selected_cells(question),
        along=along,
        factors={1: balance} if balance != 1.0 else None,
        against=question.against,
    )


# -- nearest values ------------------------------------------------------------------------


def _nearest_fields(asking: Asking) -> tuple[Field, ...]:
    table = asking.table
    partners = dict.fromkeys(i for rule in table.rules for i in rule.reads())
    fields = [WHICH_CELLS]
    if partners:
        options = ((False, "This table only"), (True, f"Also {', '.join(partners)}"))
        fields.insert(
            0, Field("partners", "&May move", "choice", "Which tables give way.", options)
        )
    return tuple(fields)


def _nearest(question: Question) -> Proposal:
    from dataclasses import replace

    from calib_model.remedies import suited
    from calib_model.shaping import repair

    table = question.content[question.table]
    named = [question.table]
    if question.settings.get("partners"):
        named += dict.fromkeys(i for rule in table.rules for i in rule.reads())
    selection = selected_cells(question)
    allowed = None if selection is None else {question.table: selection}
    made = repair(question.content, named, against=question.against, allowed=allowed)
    mode = question.content.base_mode
    base = next((other for other in question.against if other.mode == mode), None)
    better = tuple(
        f"{s.finding.message} What suits: {s.remedy.text} (see the finding's remedies)."
        for s in suited(question.content, named, base, allowed)
    )
    return replace(made, notes=(*better, *made.notes))


# -- stored values -------------------------------------------------------------------------


def _stored(question: Question) -> Proposal:
    from calib_model.shaping import quantise

    return quantise(
        question.content,
        question.table,
        selection=selected_cells(question),
        against=question.against,
    )


def _has_raster(table: Table) -> str:
    return "" if table.storage.type != "float64" else "Its storage holds any value as it is."


VALUE_TOOLS: tuple[Tool, ...] = (
    Tool(
        "smooth",
        "Smooth",
        "The smoothest values near the present ones that keep every rule and lock.",
        _smooth,
        _smooth_fields,
        needs_axes,
    ),
    Tool(
        "nearest",
        "Nearest values under the rules",
        "Moves cells as little as possible until every rule holds. For a slipped digit, exchanged "
        "branches or a wrong axis the remedies of the finding are the better way.",
        _nearest,
        _nearest_fields,
        suits_any,
    ),
    Tool(
        "stored",
        "Storable values that keep the rules",
        "The nearest values the controller can hold, with order, limits and steps kept.",
        _stored,
        lambda _asking: (WHICH_CELLS,),
        _has_raster,
    ),
)
