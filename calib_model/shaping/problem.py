"""The linear rules in force for some tables, as one sparse system over their stacked cells.

Each row is ``sum(coefficient * cell) <= bound`` (or ``==``).  Tables that do not move are
constants, folded into the bounds; their rules are included where they read a table that moves.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from ..core.arrays import BoolArray, FloatArray, IntArray
from ..core.calibration_set import CalibrationSet
from ..core.rule import NotChecked, Rows, Rule, Stack, Term
from ..core.table import Table
from ..errors import BitepointError, EditRefused
from ..rules.check import MODE_RELATION, Surroundings
from ..rules.limits import Limits
from .reduce import reduce, row_sums
from .waived import allowances

if TYPE_CHECKING:
    from .reduce import Reduced

Place = tuple[int, str]
"""A table: number of its set (0 the set itself, then those it is checked against) and id."""

LIMITS = Limits()


@dataclass(frozen=True)
class Source:
    """A rule and the table it lives on."""

    rule: Rule
    place: Place


@dataclass(frozen=True)
class Missing:
    """A rule whose rows could not be stated, and why."""

    rule: Rule
    place: Place
    reason: str


@dataclass(frozen=True, eq=False)
class RuleSystem:
    """Linear rules over the cells of the tables that may move.

    Parameters
    ----------
    sets : tuple of CalibrationSet
        The set itself, then those it is checked against.
    places : tuple of Place
        The tables that may move, in the order in which their cells are stacked.
    matrix : scipy.sparse.csr_array, shape (m, n)
        Coefficients over the n stacked cells.
    bound, tolerance : float arrays, shape (m,)
        Tolerance: by how much a row may be missed.
    equal : bool array, shape (m,)
    origin, number : int arrays, shape (m,)
        Which of `sources` a row comes from, and which row of that rule it is.
    sources : tuple of Source
    missing : tuple of Missing
        Rules that could not be stated.
    allowed : bool array, shape (n,)
        Cells that may move as far as the user is concerned (locks are rows).
    read_as_factor : tuple of Source
        Rules that use a moving table's values as coefficients; these are constants during a
        solve, so such rules are to be looked at again afterwards.
    """

    sets: tuple[CalibrationSet, ...]
    places: tuple[Place, ...]
    matrix: Any
    bound: FloatArray
    tolerance: FloatArray
    equal: BoolArray
    origin: IntArray
    number: IntArray
    sources: tuple[Source, ...]
    missing: tuple[Missing, ...]
    allowed: BoolArray
    read_as_factor: tuple[Source, ...] = ()

    @cached_property
    def tables(self) -> tuple[Table, ...]:
        """The tables that may move."""
        return tuple(self.sets[s].tables[id] for s, id in self.places)

    @cached_property
    def starts(self) -> tuple[int, ...]:
        """Where each table's cells begin in the stack; the last entry is their number."""
        sizes = [t.values.size for t in self.tables]
        return tuple(int(x) for x in np.concatenate([[0], np.cumsum(sizes)]))

    @property
    def size(self) -> int:
        """Number of stacked cells."""
        return self.starts[-1]

    @cached_property
    def values(self) -> FloatArray:
        """Present values of the stacked cells; NaN where empty or not finite."""
        stacked = np.concatenate([t.values.reshape(-1) for t in self.tables])
        return np.where(np.isfinite(stacked), stacked, np.nan)

    @cached_property
    def owner(self) -> IntArray:
        """Number of the table that each stacked cell belongs to."""
        return np.repeat(np.arange(len(self.tables)), [t.values.size for t in self.tables])

    @cached_property
    def span(self) -> FloatArray:
        """Size of its table's range for each stacked cell; 1 where that is nil."""
        spans = np.array([t.span if t.span > 0 else 1.0 for t in self.tables])
        return np.asarray(spans[self.owner])

    @cached_property
    def step(self) -> FloatArray:
        """One storage step for each stacked cell; 0 for float storage."""
        steps = np.array([t.storage.resolution for t in self.tables])
        return np.asarray(steps[self.owner])

    @cached_property
    def reduced(self) -> Reduced:
        """The system with single-cell rows as limits and pinned cells taken out."""
        return reduce(self)

    def with_reduced(self, reduced: Reduced) -> RuleSystem:
        """Return the system with another reduced form."""
        other = replace(self)
        other.__dict__["reduced"] = reduced  # where the cached property would put it
        return other

    def held_at(self, values: FloatArray, stays: BoolArray) -> RuleSystem:
        """Return the system at other values, with some cells not allowed to move from there."""
        other = replace(self, allowed=self.allowed & ~stays)
        other.__dict__["values"] = np.array(values)
        other.__dict__["span"] = self.span
        return other

    def stacked(self, by_table: Mapping[str, Any], fill: float) -> FloatArray:
        """Stack one array per table of the set itself; `fill` where none is given."""
        result = np.full(self.size, fill)
        for place, start, stop in zip(self.places, self.starts, self.starts[1:], strict=False):
            if place[0] == 0 and place[1] in by_table:
                given = np.asarray(by_table[place[1]], dtype=np.float64)
                shape = self.sets[0].tables[place[1]].shape
                if given.ndim and given.shape != shape:
                    raise EditRefused(
                        f"An array of shape {given.shape} does not fit {place[1]}, whose shape "
                        f"is {shape}."
                    )
                result[start:stop] = np.broadcast_to(given, shape).reshape(-1)
        return result

    def unstacked(self, stack: FloatArray) -> dict[Place, FloatArray]:
        """Return each table's part of stacked cells, in the table's shape.

        A cell that is not finite and stays so keeps what it held.
        """
        result = {}
        for number, (place, table) in enumerate(zip(self.places, self.tables, strict=True)):
            part = stack[self.starts[number] : self.starts[number + 1]].reshape(table.shape)
            result[place] = np.where(np.isnan(part), table.values, part)
        return result

    def excess(self, values: FloatArray) -> FloatArray:
        """By how much each row is missed; nil or below where it holds.

        Evaluated as the checker does: plain sums of products, no scaling.
        """
        over = row_sums(self.matrix, values) - self.bound
        return np.asarray(np.where(self.equal, np.abs(over), over))

    def broken(self, values: FloatArray) -> IntArray:
        """Rows that do not hold within their tolerance; an empty cell breaks none."""
        with np.errstate(invalid="ignore"):
            return np.flatnonzero(self.excess(values) > self.tolerance)

    def cells_of(self, row: int) -> IntArray:
        """Stacked cells of a row."""
        a, b = self.matrix.indptr[row : row + 2]
        return np.asarray(self.matrix.indices[a:b], dtype=np.int64)

    def locate(self, cell: int) -> tuple[int, int]:
        """Return the number of the table and the flat cell in it of a stacked cell."""
        owner = int(self.owner[cell])
        return owner, cell - self.starts[owner]


