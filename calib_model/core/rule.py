"""The base of all rules: what a table's values must satisfy.

A *linear* rule gives rows ``sum(coefficient * value) <= bound`` (or ``==``) over the cells of
its table and of tables it refers to.  The rows are written once; checks evaluate them here,
and smoothing, repairing and fitting obey the same rows.  The few rules that are not linear
(finite values, axis order, ...) override `Rule.breaches` instead.

To let 30,000 tables be checked at once, a rule does not see one table but a `Stack` of tables
of one shape.  Everything broadcasts over a leading axis: cells (m, k), coefficients
(..., m, k), bounds (..., m).
"""

from __future__ import annotations

from abc import ABC
from collections.abc import Iterable
from dataclasses import dataclass, field, fields
from enum import StrEnum
from functools import cached_property
from typing import Any, ClassVar, Protocol

import numpy as np
import numpy.typing as npt

from ..errors import BitepointError, ModelError
from .arrays import BoolArray, FloatArray, IntArray
from .numbers import counted
from .rule_settings import Of, Picture, told
from .table import Table


class Severity(StrEnum):
    """How much a finding weighs.  Errors and warnings block a sign-off, notes do not."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True)
class Range:
    """A part of an axis, ends included."""

    axis: str
    low: float = -np.inf
    high: float = np.inf


class Context(Protocol):
    """What a rule may read besides its own table."""

    def table(self, id: str) -> Table:
        """Return another table of the set; ModelError if there is none."""

    def base_table(self, id: str) -> Table | None:
        """Return the base mode's table; None if it has none; NotChecked without a base set."""

    @property
    def mode(self) -> str:
        """Drive mode of the set being checked."""

    @property
    def base_mode(self) -> str:
        """Drive mode that relations refer to."""


class NotChecked(Exception):
    """A rule cannot be evaluated now; the text says what is missing."""


@dataclass(frozen=True)
class Term:
    """A part of a row's sum that reads one table.

    Parameters
    ----------
    cells : int array, shape (m, k)
        Flat cell numbers (C order).
    coefficients : float array, broadcastable to (n, m, k)
    table : str
        Id of the table; empty for the rule's own.
    in_base : bool
        Whether the table is the base mode's.
    """

    cells: IntArray
    coefficients: FloatArray
    table: str = ""
    in_base: bool = False


@dataclass(frozen=True)
class Rows:
    """Linear rows ``sum of terms <= bound``, or ``==`` where `equal`.

    Parameters
    ----------
    terms : tuple of Term
        The first is always the rule's own table.
    bound : float array, broadcastable to (n, m)
    equal : bool
    tolerance : float array, broadcastable to (n, m)
        By how much a row may be missed; zero for order, bounds and locks.
    active : bool array, broadcastable to (n, m), or None for all
    """

    terms: tuple[Term, ...]
    bound: FloatArray
    equal: bool = False
    tolerance: FloatArray = field(default_factory=lambda: np.zeros(1))
    active: BoolArray | None = None


@dataclass(frozen=True)
class Breach:
    """Where a rule does not hold: the worst place of a table, and what else there is.

    Parameters
    ----------
    index : int
        Which table of the stack.
    cells : tuple of int
        Flat cell numbers in that table.
    amount : float
        Size of the breach, in `Rule.amount_unit`.
    detail : Any
        What the rule's sentence needs besides.
    others : tuple of int
        Cells of the same table where the rule does not hold either, to a smaller extent.
    places : int
        How many places this one stands for.
    """

    index: int
    cells: tuple[int, ...]
    amount: float
    detail: Any = None
    others: tuple[int, ...] = ()
    places: int = 1


