"""Bounds of values, and locked cells."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..core.arrays import BoolArray
from ..core.rule import Breach, Context, Rows, Rule, Stack, at_cell, register
from ..core.rule_settings import In, Of, Picture, told
from ..core.table import Table
from ..errors import ModelError
from . import pictures
from .shape import scope_words


def _bound_rows(stack: Stack, lower: np.ndarray, upper: np.ndarray) -> Rows:
    cells = stack.numbers.reshape(-1, 1)
    signs = np.ones((2 * len(cells), 1))
    signs[len(cells) :] = -1
    n = len(stack)
    bound = np.concatenate(
        [np.broadcast_to(upper, (n, len(cells))), np.broadcast_to(-lower, (n, len(cells)))], axis=1
    )
    return stack.own(np.concatenate([cells, cells]), signs, bound)


def _bound_sentence(table: Table, breach: Breach, lower: float, upper: float) -> str:
    (cell,) = breach.cells
    value = float(table.values.flat[cell])
    above = value > upper
    side, limit = ("above the largest", upper) if above else ("below the smallest", lower)
    text = f"{table.said(value)} {at_cell(table, cell)}".strip()
    return f"{text} is {side} allowed value, {table.said(limit)}."


@register
@dataclass(frozen=True)
class Limits(Rule):
    """Values lie within the table's own limits.  Always in force; needs no setting."""

    kind: ClassVar[str] = "limits"
    explained: ClassVar[str] = (
        "Every value lies within the table's own lower and upper limit. In force for every table "
        "that has limits; change the limits themselves."
    )
    picture: ClassVar[Picture] = pictures.BETWEEN
    remedies: ClassVar[tuple[str, ...]] = ("re-interpolate", "clip")

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Two rows per cell."""
        lower = np.array([[t.lower] for t in stack.tables])
        upper = np.array([[t.upper] for t in stack.tables])
        return _bound_rows(stack, lower, upper)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"within {table.said_short(table.lower)} to {table.said(table.upper)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        return _bound_sentence(table, breach, table.lower, table.upper)


@register
@dataclass(frozen=True)
class Bounds(Rule):
    """Values lie within [lower, upper], within the scope."""

    lower: float = field(default=-np.inf, metadata=told("Smallest value.", unit=In.TABLE))
    upper: float = field(default=np.inf, metadata=told("Largest value.", unit=In.TABLE))

    kind: ClassVar[str] = "bounds"
    explained: ClassVar[str] = (
        "Values in the scope lie between a lower and an upper bound, tighter than the table's own "
        "limits."
    )
    picture: ClassVar[Picture] = pictures.BETWEEN
    remedies: ClassVar[tuple[str, ...]] = ("re-interpolate", "clip")

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Two rows per cell."""
        return _bound_rows(stack, np.array(self.lower), np.array(self.upper))

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        where = scope_words(table, self)
        if self.lower == -np.inf:
            return f"at most {table.said(self.upper)}{where}"
        if self.upper == np.inf:
            return f"at least {table.said(self.lower)}{where}"
        return f"within {table.said_short(self.lower)} to {table.said(self.upper)}{where}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        return _bound_sentence(table, breach, self.lower, self.upper)


@register
@dataclass(frozen=True)
class Locked(Rule):
    """Cells that must keep their values.

    Parameters
    ----------
    points : tuple of tuples of float
        Axis values of each cell, so that a lock stays with its cell when breakpoints are
        inserted or deleted elsewhere.
    values : tuple of float
        What each cell holds.
    """

    points: tuple[tuple[float, ...], ...] = field(
        default=(), metadata=told("Axis values of each cell that is held.", Of.POINTS)
    )
    values: tuple[float, ...] = field(
        default=(), metadata=told("What each of them holds.", Of.NUMBERS, unit=In.TABLE)
    )

    kind: ClassVar[str] = "locked"
    explained: ClassVar[str] = (
        "Named cells keep their values; no tool moves them. Made by locking cells."
    )
    picture: ClassVar[Picture] = pictures.LOCKED
    remedies: ClassVar[tuple[str, ...]] = ("set",)

    def __post_init__(self) -> None:
        if len(self.points) != len(self.values):
            raise ModelError("A lock needs one value for each of its cells.")

    def stackable(self) -> bool:
        """Points name cells by their breakpoints."""
        return False

    def cells(self, table: Table) -> list[int]:
        """Flat cell number of each point; -1 where its breakpoint is gone."""
        found = []
        for point in self.points:
            if len(point) != len(table.axes):
                found.append(-1)
                continue
            index = [
                np.flatnonzero(axis.values == p) for axis, p in zip(table.axes, point, strict=True)
            ]
            if all(i.size for i in index):
                at = tuple(int(i[0]) for i in index)
                found.append(int(np.ravel_multi_index(at, table.shape)) if at else 0)
            else:
                found.append(-1)
        return found

    def locked_mask(self, table: Table) -> BoolArray:
        """Which cells are held, in the table's shape."""
        held = np.zeros(table.shape, dtype=bool)
        for cell in self.cells(table):
            if cell >= 0:
                held.flat[cell] = True
        return held

    def looks_at(self, table: Table) -> BoolArray | None:
        """See `Rule.looks_at`."""
        return self.locked_mask(table)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One equality per locked cell."""
        cells = self.cells(stack.first)
        kept = [(c, v) for c, v in zip(cells, self.values, strict=True) if c >= 0]
        numbers = np.array([c for c, _ in kept], dtype=np.int64).reshape(-1, 1)
        return stack.own(numbers, [1.0], np.array([v for _, v in kept]), equal=True)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        count = len(self.points)
        return f"{count} cell{'' if count == 1 else 's'} locked"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        (cell,) = breach.cells
        value = table.said(float(table.values.flat[cell]))
        held = dict(zip(self.cells(table), self.values, strict=True))[cell]
        return f"{value} {at_cell(table, cell)}; the cell is locked at {table.said(held)}."
