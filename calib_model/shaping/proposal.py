"""What a shaping tool proposes: tables as they would be, and how it came to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ..core.arrays import FloatArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import exact, short
from ..core.table import Table
from ..editing.change import Change, Edit, TableEdit, apply, cells_edit
from .problem import Place
from .words import Part, moved_words


@dataclass(frozen=True)
class Diagnostics:
    """How a proposal was found, and what is to be known about it.

    Parameters
    ----------
    solver : str
        Which solver answered; empty where none was needed.
    residual : float
        Largest violation of the conditions of an optimum, in shares of the tables' spans.
    active : tuple of Part
        Rules and locks that hold the answer back.
    broken : tuple of Part
        Rules that do not hold afterwards: broken by rounding, or out of reach.
    not_stated : tuple of str
        Rules that could not be taken into account, and why.
    strength : float, optional
        The smoothing parameter lambda; infinite for the straight limit.
    edf : float, optional
        Effective degrees of freedom.
    figures : mapping of str to plain data
        What else the tool has to say.
    """

    solver: str = ""
    residual: float = 0.0
    active: tuple[Part, ...] = ()
    broken: tuple[Part, ...] = ()
    not_stated: tuple[str, ...] = ()
    strength: float | None = None
    edf: float | None = None
    figures: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Proposal:
    """Tables as a tool would have them.  Nothing is changed until `change` is applied.

    Parameters
    ----------
    title : str
        What is done, in the imperative, for the undo step.
    before, after : mapping of Place to Table
        The tables that may move, as they are and as proposed.
    settings : mapping of str to plain data
        What was asked for; goes into the history.
    diagnostics : Diagnostics
    notes : tuple of str
        What the user should know, in sentences.
    ideal : mapping of Place to float array
        Values before rounding to storage, where they differ from those proposed.
    """

    title: str
    before: Mapping[Place, Table]
    after: Mapping[Place, Table]
    settings: Mapping[str, Any] = field(default_factory=dict)
    diagnostics: Diagnostics = field(default_factory=Diagnostics)
    notes: tuple[str, ...] = ()
    ideal: Mapping[Place, FloatArray] = field(default_factory=dict)

    def table(self, id: str, set_number: int = 0) -> Table:
        """Return a table as proposed."""
        return self.after[(set_number, id)]

    def values(self, id: str, set_number: int = 0) -> FloatArray:
        """Values of a table as proposed."""
        return self.after[(set_number, id)].values

    def moved(self, id: str, set_number: int = 0) -> FloatArray:
        """Return by how much each cell of a table moves; NaN where it was empty.

        Only for tables whose axes stay as they are.
        """
        return self.after[(set_number, id)].values - self.before[(set_number, id)].values

    @property
    def ids(self) -> tuple[str, ...]:
        """Ids of the tables of the set itself."""
        return tuple(id for number, id in self.after if number == 0)

    @property
    def is_empty(self) -> bool:
        """Whether nothing would change."""
        return all(self.after[place] == table for place, table in self.before.items())

    @property
    def summary(self) -> str:
        """What would move, in words, one sentence per table."""
        parts = []
        for place, old in self.before.items():
            new = self.after[place]
            if old.shape == new.shape and old.axes == new.axes:
                parts.append(f"{new.label}: {moved_words(old.values, new.values, new.unit)}.")
        return " ".join(parts)

    def change(self, title: str = "", set_number: int = 0) -> Change:
        """Return the one undoable change, with settings and outcome in its note.

        Parameters
        ----------
        title : str
            The proposal's own title by default.
        set_number : int
            0 for the set itself; more for a set of another mode that moves with it.
        """
        edits: list[Edit] = []
        for place, old in self.before.items():
            if place[0] != set_number:
                continue
            new = self.after[place]
            if old == new:
                continue
            if old.axes == new.axes and old.settings() == new.settings():
                edits.append(cells_edit(old, new.values))
            else:
                edits.append(TableEdit(old, new))
        return Change(title or self.title, tuple(edits), note=self.note)

    @property
    def note(self) -> str:
        """Settings, outcome and remarks in one text, for the history."""
        said = ", ".join(f"{key} {_plain(value)}" for key, value in self.settings.items())
        found = []
        if self.diagnostics.strength is not None:
            found.append(f"lambda {short(self.diagnostics.strength, 4)}")
        if self.diagnostics.edf is not None:
            found.append(f"{short(self.diagnostics.edf, 4)} effective degrees of freedom")
        parts = [f"Settings: {said}." if said else "", ", ".join(found), self.summary, *self.notes]
        return " ".join(p if p.endswith(".") else f"{p}." for p in parts if p)


def _plain(value: Any) -> str:
    if isinstance(value, float):
        return exact(value) if abs(value) < float("inf") else "infinite"
    if isinstance(value, list | tuple):
        return " and ".join(_plain(v) for v in value)
    return str(value)


def applied(content: CalibrationSet, proposal: Proposal) -> CalibrationSet:
    """Return the set with a proposal's tables in it."""
    return apply(content, proposal.change())
