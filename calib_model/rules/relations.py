"""Rules that tie a table to another table, or to itself in another drive mode."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np

from ..core.numbers import short, with_unit
from ..core.rule import (
    Breach,
    Context,
    NotChecked,
    Rows,
    Rule,
    Stack,
    Term,
    at_cell,
    axis_label,
    between,
    find_axis,
    register,
)
from ..core.rule_settings import In, Of, Picture, told
from ..core.table import Table
from ..lookup.reference import weights
from . import pictures
from .nodes import Nodes, require_same_unit, union_nodes, weighted
from .shape import _one_of, scope_words

SENSES = (">=", "<=", "==")
_WORDS = {">=": "at least", "<=": "at most", "==": "equal to"}
RESTORE_GAP = "restore gap"
EXCHANGE = "exchange branches"


def relation_rows(
    stack: Stack,
    nodes: Nodes,
    term: Term,
    sense: str,
    offset: float,
    own_factor: float | np.ndarray = 1.0,
) -> Rows:
    """State ``own (sense) other + offset`` at comparison points as rows."""
    sign = {">=": -1.0, "<=": 1.0, "==": 1.0}[sense]
    factor = np.reshape(own_factor, (-1, 1))
    own = Term(nodes.own_cells, sign * nodes.own_shares * factor)
    other = replace(term, coefficients=-sign * term.coefficients)
    bound = np.array(sign * offset)
    return Rows((own, other), bound, sense == "==", stack.loose)


@register
@dataclass(frozen=True)
class Relation(Rule):
    """Values are at least, at most or equal to another table's, with factor and offset.

    ``own * times (sense) factor * other + offset`` at every node of the union grid.  An input
    that only the other table reads counts at all its breakpoints: "at least the largest over
    pedal" is ``>=`` another table that reads pedal besides.
    """

    other: str = field(metadata=told("The other table.", Of.TABLE))
    sense: str = field(
        metadata=told("On which side of the other table's these values lie.", choices=SENSES)
    )
    factor: float = field(
        default=1.0,
        metadata=told("Multiplies the other table; carries any conversion between the two units."),
    )
    offset: float = field(default=0.0, metadata=told("Added to the other table.", unit=In.TABLE))
    times: str = field(
        default="",
        metadata=told("A third table that multiplies the own values; none if empty.", Of.TABLE),
    )
    factor_reason: str = field(
        default="", metadata=told("Where the factor comes from, for the reader.")
    )

    kind: ClassVar[str] = "relation"
    explained: ClassVar[str] = (
        "Values are at least, at most or equal to another table's, wherever both are read. An "
        "input that only the other table reads counts at all its breakpoints."
    )
    picture: ClassVar[Picture] = pictures.BESIDE
    remedies: ClassVar[tuple[str, ...]] = (RESTORE_GAP,)

    def __post_init__(self) -> None:
        _one_of(self.sense, SENSES, "sense")

    def reads(self) -> tuple[str, ...]:
        """See `Rule.reads`."""
        return (self.other, self.times) if self.times else (self.other,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One row per comparison point."""
        nodes = self.nodes(stack.first, context)
        term = Term(nodes.other_cells, self.factor * nodes.other_shares, self.other)
        times: np.ndarray | float = 1.0
        if self.times:
            times = _value_at(context.table(self.times), nodes)
        return relation_rows(stack, nodes, term, self.sense, self.offset, times)

    def scoped(self, rows: Rows, stack: Stack) -> Rows:
        """The scope chose the comparison points already."""
        return rows

    def nodes(self, table: Table, context: Context) -> Nodes:
        """Return the comparison points."""
        return union_nodes(table, context.table(self.other), self.scope)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        factor = f"{short(self.factor)} × " if self.factor != 1 else ""
        offset = ""
        if self.offset:
            sign = "+" if self.offset > 0 else "\N{MINUS SIGN}"
            offset = f" {sign} {with_unit(abs(self.offset), table.unit)}"
        times = f"times {self.times} " if self.times else ""
        where = scope_words_safe(table, self)
        return f"{times}{_WORDS[self.sense]} {factor}{self.other}{offset}{where}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        nodes = self.nodes(table, context)
        row = breach.detail
        other = context.table(self.other)
        theirs = float(nodes.read_other(other)[row])
        ours = float(nodes.read_own(table)[row])
        limit = self.factor * theirs + self.offset
        product = ""
        if self.times:
            times = float(_value_at(context.table(self.times), nodes)[row])
            limit = limit / times if times else float("inf")
            product = f" (with {context.table(self.times).label} of {short(times)})"
        return (
            f"{table.said(ours)} {nodes.words(row)}; it must be {_WORDS[self.sense]} "
            f"{table.said(limit, 4)}, since {other.label} is "
            f"{other.said(theirs, 5)} there{product}."
        )