def gather(
    content: CalibrationSet,
    tables: Iterable[str | Place],
    *,
    against: Sequence[CalibrationSet] = (),
    allowed: Mapping[str, BoolArray] | None = None,
    without: Iterable[str] = (),
) -> RuleSystem:
    """State the linear rules in force for some tables; waived breaches may stay.

    Parameters
    ----------
    content : CalibrationSet
    tables : iterable of table id, or of (number of set, id)
        The tables that may move.  A number above 0 is a set of `against`, counted from 1, for
        the relation between modes.
    against : sequence of CalibrationSet
        Sets of other modes, as for `calib_model.rules.check.check`.
    allowed : mapping of table id to bool array of the table's shape
        Cells that may move; all of a table that is not named.
    without : iterable of str
        Kinds of rule to leave out.

    Raises
    ------
    ModelError
        If there is no such table.
    EditRefused
        If a selection does not fit its table.
    """
    sets = (content, *against)
    named = (t if isinstance(t, tuple) else (0, t) for t in tables)
    places = tuple(dict.fromkeys(named))
    for number, id in places:
        sets[number][id]  # says what is wrong if there is none
    builder = _Builder(sets, places)
    left_out = frozenset(without)
    for source, context in _in_force(sets, places):
        rule = source.rule
        if rule.linear and rule.constrains and rule.kind not in left_out:
            builder.add(source, context)
    return builder.build(allowed or {})


