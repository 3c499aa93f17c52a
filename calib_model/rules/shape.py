"""Shape rules: linear inequalities over one table's own values."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..core.arrays import BoolArray
from ..core.numbers import short, with_unit
from ..core.rule import (
    Breach,
    Context,
    Rows,
    Rule,
    Stack,
    at_cell,
    axis_label,
    between,
    find_axis,
    register,
)
from ..core.rule_settings import In, Of, Picture, told
from ..core.table import Table
from ..core.units import shown
from ..errors import ModelError
from ..lookup.reference import weights
from . import pictures

REINTERPOLATE = "re-interpolate"
NEAREST_ORDER = "level"
ZERO_END = "zero"
_ALONG = told("The axis it looks along.", Of.AXIS)


@register
@dataclass(frozen=True)
class Monotone(Rule):
    """Values rise (or fall) along an axis."""

    axis: str = field(metadata=_ALONG)
    direction: str = field(
        default="up",
        metadata=told("Which way, along rising breakpoints.", choices=("up", "down")),
    )
    strict: bool = field(
        default=False, metadata=told("Whether neighbours may not be equal: each step has a size.")
    )
    gap: float = field(
        default=0.0,
        metadata=told(
            "Smallest step where strict; 0 for one storage step (of a float table: 1e-9 of its "
            "range).",
            unit=In.TABLE,
            low=0,
        ),
    )

    kind: ClassVar[str] = "monotone"
    neighbours: ClassVar[int] = 2
    explained: ClassVar[str] = (
        "Values only rise, or only fall, along an axis. Catches a cell that slipped below its "
        "neighbour, where more of the input would give less."
    )
    picture: ClassVar[Picture] = pictures.RISES
    remedies: ClassVar[tuple[str, ...]] = (REINTERPOLATE, NEAREST_ORDER)

    def __post_init__(self) -> None:
        _one_of(self.direction, ("up", "down"), "direction")

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One row per pair of neighbours: first - second <= -gap."""
        pairs = stack.runs(stack.axis(self.axis), 2)
        if self.direction == "down":
            pairs = pairs[:, ::-1]
        if not self.strict:
            return stack.own(pairs, [1.0, -1.0])
        step = np.where(stack.step > 0, stack.step, 2 * stack.loose)
        gap = np.full_like(step, self.gap) if self.gap else step
        return stack.own(pairs, [1.0, -1.0], -gap, tolerance=stack.loose)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        verb = "rises" if self.direction == "up" else "falls"
        strictly = f"{verb} strictly" if self.strict else f"never {_opposite(verb)}"
        return f"{strictly} with {axis_label(table, self.axis)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        axis = find_axis(table, self.axis)
        first, second = sorted(breach.cells)
        a, b = table.values.flat[first], table.values.flat[second]
        where = f"{between(table, axis, first, second)} {at_cell(table, first, axis)}".strip()
        if a == b:
            did = f"Stays at {table.said(a)}"
        else:
            verb = "Falls" if b < a else "Rises"
            did = f"{verb} from {table.said_short(a)} to {table.said(b)}"
        must = "must rise" if self.direction == "up" else "must fall"
        if not self.strict:
            must = "must not fall" if self.direction == "up" else "must not rise"
        elif (b > a) == (self.direction == "up") and a != b:
            # It goes the right way, by too little: say how much is wanted.
            must = f"{must} by at least {self._wanted(table)}"
        return f"{did} {where}; it {must} with {axis_label(table, self.axis)}."

    def _wanted(self, table: Table) -> str:
        """The least step of a strict order, in words."""
        if self.gap:
            return with_unit(self.gap, table.unit)
        if table.storage.is_integer:
            return f"one storage step, {with_unit(table.storage.resolution, table.unit)},"
        return "1e-9 of its range"