@register
@dataclass(frozen=True)
class Hysteresis(Rule):
    """The lower table of a pair that must stay apart: own values + gap <= the other's."""

    other: str = field(metadata=told("The upper table of the pair.", Of.TABLE))
    gap: float = field(
        default=0.0,
        metadata=told(
            "Smallest distance; 0 for one storage step of this table.", unit=In.TABLE, low=0
        ),
    )
    branches: bool = field(
        default=False,
        metadata=told(
            "Whether the two are branches of one measured loop, which may have been exchanged."
        ),
    )

    kind: ClassVar[str] = "hysteresis"
    explained: ClassVar[str] = (
        "The lower table of a pair stays below the upper one by a gap, so that what switches on "
        "at one and off at the other does not chatter."
    )
    picture: ClassVar[Picture] = pictures.APART
    remedies: ClassVar[tuple[str, ...]] = (RESTORE_GAP,)

    def suited(self) -> tuple[str, ...]:
        """Branches of a measured loop may have been exchanged; other pairs cannot be."""
        return (EXCHANGE, RESTORE_GAP) if self.branches else self.remedies

    def reads(self) -> tuple[str, ...]:
        """See `Rule.reads`."""
        return (self.other,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One row per comparison point."""
        nodes = self.nodes(stack.first, context)
        term = Term(nodes.other_cells, nodes.other_shares, self.other)
        return relation_rows(stack, nodes, term, "<=", -self.distance(stack.first))

    def scoped(self, rows: Rows, stack: Stack) -> Rows:
        """The scope chose the comparison points already."""
        return rows

    def nodes(self, table: Table, context: Context) -> Nodes:
        """Return the comparison points."""
        return union_nodes(table, context.table(self.other), self.scope)

    def distance(self, table: Table) -> float:
        """Return the gap in force."""
        return self.gap or table.storage.resolution

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        gap = with_unit(self.distance(table), table.unit)
        return f"at least {gap} below {self.other}{scope_words_safe(table, self)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        nodes = self.nodes(table, context)
        row = breach.detail
        other = context.table(self.other)
        theirs = float(nodes.read_other(other)[row])
        ours = float(nodes.read_own(table)[row])
        return (
            f"{table.said(ours)} {nodes.words(row)} is too close to {other.label}, "
            f"{other.said(theirs)}; it must stay at least "
            f"{with_unit(self.distance(table), table.unit)} below."
        )


@register
@dataclass(frozen=True)
class RateWithin(Rule):
    """Slope times the input's largest rate stays within a capability table.

    A plain step between cells says nothing; what counts is how fast the value moves when the
    input moves as fast as it can.
    """

    axis: str = field(metadata=told("The input that moves.", Of.AXIS))
    rate: float = field(metadata=told("Its largest rate.", unit=In.AXIS_PER_SECOND, low=0))
    capability: str = field(
        metadata=told(
            "The table that holds the largest rate of the values: their unit per second, times "
            "1/factor.",
            Of.TABLE,
        )
    )
    factor: float = field(default=1.0, metadata=told("Multiplies the capability."))

    kind: ClassVar[str] = "rate_within"
    neighbours: ClassVar[int] = 2
    explained: ClassVar[str] = (
        "When the input moves as fast as it can, the value asks for no more per second than "
        "another table (a slew) allows. Catches cliffs that come too late in the vehicle."
    )
    picture: ClassVar[Picture] = pictures.RATE
    remedies: ClassVar[tuple[str, ...]] = ("re-interpolate",)

    def reads(self) -> tuple[str, ...]:
        """See `Rule.reads`."""
        return (self.capability,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Differences, with the least capability along each stretch times its shortest time."""
        axis = stack.axis(self.axis)
        pairs = stack.runs(axis, 2)
        step = np.diff(stack.x_of_cells(axis, pairs), axis=-1)[..., 0]
        limit = self.least_capability(stack.first, pairs, context) * np.abs(step) / self.rate
        cells = np.concatenate([pairs[:, ::-1], pairs])
        return stack.own(
            cells,
            [1.0, -1.0],
            np.concatenate([limit, limit], axis=-1),
            tolerance=stack.loose,
        )

    def least_capability(self, table: Table, pairs: np.ndarray, context: Context) -> np.ndarray:
        """Least capability over a stretch and over every input the table does not read."""
        capability = context.table(self.capability)
        values = self.factor * capability.values
        matched: list[tuple[int, int]] = []
        for number in range(len(capability.axes) - 1, -1, -1):
            quantity = capability.axes[number].quantity
            own = table.axis_of(quantity) if quantity else -1
            if own < 0:
                values = values.min(axis=number)
            else:
                require_same_unit(table.axes[own], capability.axes[number], capability)
                matched.insert(0, (own, number))
        if not matched:
            return np.full(len(pairs), float(values))
        axes = [capability.axes[n] for _, n in matched]
        flat = np.ascontiguousarray(values).reshape(-1)
        least = np.full(len(pairs), np.inf)
        for column in range(pairs.shape[1]):
            index = np.unravel_index(pairs[:, column], table.shape)
            points = [table.axes[own].values[index[own]] for own, _ in matched]
            cells, shares = weights(axes, points)
            least = np.minimum(least, weighted(flat, cells, shares))
        return least

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        unit = table.axes[find_axis(table, self.axis)].unit
        return (
            f"slope over {axis_label(table, self.axis)} times {with_unit(self.rate, unit)} per "
            f"second within {self.capability}"
        )

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        axis = find_axis(table, self.axis)
        first, second = sorted(breach.cells)
        x = table.axes[axis].values
        i, j = (np.unravel_index(c, table.shape)[axis] for c in (first, second))
        rise = float(table.values.flat[second] - table.values.flat[first])
        needed = abs(rise / (x[j] - x[i])) * self.rate
        pair = np.array([[first, second]])
        has = float(self.least_capability(table, pair, context)[0])
        where = f"{between(table, axis, first, second)} {at_cell(table, first, axis)}".strip()
        rate = with_unit(self.rate, table.axes[axis].unit)
        return (
            f"{axis_label(table, self.axis).capitalize()} moving at {rate} per second asks for "
            f"{with_unit(needed, table.unit, 4)} per second {where}; "
            f"{context.table(self.capability).label} allows {with_unit(has, table.unit, 4)} per "
            "second."
        )


@register
@dataclass(frozen=True)
class ZeroWithin(Rule):
    """Values are zero wherever an axis lies within ± another table's value (a dead band)."""

    axis: str = field(metadata=told("The axis that the band lies on.", Of.AXIS))
    band: str = field(
        metadata=told("The table that holds half the band's width, in the axis's unit.", Of.TABLE)
    )

    kind: ClassVar[str] = "zero_within"
    explained: ClassVar[str] = (
        "Values are zero while the axis lies within a dead band that another table holds, so that "
        "noise moves nothing."
    )
    picture: ClassVar[Picture] = pictures.BAND
    remedies: ClassVar[tuple[str, ...]] = ("zero",)

    def reads(self) -> tuple[str, ...]:
        """See `Rule.reads`."""
        return (self.band,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One equality per cell inside the band."""
        table = stack.first
        axis = stack.axis(self.axis)
        cells = stack.numbers.reshape(-1)
        half = self._half_width(table, context)
        inside = np.abs(stack.x_of_cells(axis, cells)) <= half
        return stack.own(cells[:, None], [1.0], 0.0, equal=True, active=inside)

    def _half_width(self, table: Table, context: Context) -> np.ndarray:
        """Least half-width at each cell, over inputs that only the band reads."""
        band = context.table(self.band)
        index = np.unravel_index(np.arange(table.values.size), table.shape)
        points = []
        for axis in band.axes:
            own = table.axis_of(axis.quantity)
            if own < 0:
                raise NotChecked(f"{self.band} reads {axis.label}, which {table.id} does not.")
            require_same_unit(table.axes[own], axis, band)
            points.append(table.axes[own].values[index[own]])
        if not band.axes:
            return np.full(table.values.size, float(band.values))
        cells, shares = weights(band.axes, points)
        return weighted(band.values, cells, shares)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"zero where {axis_label(table, self.axis)} lies within ± {self.band}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        (cell,) = breach.cells
        half = float(self._half_width(table, context)[cell])
        unit = table.axes[find_axis(table, self.axis)].unit
        return (
            f"{table.said(float(table.values.flat[cell]))} {at_cell(table, cell)}; it "
            f"must be zero within ±{with_unit(half, unit)} ({context.table(self.band).label})."
        )


@register
@dataclass(frozen=True)
class ModeRelation(Rule):
    """The relation to the base mode's table of the same id, as `Table.relations` states it.

    Always in force; which sense applies follows from the set's mode.
    """

    kind: ClassVar[str] = "mode_relation"
    explained: ClassVar[str] = (
        "What the table promises towards the base mode's table of the same id. In force for every "
        "table that states a relation; change the relation itself."
    )
    picture: ClassVar[Picture] = pictures.BESIDE
    remedies: ClassVar[tuple[str, ...]] = (RESTORE_GAP,)

    def stackable(self) -> bool:
        """Each table has its own partner."""
        return False

    def sense(self, table: Table, mode: str) -> str:
        """Return the sense in force: one of ``>= <= == zero``, or empty for none."""
        sense = table.relations.get(mode, "")
        return "" if sense == "free" else sense

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One row per node of the union grid of the two tables."""
        table = stack.first
        sense = self.sense(table, context.mode)
        if sense == "zero":
            return stack.own(stack.numbers.reshape(-1, 1), [1.0], 0.0, equal=True)
        base = self._base(table, context)
        nodes = union_nodes(table, base)
        term = Term(nodes.other_cells, nodes.other_shares, table.id, in_base=True)
        return relation_rows(stack, nodes, term, sense, 0.0)

    def _base(self, table: Table, context: Context) -> Table:
        base = context.base_table(table.id)
        if base is None:
            raise NotChecked(f"The base set has no table {table.id}.")
        if base.unit != table.unit:
            raise NotChecked(f"Units differ: {table.unit} here, {base.unit} in the base set.")
        return base

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        if not table.relations:
            return "no relation to the base mode is stated"
        words = {sense: f"{text} the base mode's" for sense, text in _WORDS.items()}
        words |= {"==": "the same as the base mode's", "zero": "zero", "free": "free"}
        parts = (f"in mode {mode} {words[sense]}" for mode, sense in table.relations.items())
        return "; ".join(parts)

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        mode, base_mode = context.mode, context.base_mode
        sense = self.sense(table, mode)
        cell = breach.cells[0]
        if sense == "zero":
            value = table.said(float(table.values.flat[cell]))
            return f"{value} {at_cell(table, cell)}; it must be zero in mode {mode}.".replace(
                " ;", ";"
            )
        base = self._base(table, context)
        nodes = union_nodes(table, base)
        row = breach.detail
        theirs = float(nodes.read_other(base)[row])
        ours = float(nodes.read_own(table)[row])
        side = "below" if ours < theirs else "above"
        must = {">=": "at least", "<=": "at most", "==": "the same as"}[sense]
        where = nodes.words(row)
        return (
            f"{table.said(ours)} in mode {mode} is "
            f"{with_unit(abs(ours - theirs), table.unit)} {side} the {base_mode} mode's "
            f"{table.said(theirs)}{' ' + where if where else ''}; "
            f"it must be {must} that."
        )


_COMPARE = {">=": np.greater_equal, "<=": np.less_equal, "==": np.equal}


def holds_plainly(table: Table, base: Table | None, sense: str) -> bool:
    """Tell cheaply that a mode relation holds: cells that correspond, each on the right side.

    Parameters
    ----------
    table, base : Table
        The mode's and the base mode's.
    sense : str
        As `ModelRelation.sense` gives it.

    Returns
    -------
    bool
        False where the rule itself has to be asked.
    """
    if sense == "zero":
        return not table.values.any()
    if base is None or base.unit != table.unit or base.shape != table.shape:
        return False
    for a, b in zip(table.axes, base.axes, strict=True):
        if a is not b and not (
            a.quantity == b.quantity
            and (a.quantity or a.name == b.name)
            and a.unit == b.unit
            and a.values.tobytes() == b.values.tobytes()
        ):
            return False
    if table.values is base.values:
        return True
    holds = _COMPARE.get(sense)
    return holds is not None and bool(holds(table.values, base.values).all())


def scope_words_safe(table: Table, rule: Rule) -> str:
    """Return `scope_words`, also where the scope names an axis of the other table."""
    own = tuple(
        part for part in rule.scope if any(part.axis in (a.quantity, a.name) for a in table.axes)
    )
    return scope_words(table, replace(rule, scope=own))


def _value_at(table: Table, nodes: Nodes) -> np.ndarray:
    """Return another table's values at comparison points."""
    points = []
    for axis in table.axes:
        match = next(
            (n for n, a in enumerate(nodes.axes) if a.quantity and a.quantity == axis.quantity), -1
        )
        if match < 0:
            raise NotChecked(f"{table.id} reads {axis.label}, which the compared tables do not.")
        require_same_unit(nodes.axes[match], axis, table)
        points.append(nodes.points[match])
    if not table.axes:
        return np.full(nodes.own_cells.shape[0], float(table.values))
    cells, shares = weights(table.axes, points)
    return weighted(table.values, cells, shares)
