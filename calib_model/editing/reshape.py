"""Axes of a table exchanged, added, dropped and shared.

What a table says of its cells (rules, locks) follows.  Breakpoints themselves are changed in
`calib_model.editing.axes`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import with_unit
from ..core.rule import Rule
from ..core.table import MAX_AXES, Table, check_id
from ..errors import EditRefused, ModelError
from ..rules.limits import Locked
from .change import Change, SharedAxisEdit, TableEdit
from .consequences import largest, with_consequences
from .rule_moves import with_axes_moved, with_axis_added


def transpose(content: CalibrationSet, id: str, order: Sequence[int] = ()) -> Change:
    """Put a table's axes in another order; what the controller reads stays the same.

    Parameters
    ----------
    content : CalibrationSet
    id : str
    order : sequence of int
        The present number of the axis that comes first, second, ...; reversed if empty.

    Raises
    ------
    EditRefused
        If the table has fewer than two axes, or `order` does not name each of them once.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> turned = cm.edit(content, cm.transpose(content, "hill_torque"))
    >>> content["hill_torque"].shape, turned["hill_torque"].shape
    ((6, 5), (5, 6))
    """
    table = content[id]
    count = len(table.axes)
    if count < 2:
        raise EditRefused(
            f"{table.label} has {'one axis' if count else 'no axis'} only.",
            "Nothing is to be exchanged.",
        )
    wanted = tuple(order) or tuple(reversed(range(count)))
    if sorted(wanted) != list(range(count)):
        raise EditRefused(
            f"{[n + 1 for n in wanted]} is no order of the {count} axes of {table.label}.",
            "Name each axis once.",
        )
    places: dict[int, int | None] = {old: new for new, old in enumerate(wanted)}
    rules = tuple(_kept(with_axes_moved(rule, table, places)) for rule in table.rules)
    new = replace(
        table,
        axes=tuple(table.axes[n] for n in wanted),
        values=np.ascontiguousarray(table.values.transpose(wanted)),
        rules=rules,
    )
    return _changed(content, table, new, f"Transpose {table.label}")


def add_axis(content: CalibrationSet, id: str, axis: Axis, position: int = -1) -> Change:
    """Give a table one more axis; its values are repeated along it.

    Parameters
    ----------
    content : CalibrationSet
    id : str
    axis : Axis
        A shared one must be the set's own.
    position : int
        Where it comes; last if -1.

    Raises
    ------
    EditRefused
        If the table has four axes, one of them reads the same, or the axis does not rise.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> wiper = cm.axis("wiper_state: off slow fast")
    >>> cm.edit(content, cm.add_axis(content, "hill_torque", wiper))["hill_torque"].shape
    (6, 5, 3)
    """
    table = content[id]
    if len(table.axes) == MAX_AXES:
        raise EditRefused(f"{table.label} has {MAX_AXES} axes already.", "Drop one first.")
    if not axis.ordered:
        raise EditRefused(
            f"Breakpoints of {axis.label.lower()} do not rise strictly.", "Put them in order."
        )
    reads = axis.quantity or axis.name
    if reads and any(reads in (a.quantity, a.name) for a in table.axes):
        raise EditRefused(f"An axis of {table.label} reads {reads!r} already.", "Take another.")
    if axis.shared and content.shared_axes.get(axis.shared) != axis:
        raise EditRefused(
            f"The set's shared axis {axis.shared!r} is another one, or missing.",
            "Take the set's own.",
        )
    place = position if 0 <= position <= len(table.axes) else len(table.axes)
    values = np.repeat(np.expand_dims(table.values, place), len(axis), axis=place)
    rules = tuple(with_axis_added(rule, table, place, axis.values) for rule in table.rules)
    axes = (*table.axes[:place], axis, *table.axes[place:])
    new = replace(table, axes=axes, values=values, rules=rules)
    return _changed(content, table, new, f"Add axis {axis.label.lower()} to {table.label}")


def drop_axis(content: CalibrationSet, id: str, axis: int, at: float) -> Change:
    """Take an axis away; the values at one of its breakpoints stay.

    Returns
    -------
    Change
        Its note says by how much the values that go differ from those that stay, and which rules
        went with the axis.

    Raises
    ------
    EditRefused
        If `at` is no breakpoint, or locked cells would go.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.drop_axis(content, "lateral_limit", 0, 3.5)
    >>> cm.edit(content, change)["lateral_limit"].shape
    (6,)
    """
    table = content[id]
    old = _existing(table, axis)
    index = breakpoint_index(table, axis, at)
    values = np.take(table.values, index, axis=axis)
    places: dict[int, int | None] = {
        n: None if n == axis else n - (n > axis) for n in range(len(table.axes))
    }
    rules, gone = [], []
    for rule in table.rules:
        moved = with_axes_moved(rule, table, places, float(old.values[index]))
        lost = isinstance(rule, Locked) and len(getattr(moved, "points", ())) < len(rule.points)
        if lost:
            raise EditRefused(
                f"{table.label} has locked cells at other breakpoints of {old.label.lower()}.",
                "Unlock them first.",
            )
        if moved is None:
            gone.append(rule.kind.replace("_", " "))
        else:
            rules.append(moved)
    axes = tuple(a for n, a in enumerate(table.axes) if n != axis)
    new = replace(table, axes=axes, values=values, rules=tuple(rules))
    apart = largest(table.values - np.expand_dims(values, axis))
    said = [
        f"The values at {old.said(at)} stay."
        + (f" Those that go differ from them by up to {with_unit(apart, table.unit)}." if apart
           else " Those that go are the same.")
    ]  # fmt: skip
    if gone:
        count = "1 rule goes" if len(gone) == 1 else f"{len(gone)} rules go"
        said.append(f"{count} with the axis: {', '.join(gone)}.")
    title = f"Drop axis {old.label.lower()} of {table.label}"
    return _changed(content, table, new, title, *said)


def share_axis(
    content: CalibrationSet, id: str, axis: int, shared: str, others: Iterable[str] = ()
) -> Change:
    """Make a table's axis one that several tables share, or take an equal one that is shared.

    Parameters
    ----------
    content : CalibrationSet
    id : str
    axis : int
    shared : str
        Id of the shared axis.
    others : iterable of str
        Tables that use it from now on too; each must have an equal axis of its own.

    Raises
    ------
    EditRefused
        If the axis is shared already, or one that is to be shared is not equal.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> shared = cm.edit(content, cm.share_axis(content, "hill_torque", 0, "axis.grade"))
    >>> [table.id for table in shared.users_of("axis.grade")]
    ['hill_torque']
    """
    table = content[id]
    old = _existing(table, axis)
    if old.shared:
        raise EditRefused(
            f"{old.label} of {table.label} is shared already, as {old.shared}.",
            "Detach it first, if it is to be another.",
        )
    try:
        check_id(shared)
    except ModelError as error:
        raise EditRefused(error.problem, error.remedy) from None
    new = replace(old, shared=shared)
    known = content.shared_axes.get(shared)
    if known is not None and known != new:
        raise EditRefused(
            f"Shared axis {shared!r} has other breakpoints or settings than {old.label.lower()} "
            f"of {table.label}.",
            "Move the table to it (Move to other breakpoints, `bitepoint reaxis --like ... "
            "--adopt`), or choose another id.",
        )
    edits: list[SharedAxisEdit | TableEdit] = []
    if known is None:
        edits.append(SharedAxisEdit(shared, None, new))
    edits.append(TableEdit(table, table.with_axis(axis, new, table.values)))
    for other_id in dict.fromkeys(others):
        other = content[other_id]
        if other_id == id:
            continue
        number = next((n for n, a in enumerate(other.axes) if a == old), None)
        if number is None:
            raise EditRefused(
                f"{other.label} has no axis of its own that is equal to {old.label.lower()} of "
                f"{table.label}.",
                "Leave it out, or move it to these breakpoints first.",
            )
        edits.append(TableEdit(other, other.with_axis(number, new, other.values)))
    return Change(f"Share {old.label.lower()} of {table.label} as {shared}", tuple(edits))


def equal_axes(content: CalibrationSet, axis: Axis) -> tuple[str, ...]:
    """Return the ids of the tables that have such an axis of their own."""
    return tuple(t.id for t in content if any(a == axis for a in t.axes))


def breakpoint_index(table: Table, axis: int, value: float | str) -> int:
    """Return the number of the breakpoint with a value, or with a label.

    Raises
    ------
    EditRefused
        If the axis has no such breakpoint; the nearest ones are named.
    """
    found = _existing(table, axis)
    number = found.labels.number(value) if isinstance(value, str) else float(value)
    place = np.flatnonzero(found.values == number) if number is not None else np.empty(0, np.intp)
    if place.size:
        return int(place[0])
    if number is None:
        has = f"The labels are {found.labels}." if found.labels else "Give a number."
        raise EditRefused(f"{value!r} is no label of {found.label.lower()}.", has)
    near = found.values[np.argsort(np.abs(found.values - number))[:2]]
    said = " and ".join(found.said(x) for x in sorted(near.tolist()))
    raise EditRefused(
        f"{found.label} of {table.label} has no breakpoint at {found.said(number)}.",
        f"The nearest {'is' if near.size == 1 else 'are'} {said}.",
    )


def _existing(table: Table, number: int) -> Axis:
    if not 0 <= number < len(table.axes):
        raise EditRefused(f"{table.label} has no axis {number + 1}.", "Choose one that it has.")
    return table.axes[number]


def _kept(rule: Rule | None) -> Rule:
    assert rule is not None  # no axis is dropped
    return rule


def _changed(
    content: CalibrationSet, before: Table, after: Table, title: str, *said: str
) -> Change:
    edits = (TableEdit(before, after),) if before != after else ()
    return with_consequences(content, Change(title, edits), *said)
