"""What a shaping tool is: what it asks for, and the function of the model that answers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from calib_model.core.arrays import BoolArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.table import Table
from calib_model.shaping.tools import ToolDescription

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
        Sets of other modes: of the programme beside the set, and the reference.
    """

    content: CalibrationSet
    table: str
    selection: BoolArray | None
    cursor: tuple[int, ...]
    settings: dict[str, Any]
    against: tuple[CalibrationSet, ...]


@dataclass(frozen=True)
class Asking:
    """What the fields of a tool depend on.

    Parameters
    ----------
    content : CalibrationSet
    table : Table
    entered : dict
        What is entered already, by field key; may hold keys of other tools.
    """

    content: CalibrationSet
    table: Table
    entered: dict[str, Any]


@dataclass(frozen=True)
class Tool:
    """One shaping tool.

    Parameters
    ----------
    id, name, about : str
    described : ToolDescription
        Its options, as the command line and the functions for scripts have them.
    make : callable
        From a `Question` to a `Proposal`; raises BitepointError in words.
    fields : callable
        From an `Asking` to the fields that are asked for.
    suits : callable
        Why a table cannot be shaped so; empty if it can.
    live : bool
        Whether the proposal is made anew at every change of a field, or by a button.
    """

    id: str
    name: str
    about: str
    described: ToolDescription
    make: Callable[[Question], Proposal]
    fields: Callable[[Asking], tuple[Field, ...]]
    suits: Callable[[Table], str]
    live: bool = True


WHICH_CELLS = Field(
    "cells",
    "Cells",
    "choice",
    "Which cells may move; the others stay and are joined smoothly.",
    (("selected", "The selection, if several"), ("all", "All cells")),
)


def selected_cells(question: Question) -> BoolArray | None:
    """Return the cells to shape, None for all: one lone cell is where the cursor is, no choice."""
    return None if question.settings.get("cells") == "all" else question.selection


def given(tool: ToolDescription, question: Question) -> dict[str, Any]:
    """Return the options of a tool as its function takes them: as entered, else the default."""
    entered = question.settings
    found = {one.name: entered.get(one.name) for one in tool.options}
    return {
        one.name: one.default if found[one.name] is None else found[one.name]
        for one in tool.options
    }


def needs_axes(table: Table) -> str:
    """Say why a table without axes cannot be shaped."""
    return "" if table.axes else "A scalar has no shape."


def suits_any(_table: Table) -> str:
    """Any table will do."""
    return ""
