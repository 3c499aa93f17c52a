"""Breakpoints inserted, deleted, moved or exchanged, with the error this makes.

The function a controller reads is kept as well as the new breakpoints allow: values at new
breakpoints come from the lookup, rounded to the table's storage, and the largest difference
between the old and the new function is reported.  Or the values are kept as they are and only
the breakpoints change: the remedy for an axis that carries wrong numbers.

A shared axis is changed in all its tables in one change, unless the table is to be detached.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import exact, with_unit
from ..core.rule import Rule
from ..core.table import Table
from ..errors import EditRefused, LookupProblem
from ..lookup.reference import lookup_values
from ..rules.limits import Locked
from .change import Change, Edit, SharedAxisEdit, TableEdit
from .reshape import breakpoint_index


@dataclass(frozen=True)
class AxisError:
    """How far a change of breakpoints moves what the controller reads.

    Parameters
    ----------
    largest : float
        In the table's unit.
    at : tuple of float
        Axis values where it occurs.
    """

    largest: float
    at: tuple[float, ...]

    def words(self, table: Table) -> str:
        """Say the error in a sentence."""
        if self.largest == 0:
            return f"{table.label} reads the same as before everywhere."
        where = ", ".join(a.said(x) for x, a in zip(self.at, table.axes, strict=True))
        amount = with_unit(self.largest, table.unit, 4)
        return f"{table.label} now reads up to {amount} differently, at {where}."


def insert_breakpoint(
    content: CalibrationSet, table_id: str, axis: int, value: float, *, detach: bool = False
) -> Change:
    """Insert a breakpoint; see `exchange_breakpoints` for what is kept.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.insert_breakpoint(content, "clamp_limit_oil", 0, 111)
    >>> print(change.title)
    Insert breakpoint 111 °C of oil temperature
    """
    old = _axis(content, table_id, axis).values
    if value in old:
        raise EditRefused(f"There is a breakpoint at {exact(value)} already.")
    new = np.insert(old, int(np.searchsorted(old, value)), value)
    title = f"Insert breakpoint {_said(content, table_id, axis, value)}"
    return exchange_breakpoints(content, table_id, axis, new, title=title, detach=detach)


def delete_breakpoint(
    content: CalibrationSet, table_id: str, axis: int, index: int, *, detach: bool = False
) -> Change:
    """Delete a breakpoint with its cells; the note says what this does to the function."""
    old = _axis(content, table_id, axis, index).values
    if old.size < 2:
        raise EditRefused("The last breakpoint of an axis cannot be deleted.")
    title = f"Delete breakpoint {_said(content, table_id, axis, float(old[index]))}"
    new = np.delete(old, index)
    return exchange_breakpoints(content, table_id, axis, new, title=title, detach=detach)


def delete_breakpoint_at(
    content: CalibrationSet, table_id: str, axis: int, value: float | str, *, detach: bool = False
) -> Change:
    """Delete the breakpoint with a value or a label; see `delete_breakpoint`.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.delete_breakpoint_at(content, "pre_engage_torque", 1, 30)
    >>> print(change.note)
    Pre-engage torque now reads up to 6.5 N·m differently, at −40 °C, 30 %.
    """
    table = content[table_id]
    _axis(content, table_id, axis)
    index = breakpoint_index(table, axis, value)
    return delete_breakpoint(content, table_id, axis, index, detach=detach)


def move_breakpoint(
    content: CalibrationSet,
    table_id: str,
    axis: int,
    index: int,
    value: float,
    *,
    keep_values: bool = False,
    detach: bool = False,
) -> Change:
    """Move one breakpoint.

    Parameters
    ----------
    keep_values : bool
        Keep the cells' values (a wrong number in the axis) instead of the function.
    """
    old = _axis(content, table_id, axis, index).values
    new = old.copy()
    new[index] = value
    was = _said(content, table_id, axis, float(old[index]))
    unit = content[table_id].axes[axis].unit
    title = f"Move breakpoint {was} to {with_unit(value, unit, 17)}"
    return exchange_breakpoints(
        content, table_id, axis, new, title=title, keep_values=keep_values, detach=detach
    )


def scale_axis(
    content: CalibrationSet, table_id: str, axis: int, factor: float, *, detach: bool = False
) -> Change:
    """Multiply all breakpoints, keeping the cells' values (an axis in a wrong unit)."""
    if factor <= 0:
        raise EditRefused("An axis can only be scaled by a factor above zero.")
    old = _axis(content, table_id, axis)
    title = f"Scale {old.label.lower()} of {content[table_id].label} by {exact(factor)}"
    new = old.values * factor
    # A factor such as 0.1 leaves breakpoints a rounding error off: take the storable ones.
    nearest = old.storage.nearest(new)
    new = np.where(np.abs(nearest - new) <= 1e-9 * np.abs(new), nearest, new)
    return exchange_breakpoints(
        content, table_id, axis, new, title=title, keep_values=True, detach=detach
    )