class Stack:
    """Tables of one shape whose axes read the same quantities, stacked for a rule.

    Parameters
    ----------
    tables : sequence of Table, all of one shape
    """

    def __init__(self, tables: Iterable[Table]) -> None:
        self.tables = tuple(tables)
        self.first = self.tables[0]
        self.shape = self.first.shape
        self._x: dict[int, FloatArray] = {}

    def __len__(self) -> int:
        return len(self.tables)

    @cached_property
    def values(self) -> FloatArray:
        """Values, shape (n, cells)."""
        return np.array([t.values for t in self.tables]).reshape(len(self.tables), -1)

    @cached_property
    def numbers(self) -> IntArray:
        """Flat cell numbers, in the tables' shape."""
        return np.arange(int(np.prod(self.shape)), dtype=np.int64).reshape(self.shape)

    @cached_property
    def nearest(self) -> FloatArray:
        """Nearest values that can be stored, shape (n, cells)."""
        storages = [t.storage for t in self.tables]
        scales = {s: n for n, s in enumerate(dict.fromkeys(storages))}
        if len(scales) == 1:
            return storages[0].nearest(self.values)
        which = np.array([scales[s] for s in storages])
        result = self.values.copy()
        for storage, number in scales.items():
            if storage.type != "float64":
                mine = which == number
                result[mine] = storage.nearest(self.values[mine])
        return result

    @cached_property
    def step(self) -> FloatArray:
        """One storage step per table, shape (n, 1); 0 for float storage."""
        return np.array([[t.storage.resolution] for t in self.tables])

    @cached_property
    def span(self) -> FloatArray:
        """Size of each table's range, shape (n, 1)."""
        return np.array([[t.span] for t in self.tables])

    @property
    def loose(self) -> FloatArray:
        """Tolerance of rows that are neither order, bounds nor locks: 1e-9 of the span."""
        return self.span * 1e-9

    def axis(self, reference: str) -> int:
        """Return the number of the axis that a rule names; see `find_axis`."""
        return find_axis(self.first, reference)

    def x(self, axis: int) -> FloatArray:
        """Breakpoints of one axis, shape (n, length)."""
        if axis not in self._x:
            self._x[axis] = np.array([t.axes[axis].values for t in self.tables])
        return self._x[axis]

    def x_of_cells(self, axis: int, cells: npt.ArrayLike) -> FloatArray:
        """Axis values at flat cells, shape (n, *cells.shape)."""
        index = np.unravel_index(np.asarray(cells), self.shape)[axis]
        return np.asarray(self.x(axis)[:, index])

    def runs(self, axis: int, length: int) -> IntArray:
        """Every run of `length` neighbouring cells along an axis, shape (m, length)."""
        along = np.moveaxis(self.numbers, axis, -1)
        if along.shape[-1] < length:
            return np.empty((0, length), dtype=np.int64)
        windows = np.lib.stride_tricks.sliding_window_view(along, length, axis=-1)
        return np.asarray(windows.reshape(-1, length))

    def own(
        self,
        cells: IntArray,
        coefficients: npt.ArrayLike,
        bound: npt.ArrayLike = 0.0,
        *,
        equal: bool = False,
        tolerance: npt.ArrayLike = 0.0,
        active: BoolArray | None = None,
    ) -> Rows:
        """Rows that read the rule's own table only; see `Rows` for the shapes."""
        term = Term(cells, np.asarray(coefficients, dtype=np.float64))
        return Rows(
            (term,),
            np.asarray(bound, dtype=np.float64),
            equal,
            np.asarray(tolerance, dtype=np.float64),
            active,
        )


def find_axis(table: Table, reference: str) -> int:
    """Return the number of the axis named by quantity, name, or ``1`` to ``4``.

    Raises
    ------
    ModelError
        If the table has no such axis.
    """
    for number, axis in enumerate(table.axes):
        if reference in (axis.quantity, axis.name) and reference:
            return number
    place = counted(reference, len(table.axes))
    if place is not None:
        return place - 1
    has = ", ".join(a.quantity or a.name or str(i + 1) for i, a in enumerate(table.axes)) or "none"
    raise ModelError(
        f"A rule of {table.id} refers to axis {reference!r}, which the table does not have.",
        f"Its axes are: {has}.",
    )