def _in_force(
    sets: tuple[CalibrationSet, ...], places: tuple[Place, ...]
) -> Iterator[tuple[Source, Surroundings]]:
    """Yield the rules that speak of a moving table, each with what it may read."""
    for number in dict.fromkeys(n for n, _ in places):
        own = [id for n, id in places if n == number]
        content = sets[number]
        context = Surroundings(content, None)
        for id in own:
            for rule in (LIMITS, *content.tables[id].rules_in_force):
                yield Source(rule, (number, id)), context
        moving = frozenset(own)
        for table in content:
            if table.rules and table.id not in moving:
                for rule in table.rules_in_force:
                    if not moving.isdisjoint(rule.reads()):
                        yield Source(rule, (number, table.id)), context
    moving_places = frozenset(places)
    for mode, base in _mode_pairs(sets):
        context = Surroundings(sets[mode], sets[base])
        for id in dict.fromkeys(id for _, id in places):
            if not moving_places & {(mode, id), (base, id)} or id not in sets[mode]:
                continue
            if MODE_RELATION.sense(sets[mode].tables[id], sets[mode].mode):
                yield Source(MODE_RELATION, (mode, id)), context
    # A relation that asks for zero needs no base set to be stated.
    if not sets[0].is_base and not any(m == 0 for m, _ in _mode_pairs(sets)):
        context = Surroundings(sets[0], None)
        for number, id in places:
            if number == 0 and MODE_RELATION.sense(sets[0].tables[id], sets[0].mode):
                yield Source(MODE_RELATION, (0, id)), context


def _mode_pairs(sets: tuple[CalibrationSet, ...]) -> list[tuple[int, int]]:
    """Numbers of every mode set with its base set; one of the two is the set itself."""
    pairs = []
    for m, mode_set in enumerate(sets):
        for b, base in enumerate(sets):
            related = not mode_set.is_base and base.is_base and mode_set.base_mode == base.mode
            if related and 0 in (m, b):
                pairs.append((m, b))
    return pairs