def exchange_breakpoints(
    content: CalibrationSet,
    table_id: str,
    axis: int,
    values: npt.ArrayLike,
    *,
    title: str = "",
    keep_values: bool = False,
    detach: bool = False,
) -> Change:
    """Give an axis other breakpoints.

    Parameters
    ----------
    content : CalibrationSet
    table_id : str
    axis : int
    values : array_like, shape (n,)
    keep_values : bool
        Keep the cells' values and change only where they stand; needs as many breakpoints as
        before.  Otherwise the function is kept by interpolation.
    detach : bool
        For a shared axis: change this table only and give it an axis of its own.

    Returns
    -------
    Change
        Its note reports the largest difference made in each table.

    Raises
    ------
    EditRefused
        If the new breakpoints are not finite or do not rise strictly, if the function is to be
        kept over an axis that is out of order, or if a locked cell would be lost or changed.
    """
    old_axis = _axis(content, table_id, axis)
    new_values = np.asarray(values, dtype=np.float64)
    if not np.isfinite(new_values).all() or not (np.diff(new_values) > 0).all():
        raise EditRefused(
            f"Breakpoints of {old_axis.label.lower()} must be finite and rise strictly.",
            "Choose a value between its neighbours.",
        )
    if keep_values and new_values.size != len(old_axis):
        raise EditRefused("Keeping the values needs as many breakpoints as before.")
    title = title or f"Change breakpoints of {old_axis.label.lower()}"
    if not old_axis.shared or detach:
        new_axis = replace(old_axis, values=new_values, shared="")
        table = content[table_id]
        new, note = _moved(table, {axis: new_axis}, keep_values)
        return Change(title, (TableEdit(table, new),) if new != table else (), note=note)
    new_axis = replace(old_axis, values=new_values)
    if new_axis == old_axis:
        return Change(title, ())
    edits: list[Edit] = [SharedAxisEdit(old_axis.shared, old_axis, new_axis)]
    notes = []
    for user in content.users_of(old_axis.shared):
        places = {n: new_axis for n, a in enumerate(user.axes) if a.shared == old_axis.shared}
        new, note = _moved(user, places, keep_values)
        edits.append(TableEdit(user, new))
        notes.append(note)
    return Change(title, tuple(edits), note=" ".join(filter(None, notes)))


def detach_axis(content: CalibrationSet, table_id: str, axis: int) -> Change:
    """Give a table its own copy of a shared axis.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> alone = cm.edit(content, cm.detach_axis(content, "disconnect_speed", 0))
    >>> alone["disconnect_speed"].axes[0].shared
    ''
    """
    table = content[table_id]
    old = _axis(content, table_id, axis)
    if not old.shared:
        raise EditRefused(f"{old.label} is this table's own already.")
    new = table.with_axis(axis, replace(old, shared=""), table.values)
    return Change(f"Detach {old.label.lower()} of {table.label}", (TableEdit(table, new),))


def _axis(content: CalibrationSet, table_id: str, axis: int, index: int = 0) -> Axis:
    table = content[table_id]
    if not 0 <= axis < len(table.axes):
        raise EditRefused(f"{table.label} has no axis {axis + 1}.")
    found = table.axes[axis]
    if not 0 <= index < len(found):
        raise EditRefused(f"{found.label} of {table.label} has no breakpoint {index + 1}.")
    return found


def _said(content: CalibrationSet, table_id: str, axis: int, value: float) -> str:
    found = _axis(content, table_id, axis)
    return f"{found.said(value)} of {found.label.lower()}"


def _moved(table: Table, axes: dict[int, Axis], keep_values: bool) -> tuple[Table, str]:
    """Return a table on other axes, and a sentence on what that changed."""
    new_axes = tuple(axes.get(n, a) for n, a in enumerate(table.axes))
    if keep_values:
        rules = tuple(_with_moved_locks(r, table, new_axes) for r in table.rules)
        return replace(table, axes=new_axes, rules=rules), ""
    try:
        exact_values = _read(table, new_axes)
    except LookupProblem as problem:
        raise EditRefused(
            str(problem), "Move the breakpoint with its values kept until the axis rises."
        ) from None
    values = table.storage.nearest(exact_values)
    # Cells that stay where they were keep what they hold, on the raster or not.
    stays = np.ones(values.shape, dtype=bool)
    for n, (old, new) in enumerate(zip(table.axes, new_axes, strict=True)):
        here = np.isin(new.values, old.values)
        stays &= here.reshape([-1 if a == n else 1 for a in range(values.ndim)])
    values = np.where(stays, exact_values, values)
    moved = replace(table, axes=new_axes, values=values)
    for rule in table.rules:
        if isinstance(rule, Locked) and -1 in rule.cells(moved):
            raise EditRefused(
                f"{table.label} has locked cells at a breakpoint that would go.",
                "Unlock them first.",
            )
    return moved, axis_error(table, moved).words(moved)


def _read(table: Table, axes: tuple[Axis, ...]) -> FloatArray:
    mesh = np.meshgrid(*(a.values for a in axes), indexing="ij")
    return lookup_values(table.axes, table.values, mesh, table.id)


def axis_error(before: Table, after: Table) -> AxisError:
    """Return the largest difference between what two tables read, at the nodes of both."""
    grids = [np.union1d(a.values, b.values) for a, b in zip(before.axes, after.axes, strict=True)]
    mesh = np.meshgrid(*grids, indexing="ij")
    apart = np.abs(
        lookup_values(before.axes, before.values, mesh)
        - lookup_values(after.axes, after.values, mesh)
    )
    apart = np.where(np.isfinite(apart), apart, 0.0)
    worst = np.unravel_index(int(apart.argmax()), apart.shape)
    at = tuple(float(g[i]) for g, i in zip(grids, worst, strict=True))
    return AxisError(float(apart[worst]), at)


def _with_moved_locks(rule: Rule, table: Table, axes: tuple[Axis, ...]) -> Rule:
    if not isinstance(rule, Locked):
        return rule
    new_points = []
    for cell, point in zip(rule.cells(table), rule.points, strict=True):
        if cell < 0:
            new_points.append(point)
        else:
            index = np.unravel_index(cell, table.shape)
            new_points.append(tuple(float(a.values[i]) for a, i in zip(axes, index, strict=True)))
    return replace(rule, points=tuple(new_points))