@dataclass(frozen=True, kw_only=True)
class Rule(ABC):
    """Base of all rules.  Rules are values: frozen, comparable, written as plain data.

    Parameters
    ----------
    scope : tuple of Range
        Parts of the axes where the rule applies; everywhere if empty.
    severity : Severity
    reason : str
        Why the rule exists, for the reader of a finding.
    off : bool
        Whether the rule is kept without being looked at.
    """

    scope: tuple[Range, ...] = field(
        default=(),
        metadata=told("Parts of the axes where it applies; everywhere if none.", Of.SCOPE),
    )
    severity: Severity = field(
        default=Severity.ERROR,
        metadata=told(
            "How much a finding weighs; errors and warnings block a sign-off, notes do not.",
            choices=tuple(Severity),
        ),
    )
    reason: str = field(
        default="", metadata=told("Why the rule exists, for the reader of a finding.")
    )
    off: bool = field(
        default=False, metadata=told("Keeps the rule beside the table without looking at it.")
    )

    kind: ClassVar[str] = ""
    """Permanent name in files and rule sheets."""
    explained: ClassVar[str] = ""
    """What the kind asks for and what it is good for, in plain words."""
    picture: ClassVar[Picture | None] = None
    """What it means in a few strokes."""
    linear: ClassVar[bool] = True
    """Whether `rows` states the rule."""
    constrains: ClassVar[bool] = True
    """Whether smoothing and fitting must obey it."""
    remedies: ClassVar[tuple[str, ...]] = ()
    """Kinds of remedy that suit a finding, best first (`calib_model.remedies`)."""
    neighbours: ClassVar[int] = 1
    """How many cells in a row along its `axis` it takes to be looked at."""
    looks_at_axis: ClassVar[bool] = False
    """Whether it looks at breakpoints and not at cells."""

    def suited(self) -> tuple[str, ...]:
        """Kinds of remedy that suit a finding of this very rule, best first."""
        return self.remedies

    def reads(self) -> tuple[str, ...]:
        """Ids of other tables of the set that the rule reads."""
        return ()

    def stackable(self) -> bool:
        """Whether tables with different breakpoints may be given in one stack."""
        return not self.reads()

    def rows(self, stack: Stack, context: Context) -> Rows:
        """State the rule for a stack as linear rows."""
        raise NotImplementedError

    def statement(self, table: Table) -> str:
        """What the rule asks of the table, in words, such as ``rises with pedal``."""
        raise NotImplementedError

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """One breach in words a person can act on."""
        raise NotImplementedError

    def amount_unit(self, table: Table) -> str:
        """Unit of the size of a breach."""
        return table.unit

    def looks_at(self, table: Table) -> BoolArray | None:
        """Return the cells of a table that the rule looks at, in its shape; None for all.

        What it looks at does not depend on values, so that a count of it is cheap.
        """
        if not self.scope and self.neighbours == 1:
            return None
        axis = -1
        if self.neighbours > 1:
            try:
                axis = find_axis(table, getattr(self, "axis", ""))
            except ModelError:
                return np.zeros(table.shape, dtype=bool)
        if not self.scope:
            whole = table.shape[axis] >= self.neighbours
            return None if whole else np.zeros(table.shape, dtype=bool)
        seen = np.ones(table.shape, dtype=bool)
        for part in self.scope:
            try:
                number = find_axis(table, part.axis)
            except ModelError:  # an input that only the other table of a pair reads
                continue
            x = table.axes[number].values
            inside = (x >= part.low) & (x <= part.high)
            if number == axis and int(inside.sum()) < self.neighbours:
                return np.zeros(table.shape, dtype=bool)
            seen &= inside.reshape([-1 if n == number else 1 for n in range(seen.ndim)])
        return seen

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """Evaluate the rule: by default, the rows that do not hold."""
        rows = self.scoped(self.rows(stack, context), stack)
        with np.errstate(invalid="ignore", over="ignore"):  # empty cells and infinities
            total = self.total(rows, stack, context)
            excess = total - rows.bound
        if rows.equal:
            excess = np.abs(excess)
        bad = excess > rows.tolerance
        if rows.active is not None:
            bad &= rows.active
        own = rows.terms[0]
        coefficients = np.broadcast_to(own.coefficients, (len(stack), *own.cells.shape))
        bad = np.broadcast_to(bad, excess.shape)
        found = []
        for index in np.flatnonzero(bad.any(axis=1)).tolist():
            missed = np.flatnonzero(bad[index])
            worst = int(missed[np.argmax(np.abs(excess[index, missed]))])
            cells = _used(own.cells[worst], coefficients[index, worst])
            others: tuple[int, ...] = ()
            if missed.size > 1:
                reached = own.cells[missed][coefficients[index, missed] != 0]
                others = tuple(c for c in np.unique(reached).tolist() if c not in cells)
            amount = float(excess[index, worst])
            found.append(Breach(index, cells, amount, worst, others, missed.size))
        return found

    @staticmethod
    def total(rows: Rows, stack: Stack, context: Context) -> FloatArray:
        """Left-hand sides of the rows, shape (n, m)."""
        total: Any = 0.0
        for term in rows.terms:
            if term.in_base:
                base = context.base_table(term.table)
                assert base is not None
                values = base.values.reshape(1, -1)
            elif term.table:
                values = context.table(term.table).values.reshape(1, -1)
            else:
                values = stack.values
            product = values[:, term.cells]
            if term.coefficients.all():
                product = term.coefficients * product
            else:  # a zero coefficient must not let an empty cell (NaN) spoil the row
                zero = term.coefficients == 0
                product = np.where(zero, 0.0, term.coefficients * product)
            total = total + _sum_of_last(product)
        return np.asarray(np.broadcast_to(total, (len(stack), rows.terms[0].cells.shape[0])))

    def scoped(self, rows: Rows, stack: Stack) -> Rows:
        """Switch off the rows that have a cell outside the rule's scope."""
        active = rows.active
        cells = rows.terms[0].cells
        for part in self.scope:
            x = stack.x_of_cells(stack.axis(part.axis), cells)
            inside: BoolArray = np.asarray(((x >= part.low) & (x <= part.high)).all(axis=-1))
            active = inside if active is None else active & inside
        return Rows(rows.terms, rows.bound, rows.equal, rows.tolerance, active)

    # -- plain data ----------------------------------------------------------------------

    def to_plain(self) -> dict[str, Any]:
        """Return the rule as plain data, defaults left out."""
        plain: dict[str, Any] = {"kind": self.kind}
        for entry in fields(self):
            value = getattr(self, entry.name)
            if value == entry.default:
                continue
            plain[entry.name] = _plain(value)
        return plain


