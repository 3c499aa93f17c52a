"""Plain checks beside the linear rules: what a table must be, whatever its shape."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.axis import Axis
from ..core.numbers import short, with_unit
from ..core.rule import (
    Breach,
    Context,
    NotChecked,
    Rule,
    Severity,
    Stack,
    at_cell,
    axis_label,
    between,
    find_axis,
    register,
)
from ..core.rule_settings import In, Of, Picture, told
from ..core.table import Table
from . import pictures
from .relations import EXCHANGE


class Check(Rule):
    """Base of the checks that are not linear rows."""

    linear: ClassVar[bool] = False
    constrains: ClassVar[bool] = False


def _each(bad: BoolArray, amounts: FloatArray | None = None) -> Iterator[Breach]:
    """One breach per table for the marked cells of a (n, cells) array, the worst cell first."""
    for index in np.flatnonzero(bad.any(axis=1)).tolist():
        cells = np.flatnonzero(bad[index])
        worst, amount = int(cells[0]), 0.0
        if amounts is not None:
            worst = int(cells[np.argmax(amounts[index, cells])])
            amount = float(amounts[index, worst])
        others = tuple(cells[cells != worst].tolist())
        yield Breach(index, (worst,), amount, None, others, cells.size)


@register
@dataclass(frozen=True)
class Finite(Check):
    """Every cell holds a number."""

    kind: ClassVar[str] = "finite"
    explained: ClassVar[str] = "Every cell holds a number. Always in force."
    picture: ClassVar[Picture] = pictures.FULL
    remedies: ClassVar[tuple[str, ...]] = ("re-interpolate",)

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        return list(_each(~np.isfinite(stack.values)))

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return "every cell holds a number"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        (cell,) = breach.cells
        where = at_cell(table, cell)
        if np.isinf(table.values.flat[cell]):
            return f"An infinite value {where}".strip() + "; no controller can hold it."
        return f"No value {where}".strip() + "; fill it in."


@register
@dataclass(frozen=True)
class AxisOrder(Check):
    """Breakpoints rise strictly on every axis."""

    kind: ClassVar[str] = "axis_order"
    explained: ClassVar[str] = (
        "Breakpoints rise strictly on every axis; without that nothing can be looked up. Always in "
        "force."
    )
    picture: ClassVar[Picture] = pictures.ORDER
    remedies: ClassVar[tuple[str, ...]] = ("move axis",)

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        found = []
        for axis in range(len(stack.shape)):
            x = stack.x(axis)
            for index, i in zip(*np.nonzero(x[:, 1:] <= x[:, :-1]), strict=True):
                amount = float(x[index, i] - x[index, i + 1])
                line = np.take(stack.numbers, i + 1, axis).reshape(-1)
                found.append(Breach(int(index), tuple(line.tolist()), amount, (axis, int(i))))
        return found

    def amount_unit(self, table: Table) -> str:
        """Axes may have different units; the sentence names the one meant."""
        return table.axes[0].unit if len(table.axes) == 1 else "-"

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return "breakpoints rise strictly"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        number, i = breach.detail
        axis = table.axes[number]
        a, b = float(axis.values[i]), float(axis.values[i + 1])
        follows = "is repeated" if a == b else f"is followed by {axis.said_short(b)}"
        return (
            f"Breakpoint {axis.said(a)} of {axis.label} {follows}; breakpoints must "
            "rise. No lookup is possible until they do."
        )


@register
@dataclass(frozen=True)
class Covers(Check):
    """An axis reaches from `low` to `high`, so that no held end hides a missing part."""

    axis: str = field(metadata=told("The axis that has to reach so far.", Of.AXIS))
    low: float = field(metadata=told("Where it begins at the latest.", unit=In.AXIS))
    high: float = field(
        metadata=told("Where it ends at the earliest; the same as low for one value.", unit=In.AXIS)
    )

    kind: ClassVar[str] = "covers"
    looks_at_axis: ClassVar[bool] = True
    explained: ClassVar[str] = (
        "An axis reaches over the whole range of its input. Beyond its ends the last value is "
        "held, which hides that nobody thought of the rest."
    )
    picture: ClassVar[Picture] = pictures.COVERS
    remedies: ClassVar[tuple[str, ...]] = ("scale axis", "move axis")

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        axis = stack.axis(self.axis)
        x = stack.x(axis)
        found = []
        for index in range(len(stack)):
            for short_by, place in (
                (float(x[index].min() - self.low), 0),
                (float(self.high - x[index].max()), -1),
            ):
                if short_by > 0:
                    line = np.take(stack.numbers, place, axis).reshape(-1)
                    found.append(Breach(index, tuple(line.tolist()), short_by, place))
        return found

    def looks_at(self, table: Table) -> BoolArray | None:
        """See `Rule.looks_at`: it looks at breakpoints."""
        return np.zeros(table.shape, dtype=bool)

    def amount_unit(self, table: Table) -> str:
        """Unit of the axis."""
        return table.axes[find_axis(table, self.axis)].unit

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        unit = self.amount_unit(table)
        if self.low == self.high:
            return f"{axis_label(table, self.axis)} reaches {with_unit(self.low, unit)}"
        return (
            f"{axis_label(table, self.axis)} covers {short(self.low)} to "
            f"{with_unit(self.high, unit)}"
        )

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        axis = table.axes[find_axis(table, self.axis)]
        first = breach.detail == 0
        end, need = (axis.values.min(), self.low) if first else (axis.values.max(), self.high)
        verb = "starts" if first else "ends"
        return (
            f"{axis.label} {verb} at {axis.said(float(end))}, but must reach "
            f"{axis.said(need)}; the held end hides what is missing."
        )


@register
@dataclass(frozen=True)
class OnRaster(Check):
    """Values of an integer table can be stored exactly."""

    severity: Severity = Severity.WARNING

    kind: ClassVar[str] = "on_raster"
    explained: ClassVar[str] = "Values can be stored exactly. Always in force."
    picture: ClassVar[Picture] = pictures.RASTER
    remedies: ClassVar[tuple[str, ...]] = ("round",)

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        nearest = stack.nearest
        finite = np.isfinite(stack.values)
        off = finite & (nearest != stack.values)
        return list(_each(off, np.abs(nearest - np.where(finite, stack.values, 0.0))))

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"storable as {table.storage}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        (cell,) = breach.cells
        value = float(table.values.flat[cell])
        nearest = float(table.storage.nearest(value))
        where = f" {at_cell(table, cell)}" if table.axes else ""
        return (
            f"{table.said_exactly(value)}{where} cannot be stored ({table.storage}); the "
            f"controller would hold {table.said_exactly(nearest)}."
        )


@register
@dataclass(frozen=True)
class AxisOnRaster(Check):
    """Breakpoints can be stored exactly."""

    severity: Severity = Severity.WARNING

    kind: ClassVar[str] = "axis_on_raster"
    explained: ClassVar[str] = "Breakpoints can be stored exactly. Always in force."
    picture: ClassVar[Picture] = pictures.RASTER
    remedies: ClassVar[tuple[str, ...]] = ("move axis",)

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        found: list[Breach] = []
        seen: dict[int, list[int]] = {}
        for index, table in enumerate(stack.tables):
            for number, axis in enumerate(table.axes):
                if axis.storage.type == "float64":
                    continue
                key = id(axis)
                if key not in seen:
                    seen[key] = np.flatnonzero(~_storable(axis)).tolist()
                for i in seen[key]:
                    line = np.take(stack.numbers, i, number).reshape(-1)
                    off = float(abs(axis.storage.nearest(axis.values[i]) - axis.values[i]))
                    found.append(Breach(index, tuple(line.tolist()), off, (number, i)))
        return found

    def amount_unit(self, table: Table) -> str:
        """Axes may have different units; the sentence names the one meant."""
        return table.axes[0].unit if len(table.axes) == 1 else "-"

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return "breakpoints can be stored"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        number, i = breach.detail
        axis = table.axes[number]
        value = float(axis.values[i])
        return (
            f"Breakpoint {axis.said_exactly(value)} of {axis.label} cannot be stored "
            f"({axis.storage}); the controller would hold "
            f"{axis.said_exactly(float(axis.storage.nearest(value)))}."
        )


@register
@dataclass(frozen=True)
class Flattened(Check):
    """Rounding to storage leaves no slope where neighbouring values differ."""

    severity: Severity = Severity.WARNING

    kind: ClassVar[str] = "flattened"
    explained: ClassVar[str] = (
        "Rounding to storage leaves a slope where neighbours differ. Always in force."
    )
    picture: ClassVar[Picture] = pictures.FLATTENED
    remedies: ClassVar[tuple[str, ...]] = ("round",)

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        nearest = stack.nearest
        found = []
        for axis in range(len(stack.shape)):
            pairs = stack.runs(axis, 2)
            now, stored = stack.values[:, pairs], nearest[:, pairs]
            flat = (now[..., 0] != now[..., 1]) & (stored[..., 0] == stored[..., 1])
            flat &= np.isfinite(now).all(axis=-1)
            for index in np.flatnonzero(flat.any(axis=1)).tolist():
                rows = np.flatnonzero(flat[index])
                lost = np.abs(now[index, rows, 1] - now[index, rows, 0])
                worst = int(rows[np.argmax(lost)])
                cells = tuple(pairs[worst].tolist())
                others = tuple(c for c in np.unique(pairs[rows]).tolist() if c not in cells)
                found.append(Breach(index, cells, float(lost.max()), axis, others, rows.size))
        return found

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return "no slope is lost to rounding"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        first, second = breach.cells
        axis = breach.detail
        where = f"{between(table, axis, first, second)} {at_cell(table, first, axis)}".strip()
        a, b = float(table.values.flat[first]), float(table.values.flat[second])
        return (
            f"{short(a)} and {table.said(b)} {where} round to the same stored value "
            f"(step {short(table.storage.resolution)}): the slope is lost."
        )


SLIPS = ((10.0, "ten times too small"), (0.1, "ten times too large"),
         (100.0, "a hundred times too small"), (0.01, "a hundred times too large"),
         (-1.0, "of the wrong sign"))  # fmt: skip


@register
@dataclass(frozen=True)
class Outlier(Check):
    """No value looks like a slip of the decimal point or the sign.

    A cell is named when, along every axis with three breakpoints or more, it lies outside its
    two neighbours and moving its decimal point or sign brings it at least `nearer` times nearer
    to the straight line through them, and to within half of itself.
    """

    nearer: float = field(
        default=5.0,
        metadata=told("How many times nearer to its neighbours the mended value must lie.", low=1),
    )
    severity: Severity = Severity.WARNING

    kind: ClassVar[str] = "outlier"
    explained: ClassVar[str] = (
        "No value looks like a slip of the decimal point or of the sign. Always in force."
    )
    picture: ClassVar[Picture] = pictures.OUTLIER
    remedies: ClassVar[tuple[str, ...]] = ("re-interpolate",)

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        axes = [a for a, n in enumerate(stack.shape) if n >= 3]
        if not axes:
            return []
        values = stack.values.reshape(len(stack), *stack.shape)
        counts = np.zeros((len(SLIPS), *values.shape), dtype=np.int8)
        left = np.zeros((len(SLIPS), *values.shape))
        off = np.full(values.shape, np.inf)
        for axis in axes:
            line, outside = _along(values, stack.x(axis), axis)
            miss = np.abs(values - line)
            off = np.minimum(off, np.where(np.isfinite(miss), miss, 0.0))
            for n, (factor, _) in enumerate(SLIPS):
                mended = np.abs(values * factor - line)
                # Near zero any value shrinks towards the line: that alone is no sign of a slip.
                alike = 2 * mended <= np.abs(values * factor)
                counts[n] += (mended * self.nearer <= miss) & alike & outside
                left[n] += mended
        span = np.nanmax(stack.values, axis=1, initial=-np.inf) - np.nanmin(
            stack.values, axis=1, initial=np.inf
        )
        span = span.reshape(-1, *(1,) * len(stack.shape))
        agreed = (counts == len(axes)) & (off > 0.05 * span)
        found = []
        for index, *cell in zip(*np.nonzero(agreed.any(axis=0)), strict=True):
            place = (slice(None), index, *cell)
            which = int(np.argmin(np.where(agreed[place], left[place], np.inf)))
            flat = int(stack.numbers[tuple(cell)])
            found.append(Breach(int(index), (flat,), float(off[(index, *cell)]), which))
        return found

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return "no value looks like a slip of the decimal point or sign"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        (cell,) = breach.cells
        value = table.said(float(table.values.flat[cell]))
        return (
            f"{value} {at_cell(table, cell)} is far from its neighbours and looks "
            f"{SLIPS[breach.detail][1]}."
        )


@register
@dataclass(frozen=True)
class BranchOrder(Check):
    """The lower branch of a measured loop lies below the upper one, line by line.

    Each table may look fine alone; a whole line with the two exchanged shows only in the pair.
    """

    other: str = field(metadata=told("The upper branch, on the same axes.", Of.TABLE))
    axis: str = field(metadata=told("The axis that a branch runs along.", Of.AXIS))

    kind: ClassVar[str] = "branch_order"
    explained: ClassVar[str] = (
        "The lower branch of a measured loop lies below the upper one, line by line. Each table "
        "may look fine alone while a whole line of the two is exchanged."
    )
    picture: ClassVar[Picture] = pictures.LOOP
    remedies: ClassVar[tuple[str, ...]] = (EXCHANGE,)

    def reads(self) -> tuple[str, ...]:
        """See `Rule.reads`."""
        return (self.other,)

    def breaches(self, stack: Stack, context: Context) -> list[Breach]:
        """See `Rule.breaches`."""
        table = stack.first
        other = context.table(self.other)
        if other.shape != table.shape:
            raise NotChecked(f"{self.other} has other axes, so its branches cannot be compared.")
        axis = stack.axis(self.axis)
        lines = np.moveaxis(table.values - other.values, axis, -1)
        numbers = np.moveaxis(stack.numbers, axis, -1)
        found = []
        for place in np.ndindex(*lines.shape[:-1]):
            apart = lines[place]
            above, below = int((apart > 0).sum()), int((apart < 0).sum())
            if above > 3 * below and above >= 2:
                amount = float(np.nanmax(apart))
                found.append(Breach(0, tuple(numbers[place].tolist()), amount))
        return found

    def statement(self, table: Table) -> str:
        """See `Rule.statement`."""
        return f"the branch below {self.other}, line by line over {axis_label(table, self.axis)}"

    def sentence(self, table: Table, breach: Breach, context: Context) -> str:
        """See `Rule.sentence`."""
        axis = find_axis(table, self.axis)
        return (
            f"The whole line {at_cell(table, breach.cells[0], axis)} lies above "
            f"{context.table(self.other).label}, by up to {with_unit(breach.amount, table.unit)}: "
            "the two branches look exchanged there."
        )


# -- helpers -----------------------------------------------------------------------------


def _storable(axis: Axis) -> BoolArray:
    return axis.storage.representable(axis.values)


def _along(values: FloatArray, x: FloatArray, axis: int) -> tuple[FloatArray, BoolArray]:
    """What the neighbours along one axis say of each cell, and whether it lies outside them.

    Inside, the straight line between both neighbours; at an end, the next stretch continued,
    with the cell counted as outside when it misses by more than twice that stretch's rise.
    """
    z = np.moveaxis(values, axis + 1, -1)
    x = x.reshape(len(x), *(1,) * (z.ndim - 2), x.shape[-1])
    line = np.full(z.shape, np.nan)
    outside = np.zeros(z.shape, dtype=bool)
    before, after = z[..., :-2], z[..., 2:]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = (x[..., 1:-1] - x[..., :-2]) / (x[..., 2:] - x[..., :-2])
        line[..., 1:-1] = before + share * (after - before)
        low, high = np.minimum(before, after), np.maximum(before, after)
        middle = z[..., 1:-1]
        outside[..., 1:-1] = (middle < low) | (middle > high)
        for end, near, far in ((0, 1, 2), (-1, -2, -3)):
            rise = z[..., near] - z[..., far]
            run = (x[..., end] - x[..., near]) / (x[..., near] - x[..., far])
            line[..., end] = z[..., near] + rise * run
            miss = np.abs(z[..., end] - line[..., end])
            outside[..., end] = miss > 2 * np.abs(rise * run)
    return np.moveaxis(line, -1, axis + 1), np.moveaxis(outside, -1, axis + 1)
