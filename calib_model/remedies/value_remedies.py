"""Remedies that change values (and lock them where that is part of the remedy)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.calibration_set import CalibrationSet
from ..core.numbers import short
from ..core.rule import Rows, Rule, Stack, at_cell, axis_label, find_axis
from ..core.table import Table
from ..editing import blocks
from ..editing.change import Change, Edit, cells_edit, table_change, values_change
from ..editing.lock_changes import with_locks
from ..editing.locks import locked_cells
from ..errors import EditRefused
from ..lookup.reference import lookup_values
from ..rules.check import Finding, Surroundings
from ..rules.limits import Bounds, Locked
from ..rules.plausibility import BranchOrder
from ..rules.relations import Hysteresis, ModeRelation, Relation
from ..rules.shape import EqualsAt, FixedValue, Monotone, Symmetry, ZeroEnd


def reinterpolate(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> list[Change]:
    """Re-interpolate the cell that stands out, or all named cells if no single one does."""
    table = content[finding.table]
    named = _mask(table, finding)
    cells = [int(c) for c in np.flatnonzero(named)]
    best: tuple[float, FloatArray, BoolArray] | None = None
    if len(cells) <= 60:
        for cell in cells:
            one = np.zeros(table.shape, dtype=bool)
            one.flat[cell] = True
            try:
                values = table.storage.nearest(blocks.reinterpolate(table, one))
            except EditRefused:
                continue
            left = _breaches_left(content, table.with_values(values), finding.source, base)
            if left == 0:
                moved = float(abs(values.flat[cell] - table.values.flat[cell]))
                # The slipped cell is the one that moves most.
                if best is None or moved > best[0] or np.isnan(moved):
                    best = (moved, values, one)
    if best is None:
        values = table.storage.nearest(blocks.reinterpolate(table, named))
        values = np.where(named, values, table.values)
        title = _title("Re-interpolate", table, named)
        return [values_change(table, values, f"{title}: {_spread(table, values[named])}")]
    _, values, one = best
    values = np.where(one, values, table.values)
    cell = int(np.flatnonzero(one)[0])
    was, now = float(table.values.flat[cell]), float(values.flat[cell])
    title = (
        f"Re-interpolate {table.label} {at_cell(table, cell)}: "
        f"{table.said(was)} to {table.said(now)}"
    )
    return [values_change(table, values, title)]


def level(content: CalibrationSet, finding: Finding, base: CalibrationSet | None) -> list[Change]:
    """Carry the value before a wrong step on until the order holds again."""
    rule = finding.source
    table = content[finding.table]
    if not isinstance(rule, Monotone) or rule.strict:
        return []
    values = in_order(table, table.values, rule, raise_only=rule.direction == "up")
    title = f"Carry values of {table.label} on along {axis_label(table, rule.axis)}"
    return [values_change(table, values, title)]


def zero(content: CalibrationSet, finding: Finding, base: CalibrationSet | None) -> list[Change]:
    """Give the named cells the value the rule asks for; lock an end that must be zero."""
    rule = finding.source
    table = content[finding.table]
    value = rule.value if isinstance(rule, FixedValue) else 0.0
    named = _mask(table, finding)
    values = np.where(named, value, table.values)
    said = table.said(value)
    if not isinstance(rule, ZeroEnd):
        return [values_change(table, values, f"Set {said} in {_cells(named)} of {table.label}")]
    axis = find_axis(table, rule.axis)
    line = np.zeros(table.shape, dtype=bool)
    np.moveaxis(line, axis, 0)[-1 if rule.end == "last" else 0] = True
    if (locked_cells(table) & named).any():
        raise EditRefused("A locked cell holds the wrong value.", "Unlock it first.")
    held = locked_cells(table) | line
    new = with_locks(table.with_values(values), held)
    label = table.axes[axis].label.lower()
    title = f"Set and lock {said} at the {rule.end} breakpoint of {label} of {table.label}"
    return [table_change(table, new, title)]


def put_back(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> list[Change]:
    """Set the value at a named point, or put locked cells back."""
    rule = finding.source
    table = content[finding.table]
    values = table.values.copy()
    if isinstance(rule, Locked):
        for cell, value in zip(rule.cells(table), rule.values, strict=True):
            if cell >= 0:
                values.flat[cell] = value
        edit = cells_edit(table, values)
        return [Change(f"Put locked cells of {table.label} back", (edit,))]
    if isinstance(rule, EqualsAt):
        index = [np.flatnonzero(a.values == p) for a, p in zip(table.axes, rule.point, strict=True)]
        if not all(i.size for i in index):
            return []
        place = tuple(int(i[0]) for i in index)
        values[place] = rule.value
        where = at_cell(table, int(np.ravel_multi_index(place, table.shape))) if place else ""
        title = f"Set {table.said(rule.value)} {where} of {table.label}"
        return [values_change(table, values, title)]
    return []


def clip(content: CalibrationSet, finding: Finding, base: CalibrationSet | None) -> list[Change]:
    """Bring the named cells back to the limit they exceed."""
    rule = finding.source
    table = content[finding.table]
    low, high = table.lower, table.upper
    if isinstance(rule, Bounds):
        low, high = rule.lower, rule.upper
    named = _mask(table, finding)
    return [
        values_change(table, blocks.clip(table, named, low, high), _title("Clip", table, named))
    ]


def round_off(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> list[Change]:
    """Round the whole table to what the controller can hold."""
    table = content[finding.table]
    everything = np.ones(table.shape, dtype=bool)
    values = blocks.round_to_storage(table, everything)
    return [values_change(table, values, f"Round {table.label} to storage")]


def mirror(content: CalibrationSet, finding: Finding, base: CalibrationSet | None) -> list[Change]:
    """Make one half the mirror image of the other; which half is right is the user's choice."""
    rule = finding.source
    if not isinstance(rule, Symmetry):
        return []
    table = content[finding.table]
    axis = find_axis(table, rule.axis)
    mesh = list(np.meshgrid(*(a.values for a in table.axes), indexing="ij"))
    mesh[axis] = 2 * rule.about - mesh[axis]
    image = lookup_values(table.axes, table.values, mesh, table.id)
    if rule.parity == "odd":
        image = -image
    x = table.axes[axis].values.reshape([-1 if a == axis else 1 for a in range(len(mesh))])
    label, about = axis_label(table, rule.axis), table.axes[axis].said(rule.about)
    changes = []
    for half, words in ((x > rule.about, "below"), (x < rule.about, "above")):
        values = table.storage.nearest(np.where(half, image, table.values))
        values = np.where(half, values, table.values)
        title = f"Mirror {table.label} from {label} {words} {about}"
        changes.append(values_change(table, values, title))
    return changes