@register
@dataclass(frozen=True)
class Slope(Rule):
    """The slope along an axis stays within limits, per unit of the axis."""

    axis: str = field(metadata=_ALONG)
    most: float = field(
        default=np.inf, metadata=told("Largest slope, as rise per unit.", unit=In.PER_AXIS)
    )
    least: float = field(
        default=-np.inf,
        metadata=told(
            "Smallest slope; below zero it bounds how steeply values fall.", unit=In.PER_AXIS
        ),
    )

    kind: ClassVar[str] = "slope"
    neighbours: ClassVar[int] = 2
    explained: ClassVar[str] = (
        "From one breakpoint to the next, values change by no more than so much per unit of the "
        "axis. Catches cliffs."
    )
    picture: ClassVar[Picture] = pictures.SLOPE
    remedies: ClassVar[tuple[str, ...]] = (REINTERPOLATE,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Plain differences, the limit times the step on the right-hand side."""
        axis = stack.axis(self.axis)
        pairs = stack.runs(axis, 2)
        step = np.diff(stack.x_of_cells(axis, pairs), axis=-1)[..., 0]
        cells = np.concatenate([pairs[:, ::-1], pairs])
        # An unbounded side (infinity times a step) is a row that always holds.
        with np.errstate(invalid="ignore"):
            bound = np.concatenate([self.most * step, -self.least * step], axis=-1)
        bound = np.where(np.isnan(bound), np.inf, bound)
        ordered = np.concatenate([step > 0, step > 0], axis=-1)
        return stack.own(cells, [1.0, -1.0], bound, tolerance=stack.loose, active=ordered)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        unit = _slope_unit(table, self.axis)
        label = axis_label(table, self.axis)
        if self.least == -self.most:
            return f"slope over {label} within ±{with_unit(self.most, unit)}"
        parts = []
        if np.isfinite(self.least):
            parts.append(f"at least {with_unit(self.least, unit)}")
        if np.isfinite(self.most):
            parts.append(f"at most {with_unit(self.most, unit)}")
        return f"slope over {label} {' and '.join(parts)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        slope, where = _slope_at(table, self.axis, breach.cells)
        limit = self.most if slope > self.most else self.least
        side = "at most" if slope > self.most else "at least"
        unit = _slope_unit(table, self.axis)
        return (
            f"Slope of {with_unit(slope, unit, 4)} {where}; "
            f"it must be {side} {with_unit(limit, unit, 4)}."
        )


@register
@dataclass(frozen=True)
class Curvature(Rule):
    """Slopes rise (``convex``) or fall (``concave``) along an axis."""

    axis: str = field(metadata=_ALONG)
    shape: str = field(
        default="convex",
        metadata=told(
            "Convex: slopes rise along the axis. Concave: they fall.",
            choices=("convex", "concave"),
        ),
    )

    kind: ClassVar[str] = "curvature"
    neighbours: ClassVar[int] = 3
    explained: ClassVar[str] = (
        "The line bends one way only along an axis. Catches dents and bumps that still rise."
    )
    picture: ClassVar[Picture] = pictures.CURVED
    remedies: ClassVar[tuple[str, ...]] = (REINTERPOLATE,)

    def __post_init__(self) -> None:
        _one_of(self.shape, ("convex", "concave"), "shape")

    def rows(self, stack: Stack, context: Context) -> Rows:
        """The middle of three neighbours lies below (above) the chord of the outer two."""
        axis = stack.axis(self.axis)
        cells = stack.runs(axis, 3)
        x = stack.x_of_cells(axis, cells)
        share = (x[..., 1] - x[..., 0]) / np.where(x[..., 2] > x[..., 0], x[..., 2] - x[..., 0], 1)
        sign = 1.0 if self.shape == "convex" else -1.0
        chord = np.stack([-(1 - share), np.ones_like(share), -share], axis=-1)
        ordered = np.asarray((np.diff(x, axis=-1) > 0).all(axis=-1))
        return stack.own(cells, sign * chord, tolerance=stack.loose, active=ordered)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"{self.shape} over {axis_label(table, self.axis)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        middle = breach.cells[1]
        side = "above" if self.shape == "convex" else "below"
        return (
            f"{_capital(at_cell(table, middle))} the value lies "
            f"{with_unit(breach.amount, table.unit, 4)} {side} the line between its neighbours "
            f"over {axis_label(table, self.axis)}; the shape must be {self.shape}."
        )


@register
@dataclass(frozen=True)
class Kink(Rule):
    """The slope along an axis changes by at most `most` from one stretch to the next."""

    axis: str = field(metadata=_ALONG)
    most: float = field(
        metadata=told("Largest change of slope at a breakpoint.", unit=In.PER_AXIS, low=0)
    )

    kind: ClassVar[str] = "kink"
    neighbours: ClassVar[int] = 3
    explained: ClassVar[str] = (
        "The slope along an axis changes by no more than so much from one stretch to the next. "
        "Keeps a shape smooth without saying what it is."
    )
    picture: ClassVar[Picture] = pictures.KINK
    remedies: ClassVar[tuple[str, ...]] = (REINTERPOLATE,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Difference of neighbouring slopes, both signs, in the table's unit."""
        axis = stack.axis(self.axis)
        cells = stack.runs(axis, 3)
        h = np.diff(stack.x_of_cells(axis, cells), axis=-1)
        ordered = (h > 0).all(axis=-1)
        h = np.where(h > 0, h, 1.0)
        left, right = h[..., 0], h[..., 1]
        # Multiplied by the shorter stretch, so that the row is in the table's unit.
        unit = np.minimum(left, right)
        bend = np.stack([unit / left, -(unit / left + unit / right), unit / right], axis=-1)
        both = np.concatenate([bend, -bend], axis=-2)
        bound = self.most * np.concatenate([unit, unit], axis=-1)
        active = np.concatenate([ordered, ordered], axis=-1)
        cells = np.concatenate([cells, cells])
        return stack.own(cells, both, bound, tolerance=stack.loose, active=active)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        unit = _slope_unit(table, self.axis)
        return (
            f"slope over {axis_label(table, self.axis)} bends by at most "
            f"{with_unit(self.most, unit)}"
        )

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        first, middle, last = breach.cells
        before, _ = _slope_at(table, self.axis, (first, middle))
        after, _ = _slope_at(table, self.axis, (middle, last))
        unit = _slope_unit(table, self.axis)
        return (
            f"{_capital(at_cell(table, middle))} the slope over {axis_label(table, self.axis)} "
            f"bends from {short(before, 4)} to {with_unit(after, unit, 4)}; it may bend by "
            f"{with_unit(self.most, unit, 4)} at most."
        )


@register
@dataclass(frozen=True)
class FixedValue(Rule):
    """Every cell within the scope holds one value (zero beyond an axis value, say)."""

    value: float = field(
        default=0.0, metadata=told("The value that every cell in the scope holds.", unit=In.TABLE)
    )

    kind: ClassVar[str] = "fixed_value"
    explained: ClassVar[str] = (
        "Every cell in a part of the table holds one value, such as zero beyond an axis value. "
        "Give the part as scope."
    )
    picture: ClassVar[Picture] = pictures.FIXED
    remedies: ClassVar[tuple[str, ...]] = (ZERO_END,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One equality per cell."""
        return stack.own(stack.numbers.reshape(-1, 1), [1.0], self.value, equal=True)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"equals {table.said(self.value)}{scope_words(table, self)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        (cell,) = breach.cells
        value = table.values.flat[cell]
        text = f"{table.said(value)} {at_cell(table, cell)}".strip()
        return f"{text}; it must be {table.said(self.value)}{scope_words(table, self)}."


@register
@dataclass(frozen=True)
class ZeroEnd(Rule):
    """Values are zero at an end of an axis, because that end is held beyond its breakpoint."""

    axis: str = field(metadata=_ALONG)
    end: str = field(
        default="last", metadata=told("Which end of the axis.", choices=("last", "first"))
    )

    kind: ClassVar[str] = "zero_end"
    explained: ClassVar[str] = (
        "Values are zero at the last (or first) breakpoint of an axis. What stands there is held "
        "at every input beyond it."
    )
    picture: ClassVar[Picture] = pictures.ZERO_END
    remedies: ClassVar[tuple[str, ...]] = (ZERO_END,)

    def __post_init__(self) -> None:
        _one_of(self.end, ("first", "last"), "end")

    def looks_at(self, table: Table) -> BoolArray | None:
        """See `Rule.looks_at`."""
        seen = np.zeros(table.shape, dtype=bool)
        end = -1 if self.end == "last" else 0
        np.moveaxis(seen, find_axis(table, self.axis), 0)[end] = True
        scoped = super().looks_at(table)
        return seen if scoped is None else seen & scoped

    def rows(self, stack: Stack, context: Context) -> Rows:
        """One equality per cell at the end."""
        line = np.take(stack.numbers, -1 if self.end == "last" else 0, stack.axis(self.axis))
        return stack.own(line.reshape(-1, 1), [1.0], 0.0, equal=True)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"zero at the {self.end} breakpoint of {axis_label(table, self.axis)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        (cell,) = breach.cells
        value = table.said(float(table.values.flat[cell]))
        side = "above" if self.end == "last" else "below"
        return (
            f"{value} {at_cell(table, cell)} is held at every {axis_label(table, self.axis)} "
            f"{side} it; it must be zero."
        )


@register
@dataclass(frozen=True)
class EqualsAt(Rule):
    """The table, as the controller reads it, gives a value at a point."""

    point: tuple[float, ...] = field(metadata=told("One axis value per axis.", Of.POINT))
    value: float = field(metadata=told("What the table gives there.", unit=In.TABLE))
    within: float = field(
        default=0.0, metadata=told("Deviation that is allowed.", unit=In.TABLE, low=0)
    )

    kind: ClassVar[str] = "equals_at"
    explained: ClassVar[str] = (
        "Read as the controller reads it, the table gives one value at one point: a factor that "
        "is 1 at the temperature it was stated for."
    )
    picture: ClassVar[Picture] = pictures.AT_POINT
    remedies: ClassVar[tuple[str, ...]] = ("set",)

    def stackable(self) -> bool:
        """The point falls into other cells with other breakpoints."""
        return False

    def looks_at(self, table: Table) -> BoolArray | None:
        """See `Rule.looks_at`."""
        seen = np.zeros(table.shape, dtype=bool)
        if len(self.point) == len(table.axes):
            cells, shares = weights(table.axes, [np.array([p]) for p in self.point])
            seen.reshape(-1)[cells[shares != 0]] = True
        return seen

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Interpolation weights at the point; two rows where a deviation is allowed."""
        table = stack.first
        if len(self.point) != len(table.axes):
            raise ModelError(
                f"Rule {self.kind} of {table.id} names a point with {len(self.point)} values; "
                f"the table has {len(table.axes)} axes."
            )
        cells, shares = weights(table.axes, [np.array([p]) for p in self.point])
        if self.within == 0:
            return stack.own(cells, shares, self.value, equal=True, tolerance=stack.loose)
        both = np.concatenate([shares, -shares])
        bound = [self.value + self.within, self.within - self.value]
        return stack.own(np.concatenate([cells, cells]), both, bound, tolerance=stack.loose)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        at = ", ".join(a.said(p) for p, a in zip(self.point, table.axes, strict=False))
        give = f" (±{short(self.within)})" if self.within else ""
        return f"equals {table.said(self.value)}{give} at {at}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        amount = with_unit(breach.amount, table.unit, 4)
        return f"Misses by {amount}: it {self.statement(table).replace('equals', 'must equal', 1)}."


@register
@dataclass(frozen=True)
class Symmetry(Rule):
    """The table is ``even`` (or ``odd``) along an axis about a value of it.

    Compared at every breakpoint and its mirror image, read as the controller would.
    """

    axis: str = field(metadata=_ALONG)
    parity: str = field(
        default="even",
        metadata=told(
            "Even: the same on both sides. Odd: the same with the other sign.",
            choices=("even", "odd"),
        ),
    )
    about: float = field(default=0.0, metadata=told("The axis value in the middle.", unit=In.AXIS))

    kind: ClassVar[str] = "symmetry"
    explained: ClassVar[str] = (
        "Both sides of an axis value mirror each other, as left and right do. Catches an edit "
        "made on one side only."
    )
    picture: ClassVar[Picture] = pictures.MIRROR
    remedies: ClassVar[tuple[str, ...]] = ("mirror",)

    def __post_init__(self) -> None:
        _one_of(self.parity, ("even", "odd"), "parity")

    def stackable(self) -> bool:
        """Mirror images fall into other cells with other breakpoints."""
        return False

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Value at a breakpoint less (plus) the value at its mirror image is zero."""
        table = stack.first
        axis = stack.axis(self.axis)
        flat = stack.numbers.reshape(-1)
        index = np.unravel_index(flat, table.shape)
        points = [a.values[i] for a, i in zip(table.axes, index, strict=True)]
        here = points[axis]
        mirrored = 2 * self.about - here
        # One row per pair: below, a cell says the same again if its mirror image is a cell too.
        kept = (here > self.about) | ~np.isin(mirrored, table.axes[axis].values)
        if self.parity == "odd":
            kept |= here == self.about
        points = [p[kept] for p in points]
        points[axis] = mirrored[kept]
        image, shares = weights(table.axes, points)
        sign = -1.0 if self.parity == "even" else 1.0
        cells = np.concatenate([flat[kept][:, None], image], axis=1)
        coefficients = np.concatenate([np.ones((int(kept.sum()), 1)), sign * shares], axis=1)
        return stack.own(cells, coefficients, 0.0, equal=True, tolerance=stack.loose)

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        unit = table.axes[find_axis(table, self.axis)].unit
        return (
            f"{self.parity} over {axis_label(table, self.axis)} about {with_unit(self.about, unit)}"
        )

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        cell = breach.cells[0]
        value = table.said(table.values.flat[cell])
        return (
            f"{value} {at_cell(table, cell)} differs by "
            f"{with_unit(breach.amount, table.unit, 4)} from its mirror image; "
            f"the table must be {self.statement(table)}."
        )


@register
@dataclass(frozen=True)
class ProductRises(Rule):
    """The product with an axis (gain times error) does not fall as the axis rises."""

    axis: str = field(metadata=_ALONG)

    kind: ClassVar[str] = "product_rises"
    neighbours: ClassVar[int] = 2
    explained: ClassVar[str] = (
        "Value times axis value does not fall: a gain may fall with the error, but gain times "
        "error may not, or the control hunts."
    )
    picture: ClassVar[Picture] = pictures.PRODUCT
    remedies: ClassVar[tuple[str, ...]] = (REINTERPOLATE,)

    def rows(self, stack: Stack, context: Context) -> Rows:
        """Axis value times table value at a cell is at most the same at the next cell."""
        axis = stack.axis(self.axis)
        pairs = stack.runs(axis, 2)
        x = stack.x_of_cells(axis, pairs)
        scale = np.maximum(np.abs(x).max(axis=(-2, -1)), 1.0) if x.size else 1.0
        loose = stack.loose * np.reshape(scale, (-1, 1))
        return stack.own(pairs, x * np.array([1.0, -1.0]), tolerance=loose)

    def amount_unit(self, table: Table) -> str:
        """Unit of the product."""
        unit = table.axes[find_axis(table, self.axis)].unit
        suffix = f"/({unit})"
        return (
            table.unit.removesuffix(suffix)
            if table.unit.endswith(suffix)
            else (f"{table.unit}.{unit}")
        )

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"value times {axis_label(table, self.axis)} never falls"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        axis = find_axis(table, self.axis)
        # Not from the breach's cells: one at axis value zero has no part in the product.
        first, second = Stack([table]).runs(axis, 2)[breach.detail].tolist()
        where = f"{between(table, axis, first, second)} {at_cell(table, first, axis)}".strip()
        amount = with_unit(breach.amount, self.amount_unit(table), 4)
        return (
            f"Value times {axis_label(table, self.axis)} falls by {amount} {where}; "
            "it must not fall."
        )


# -- words -------------------------------------------------------------------------------


def scope_words(table: Table, rule: Rule) -> str:
    """Return where a rule applies, in words with a leading blank; empty if everywhere."""
    parts = []
    for part in rule.scope:
        axis = table.axes[find_axis(table, part.axis)]
        label, unit = axis_label(table, part.axis), axis.unit
        if part.low == part.high:
            parts.append(f"{label} {with_unit(part.low, unit)}")
        elif part.low == -np.inf:
            parts.append(f"{label} up to {with_unit(part.high, unit)}")
        elif part.high == np.inf:
            parts.append(f"{label} from {with_unit(part.low, unit)}")
        else:
            parts.append(f"{label} {axis.said_short(part.low)} to {axis.said(part.high)}")
    return f" at {' and '.join(parts)}" if parts else ""


def _slope_unit(table: Table, reference: str) -> str:
    axis_unit = table.axes[find_axis(table, reference)].unit
    if not shown(axis_unit):
        return table.unit
    own = table.unit if shown(table.unit) else "1"
    return f"{own}/({axis_unit})" if "/" in axis_unit else f"{own}/{axis_unit}"


def _slope_at(table: Table, reference: str, cells: tuple[int, ...]) -> tuple[float, str]:
    axis = find_axis(table, reference)
    first, second = sorted(cells)
    x = table.axes[axis].values
    i, j = (np.unravel_index(c, table.shape)[axis] for c in (first, second))
    slope = (table.values.flat[second] - table.values.flat[first]) / (x[j] - x[i])
    where = f"{between(table, axis, first, second)} {at_cell(table, first, axis)}".strip()
    return float(slope), where


def _opposite(verb: str) -> str:
    return {"rises": "falls", "falls": "rises"}[verb]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _one_of(given: str, allowed: tuple[str, ...], what: str) -> None:
    if given not in allowed:
        raise ModelError(
            f"{what.capitalize()} {given!r} is not known.", f"Use {' or '.join(allowed)}."
        )