def _sum_of_last(parts: FloatArray) -> FloatArray:
    """Sum over the last axis; numpy's own sum is slow where that axis has two or three."""
    count = parts.shape[-1]
    if not 1 <= count <= 4:
        return np.asarray(parts.sum(axis=-1))
    total = parts[..., 0]
    for number in range(1, count):
        total = total + parts[..., number]
    return np.asarray(total)


KINDS: dict[str, type[Rule]] = {}


def register(cls: type[Rule]) -> type[Rule]:
    """Class decorator: make a rule known by its `kind`."""
    if not cls.kind or cls.kind in KINDS:
        raise ModelError(f"Rule kind {cls.kind!r} is empty or taken.")
    KINDS[cls.kind] = cls
    return cls


def _plain(value: Any) -> Any:
    if isinstance(value, Range):
        part: dict[str, Any] = {"axis": value.axis}
        if value.low != -np.inf:
            part["low"] = value.low
        if value.high != np.inf:
            part["high"] = value.high
        return part
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    return str(value) if isinstance(value, StrEnum) else value


def _used(cells: IntArray, coefficients: FloatArray) -> tuple[int, ...]:
    used = coefficients != 0
    if not used.any():  # multiplied away, but this is still the place
        used = np.ones_like(used)
    return tuple(dict.fromkeys(cells[used].tolist()))


# -- words shared by the rules' sentences --------------------------------------------------


def stated(rule: Rule, table: Table) -> str:
    """Return `Rule.statement`, or the rule's kind where it does not fit the table."""
    try:
        return rule.statement(table)
    except BitepointError:  # such a rule is listed as not checked; showing it is no error
        return rule.kind.replace("_", " ")


def at_cell(table: Table, cell: int, but: int = -1) -> str:
    """Return where a flat cell lies, in words: ``at −10 °C, 40 %``; axis `but` left out."""
    if not table.axes:
        return ""
    index = np.unravel_index(cell, table.shape)
    parts = [
        axis.said(float(axis.values[i]))
        for number, (axis, i) in enumerate(zip(table.axes, index, strict=True))
        if number != but
    ]
    return "at " + ", ".join(parts) if parts else ""


def between(table: Table, axis: int, first: int, second: int) -> str:
    """Return the stretch between two cells of one axis: ``between 30 and 40 %``."""
    a, b = sorted(
        float(table.axes[axis].values[np.unravel_index(c, table.shape)[axis]])
        for c in (first, second)
    )
    return f"between {table.axes[axis].said_short(a)} and {table.axes[axis].said(b)}"


def axis_label(table: Table, reference: str) -> str:
    """Return an axis's name for use inside a sentence."""
    label = table.axes[find_axis(table, reference)].label
    return label[:1].lower() + label[1:]