@dataclass
class _Builder:
    """Collects rows."""

    sets: tuple[CalibrationSet, ...]
    places: tuple[Place, ...]
    sources: list[Source] = field(default_factory=list)
    missing: list[Missing] = field(default_factory=list)
    factors: list[Source] = field(default_factory=list)
    parts: list[tuple[Any, ...]] = field(default_factory=list)
    count: int = 0

    def __post_init__(self) -> None:
        sizes = [self.sets[s].tables[id].values.size for s, id in self.places]
        starts = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
        self.start = dict(zip(self.places, starts.tolist(), strict=False))
        self.size = int(starts[-1])

    def add(self, source: Source, context: Surroundings) -> None:
        """Add the rows of one rule; rows that read no moving cell, or bound nothing, are left."""
        number, id = source.place
        stack = Stack([self.sets[number].tables[id]])
        try:
            with np.errstate(all="ignore"):
                rows = source.rule.scoped(source.rule.rows(stack, context), stack)
        except (NotChecked, BitepointError) as problem:
            self.missing.append(Missing(source.rule, source.place, str(problem)))
            return
        m = rows.terms[0].cells.shape[0]
        bound = np.array(np.broadcast_to(rows.bound, (1, m))[0], dtype=np.float64)
        row_parts, cell_parts, coefficient_parts = [], [], []
        for term in rows.terms:
            place = self._place(term, source, context)
            coefficients = np.broadcast_to(term.coefficients, (1, *term.cells.shape))[0]
            if place in self.start:
                used = coefficients != 0
                row_parts.append(np.nonzero(used)[0])
                cell_parts.append(term.cells[used] + self.start[place])
                coefficient_parts.append(coefficients[used])
            else:
                values = self.sets[place[0]].tables[place[1]].values.reshape(-1)[term.cells]
                fixed = np.where(coefficients == 0, 0.0, coefficients * values)
                bound = bound - fixed.sum(axis=-1)
        active = np.isfinite(bound)
        if rows.active is not None:
            active &= np.broadcast_to(rows.active, (1, m))[0]
        in_row = np.concatenate(row_parts) if row_parts else np.empty(0, dtype=np.int64)
        reads = np.zeros(m, dtype=bool)
        reads[in_row] = True
        if not reads.any() or self._as_factor(source):
            self.factors.append(source)
        active &= reads
        self._forgive(source, rows, bound, active)
        kept = np.flatnonzero(active)
        if not kept.size:
            return
        place_of = np.full(m, -1, dtype=np.int64)
        place_of[kept] = self.count + np.arange(kept.size)
        use = active[in_row]
        self.parts.append(
            (
                place_of[in_row[use]],
                np.concatenate(cell_parts)[use],
                np.concatenate(coefficient_parts)[use],
                bound[kept],
                self._tolerance(rows, m)[kept],
                np.full(kept.size, rows.equal),
                np.full(kept.size, len(self.sources)),
                kept,
            )
        )
        self.sources.append(source)
        self.count += kept.size

    def _forgive(self, source: Source, rows: Rows, bound: FloatArray, active: BoolArray) -> None:
        """Loosen the rows whose breach is waived, by the waived size, in place."""
        number, id = source.place
        content = self.sets[number]
        allowed = allowances(content, source.rule, content.tables[id])
        if not allowed:
            return
        own = rows.terms[0]
        used = np.broadcast_to(own.coefficients, (1, *own.cells.shape))[0] != 0
        for allowance in allowed:
            named = np.isin(own.cells, list(allowance.cells)) | ~used
            for row in np.flatnonzero(named.all(axis=1) & active).tolist():
                if rows.equal:
                    active[row] = False
                else:
                    bound[row] += allowance.size

    @staticmethod
    def _tolerance(rows: Rows, m: int) -> FloatArray:
        return np.array(np.broadcast_to(rows.tolerance, (1, m))[0], dtype=np.float64)

    def _place(self, term: Term, source: Source, context: Surroundings) -> Place:
        number, id = source.place
        if term.in_base:
            base = next(n for n, s in enumerate(self.sets) if s is context.base)
            return base, term.table
        return number, term.table or id

    def _as_factor(self, source: Source) -> bool:
        """Whether the rule multiplies by a moving table, besides the one it is compared with."""
        other = getattr(source.rule, "other", "")
        reads = {(source.place[0], id) for id in source.rule.reads() if id != other}
        return any(place in self.start for place in reads)

    def build(self, allowed: Mapping[str, BoolArray]) -> RuleSystem:
        """Return the system."""
        from scipy.sparse import csr_array

        columns = [np.concatenate(c) for c in zip(*self.parts, strict=True)] if self.parts else []
        if not columns:
            columns = [np.empty(0)] * 8
        rows, cells, coefficients, bound, tolerance, equal, origin, number = columns
        matrix = csr_array(
            (coefficients, (rows.astype(np.int64), cells.astype(np.int64))),
            shape=(self.count, self.size),
        )
        matrix.sum_duplicates()
        matrix.eliminate_zeros()
        system = RuleSystem(
            self.sets,
            self.places,
            matrix,
            bound,
            tolerance,
            equal.astype(bool),
            origin.astype(np.int64),
            number.astype(np.int64),
            tuple(self.sources),
            tuple(self.missing),
            np.ones(self.size, dtype=bool),
            tuple(self.factors),
        )
        if allowed:
            given = {id: np.asarray(mask, dtype=np.float64) for id, mask in allowed.items()}
            system.allowed[:] = system.stacked(given, 1.0) != 0
        return system