def restore_gap(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> list[Change]:
    """Move the table back to the right side of its partner, keeping its order.

    For a pair, moving the partner instead is offered as well.
    """
    rule = finding.source
    table = content[finding.table]
    if not isinstance(rule, Relation | Hysteresis | ModeRelation):
        return []
    context = Surroundings(content, base)
    if isinstance(rule, ModeRelation) and not rule.sense(table, context.mode):
        return []  # it was found in another mode's set, which is where it can be mended
    rows = rule.rows(Stack([table]), context)
    if rows.equal and isinstance(rule, ModeRelation):
        return _as_in_base(table, rule, base)
    changes = [_to_the_right_side(table, rule, rows, context, term=0)]
    if isinstance(rule, Hysteresis):
        other = content[rule.other]
        changes.append(_to_the_right_side(other, rule, rows, context, term=1, own=table))
    return changes


def exchange_branches(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> list[Change]:
    """Exchange two branches along the lines where they are exchanged."""
    rule = finding.source
    table = content[finding.table]
    order = next((r for r in table.rules_in_force if isinstance(r, BranchOrder)), None)
    if isinstance(rule, BranchOrder):
        order = rule
    if order is None:
        return []
    found = order.breaches(Stack([table]), Surroundings(content, None))
    if not found:
        return []
    other = content[order.other]
    mask = np.zeros(table.shape, dtype=bool)
    for breach in found:
        mask.flat[list(breach.cells)] = True
    if ((locked_cells(table) | locked_cells(other)) & mask).any():
        raise EditRefused("A locked cell stands in the way.", "Unlock it first.")
    axis = find_axis(table, order.axis)
    where = " and ".join(at_cell(table, b.cells[0], axis) for b in found)
    edits: list[Edit] = [
        cells_edit(table, np.where(mask, other.values, table.values)),
        cells_edit(other, np.where(mask, table.values, other.values)),
    ]
    return [Change(f"Exchange {table.label} and {other.label} {where}", tuple(edits))]


# -- helpers -----------------------------------------------------------------------------


def in_order(table: Table, values: FloatArray, rule: Monotone, *, raise_only: bool) -> FloatArray:
    """Return values brought into order along one axis, by raising only or by lowering only."""
    lines = np.moveaxis(values, find_axis(table, rule.axis), -1)
    rising = rule.direction == "up"
    # Raising carries the largest value on in the direction of rise, lowering the smallest back.
    forward = rising == raise_only
    accumulate = np.maximum.accumulate if raise_only else np.minimum.accumulate
    ordered = lines if forward else lines[..., ::-1]
    ordered = accumulate(ordered, axis=-1)
    ordered = ordered if forward else ordered[..., ::-1]
    return np.asarray(np.moveaxis(ordered, -1, find_axis(table, rule.axis)))


def _to_the_right_side(
    table: Table,
    rule: Rule,
    rows: Rows,
    context: Surroundings,
    *,
    term: int,
    own: Table | None = None,
) -> Change:
    """Move one partner's cells until every row holds, outward to the storage raster."""
    moving, fixed = rows.terms[term], rows.terms[1 - term]
    partner = own if own is not None else _partner(rule, table, context)
    fixed_part = (fixed.coefficients * partner.values.reshape(-1)[fixed.cells]).sum(axis=-1)
    fixed_part = np.reshape(fixed_part, -1)
    coefficients = np.broadcast_to(moving.coefficients, (1, *moving.cells.shape))[0]
    total = (coefficients * table.values.reshape(-1)[moving.cells]).sum(axis=-1) + fixed_part
    bound = np.broadcast_to(rows.bound, total.shape)
    excess = total - bound
    tolerance = np.broadcast_to(rows.tolerance, (1, total.size))[0]
    bad = np.abs(excess) > tolerance if rows.equal else excess > tolerance
    values = table.values.copy()
    flat = values.reshape(-1)
    raises = False
    for row in np.flatnonzero(bad):
        used = coefficients[row] != 0
        weight = float(coefficients[row][used].sum())
        if weight == 0:
            continue
        wanted = float((bound[row] - fixed_part[row]) / weight)
        raises = weight < 0 or (rows.equal and wanted > float(flat[moving.cells[row][used][0]]))
        for cell in moving.cells[row][used]:
            current = float(flat[cell])
            if rows.equal:
                flat[cell] = float(table.storage.nearest(wanted))
            elif weight < 0:
                flat[cell] = max(current, _outward(table, wanted, up=True))
            else:
                flat[cell] = min(current, _outward(table, wanted, up=False))
    for order in table.rules_in_force:
        if isinstance(order, Monotone) and not order.strict:
            values = in_order(table, values, order, raise_only=raises)
    moved = values != table.values
    verb = "Raise" if raises else "Lower"
    title = (
        f"{verb} {_cells(moved)} of {table.label} to {_spread(table, values[moved])}, to keep "
        f"{_gap_words(rule)} {partner.label}"
    )
    return values_change(table, values, title)


def _partner(rule: Rule, table: Table, context: Surroundings) -> Table:
    if isinstance(rule, ModeRelation):
        base = context.base_table(table.id)
        if base is None:
            raise EditRefused(f"The base set has no table {table.id}.")
        return replace(base, name=f"{context.base_mode} mode's values")
    assert isinstance(rule, Relation | Hysteresis)
    return context.table(rule.other)


def _gap_words(rule: Rule) -> str:
    if isinstance(rule, Hysteresis):
        return "its distance from"
    return "its relation to"


def _outward(table: Table, value: float, *, up: bool) -> float:
    """Nearest storable value on the safe side of a limit."""
    if not table.storage.is_integer:
        return value
    nearest = float(table.storage.nearest(value))
    slack = table.span * 1e-9
    if (up and nearest >= value - slack) or (not up and nearest <= value + slack):
        return nearest
    below, above = table.storage.neighbours(nearest)
    return above if up else below


def _as_in_base(table: Table, rule: ModeRelation, base: CalibrationSet | None) -> list[Change]:
    partner = base.tables.get(table.id) if base is not None else None
    if partner is None or partner.axes != table.axes:
        return []
    return [values_change(table, partner.values, f"Take {table.label} over from the base set")]


def _breaches_left(
    content: CalibrationSet, table: Table, rule: Rule, base: CalibrationSet | None
) -> int:
    changed = content.with_table(table)
    return len(rule.breaches(Stack([table]), Surroundings(changed, base)))


def _mask(table: Table, finding: Finding) -> BoolArray:
    mask = np.zeros(table.shape, dtype=bool)
    for cell in finding.cells:
        mask[cell] = True
    return mask


def _cells(mask: BoolArray) -> str:
    count = int(mask.sum())
    return f"{count} cell{'' if count == 1 else 's'}"


def _spread(table: Table, values: FloatArray) -> str:
    if not values.size:
        return "nothing"
    low, high = float(values.min()), float(values.max())
    if low == high:
        return table.said(low)
    return f"{short(low)}\N{EN DASH}{table.said(high)}"


def _title(verb: str, table: Table, mask: BoolArray) -> str:
    return f"{verb} {_cells(mask)} of {table.label}"
