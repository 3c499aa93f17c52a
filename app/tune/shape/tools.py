"""The shaping tools: what each asks for and which function of the model answers.

A new tool is one `Tool` in `TOOLS`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib_model.core.arrays import BoolArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.errors import EditRefused

from .fields import Field

if TYPE_CHECKING:
    from calib_model.shaping import Proposal


@dataclass(frozen=True)
class Question:
    """What a tool is asked with: a snapshot that no later edit reaches.

    Parameters
    ----------
    content : CalibrationSet
    table : str
    selection : bool array or None
        Chosen cells if more than one is, else None.
    cursor : tuple of int
    settings : mapping of field key to value
    against : tuple of CalibrationSet
        The base mode's set, if one is the reference.
    """

    content: CalibrationSet
    table: str
    selection: BoolArray | None
    cursor: tuple[int, ...]
    settings: dict[str, Any]
    against: tuple[CalibrationSet, ...]


@dataclass(frozen=True)
class Tool:
    """One shaping tool.

    Parameters
    ----------
    id, name, about : str
    make : callable
        From a `Question` to a `Proposal`; raises BitepointError in words.
    fields : callable
        From a table to the fields that are asked for it.
    suits : callable
        Why a table cannot be shaped so; empty if it can.
    live : bool
        Whether the proposal is made anew at every change of a field, or by a button.
    """

    id: str
    name: str
    about: str
    make: Callable[[Question], Proposal]
    fields: Callable[[Table], tuple[Field, ...]]
    suits: Callable[[Table], str]
    live: bool = True


ONLY_SELECTED = Field(
    "only_selected",
    "Only the selection",
    "check",
    "Move selected cells only; the others stay and are joined smoothly.",
)


def _selected(question: Question) -> BoolArray | None:
    if not question.settings.get("only_selected"):
        return None
    if question.selection is None:
        raise EditRefused("Only one cell is selected.", "Select the cells to shape, or all.")
    return question.selection


def _needs_axes(table: Table) -> str:
    return "" if table.axes else "A scalar has no shape."


def _anything(_table: Table) -> str:
    return ""


# -- smooth --------------------------------------------------------------------------------


def _smooth_fields(table: Table) -> tuple[Field, ...]:
    along: tuple[Field, ...] = ()
    if table.values.ndim == 2:
        options = [(None, "Both axes")]
        options += [((n,), f"{axis.label} only") for n, axis in enumerate(table.axes)]
        along = (Field("along", "A&long", "choice", "Axes to smooth along.", tuple(options)),)
    return (
        Field(
            "how",
            "&Strength",
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
        ONLY_SELECTED,
    )


def _smooth(question: Question) -> Proposal:
    from calib_model.shaping import smooth

    settings = question.settings
    how = settings["how"]
    return smooth(
        question.content,
        question.table,
        settings["strength"] if how == "own" else how,
        selection=_selected(question),
        along=settings.get("along"),
        against=question.against,
    )


# -- nearest values ------------------------------------------------------------------------


def _nearest_fields(table: Table) -> tuple[Field, ...]:
    partners = dict.fromkeys(i for rule in table.rules for i in rule.reads())
    fields = [ONLY_SELECTED]
    if partners:
        options = ((False, "This table only"), (True, f"Also {', '.join(partners)}"))
        fields.insert(
            0, Field("partners", "&May move", "choice", "Which tables give way.", options)
        )
    return tuple(fields)


def _nearest(question: Question) -> Proposal:
    from calib_model.shaping import repair

    table = question.content[question.table]
    named = [question.table]
    if question.settings.get("partners"):
        named += dict.fromkeys(i for rule in table.rules for i in rule.reads())
    selection = _selected(question)
    allowed = None if selection is None else {question.table: selection}
    return repair(question.content, named, against=question.against, allowed=allowed)


# -- stored values -------------------------------------------------------------------------


def _stored(question: Question) -> Proposal:
    from calib_model.shaping import quantise

    return quantise(
        question.content,
        question.table,
        selection=_selected(question),
        against=question.against,
    )


def _has_raster(table: Table) -> str:
    return "" if table.storage.type != "float64" else "Its storage holds any value as it is."


TOOLS: tuple[Tool, ...] = (
    Tool(
        "smooth",
        "Smooth",
        "The smoothest values near the present ones that keep every rule and lock.",
        _smooth,
        _smooth_fields,
        _needs_axes,
    ),
    Tool(
        "nearest",
        "Nearest values under the rules",
        "Moves cells as little as possible until every rule holds. For a slipped digit, exchanged "
        "branches or a wrong axis the remedies of the finding are the better way.",
        _nearest,
        _nearest_fields,
        _anything,
    ),
    Tool(
        "stored",
        "Storable values that keep the rules",
        "The nearest values the controller can hold, with order, limits and steps kept.",
        _stored,
        lambda _table: (ONLY_SELECTED,),
        _has_raster,
    ),
)
