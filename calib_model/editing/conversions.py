"""A table or an axis in another unit, or in another storage.

Another unit changes no meaning: values, limits, rules and the storage's conversion go along, so
that the raw numbers of an integer table stay as they are wherever the factor is a fraction
(km/h to m/s is 5/18).  Another storage rounds: the note says by how much.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.axis import Axis
from ..core.calibration_set import CalibrationSet
from ..core.numbers import exact, short, with_unit
from ..core.rule import Rule
from ..core.storage import FLOAT64, Storage
from ..core.table import Table
from ..core.units import convert
from ..errors import EditRefused
from ..rules.limits import Locked
from .change import Change, Edit, SharedAxisEdit, TableEdit
from .consequences import largest, with_consequences
from .locks import locked_cells
from .rule_moves import Scale, in_units

_LARGEST_PART = 1 << 62
_MOST_PARTS = 1_000_000


def change_unit(content: CalibrationSet, id: str, unit: str, axis: int | None = None) -> Change:
    """Express a table's values, or one axis, in another unit.

    A shared axis changes in all its tables.

    Parameters
    ----------
    content : CalibrationSet
    id : str
    unit : str
    axis : int, optional
        Which axis; the values if it is not given.

    Returns
    -------
    Change
        Its note shows the range before and after, and what follows.

    Raises
    ------
    UnitProblem
        If a unit is not known or the two are not of one kind.
    EditRefused
        If the numbers have labels, or the unit turns their order round.

    Examples
    --------
    >>> from calib_model.core.table import Table
    >>> one = CalibrationSet([Table("limit", 36.0, unit="km/h", storage=Storage("uint8"))])
    >>> change = change_unit(one, "limit", "m/s")
    >>> print(change.note)
    36 km/h becomes 10 m/s. Its raw values stay as they are.
    """
    table = content[id]
    if axis is not None:
        return _axis_unit(content, table, axis, unit)
    if table.labels:
        raise EditRefused(
            f"Values of {table.label} have labels, so they are states and no amounts.",
            "Take the labels away first.",
        )
    scale = _scale(table.unit, unit)
    new, said = _in_unit(table, unit, scale)
    title = f"Convert {table.label} to {unit}"
    if new == table:
        return Change(title, ())
    return with_consequences(content, Change(title, (TableEdit(table, new),)), *said)


def change_storage(
    content: CalibrationSet, id: str, storage: Storage, axis: int | None = None
) -> Change:
    """Store a table's values, or one axis, in another way; they are rounded to it.

    Returns
    -------
    Change
        Its note says how many values move and by how much at most.

    Raises
    ------
    EditRefused
        If a value lies beyond what the storage holds, a locked value would move, or two
        breakpoints would round to one.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> change = cm.change_storage(content, "hill_torque", cm.Storage.of("uint8", "2"))
    >>> print(change.note)
    17 of 30 values are rounded, by at most 1 N·m.
    """
    table = content[id]
    if axis is not None:
        return _axis_storage(content, table, axis, storage)
    values = _rounded(table.values, storage, table.said, table.label)
    held = locked_cells(table)
    if not np.array_equal(values[held], table.values[held], equal_nan=True):
        raise EditRefused(
            f"{table.label} has locked values that {storage} does not hold.", "Unlock them first."
        )
    new = replace(table, storage=storage, values=values)
    title = f"Store {table.label} as {storage}"
    edits = (TableEdit(table, new),) if new != table else ()
    note = _rounding(table.values, values, table.unit, "value")
    return with_consequences(content, Change(title, edits), note)


def rounding(table: Table, storage: Storage) -> FloatArray:
    """Return what each value of a table would move by in another storage, its shape."""
    return np.asarray(storage.nearest(table.values) - table.values)


# -- units -----------------------------------------------------------------------------------


def _scale(source: str, target: str) -> Scale:
    low, high = convert([0.0, 1.0], source, target).tolist()
    if not high > low:
        raise EditRefused(f"{target!r} runs the other way than {source!r}.", "Choose another unit.")
    return lambda values: convert(values, source, target)


def _in_unit(table: Table, unit: str, scale: Scale) -> tuple[Table, list[str]]:
    storage = _scaled_storage(table.storage, scale)
    values = _moved(table.values, table.storage, storage, scale)
    lower, upper = (
        float(scale(limit)) if np.isfinite(limit) else limit for limit in (table.lower, table.upper)
    )
    rules = tuple(in_units(rule, table, scale, {}) for rule in table.rules)
    new = replace(
        table, unit=unit, values=values, lower=lower, upper=upper, storage=storage, rules=rules
    )
    new = _locks_on_values(table, new)
    said = [f"{_range(table)} becomes {_range(new)}.", _kept(table.storage, storage)]
    return new, said


def _locks_on_values(table: Table, new: Table) -> Table:
    """Locks hold the very values of their cells, to the last bit."""
    was, flat = table.values.reshape(-1), new.values.reshape(-1)
    rules: list[Rule] = []
    for old, rule in zip(table.rules, new.rules, strict=True):
        if isinstance(old, Locked) and isinstance(rule, Locked):
            held = tuple(
                float(flat[cell]) if cell >= 0 and was[cell] == before else value
                for cell, before, value in zip(
                    old.cells(table), old.values, rule.values, strict=True
                )
            )
            rules.append(replace(rule, values=held))
        else:
            rules.append(rule)
    return replace(new, rules=tuple(rules))


def _axis_unit(content: CalibrationSet, table: Table, number: int, unit: str) -> Change:
    old = _existing(table, number)
    if old.labels:
        raise EditRefused(
            f"Breakpoints of {old.label.lower()} have labels, so they are states and no amounts.",
            "Take the labels away first.",
        )
    scale = _scale(old.unit, unit)
    storage = _scaled_storage(old.storage, scale)
    values = _moved(old.values, old.storage, storage, scale)
    new = replace(old, unit=unit, values=values, storage=storage)
    title = f"Convert {old.label.lower()} of {table.label} to {unit}"
    said = [
        f"{_ends(old)} becomes {_ends(new)}.",
        _kept(old.storage, storage),
    ]

    def moved(user: Table, places: Mapping[int, Axis]) -> Table:
        scales: dict[int, Scale] = dict.fromkeys(places, scale)
        axes = tuple(places.get(n, a) for n, a in enumerate(user.axes))
        rules = tuple(in_units(rule, user, np.asarray, scales) for rule in user.rules)
        return replace(user, axes=axes, rules=tuple(_points_on(r, user, axes) for r in rules))

    return _on_users(content, table, number, new, title, moved, said)


def _ends(axis: Axis) -> str:
    return f"{short(float(axis.values[0]))} to {axis.said(float(axis.values[-1]))}"


def _points_on(rule: Any, table: Table, axes: tuple[Axis, ...]) -> Any:
    """Locks name cells by their breakpoints, to the last bit."""
    if not isinstance(rule, Locked):
        return rule
    points = []
    for point in rule.points:
        near = [
            float(axis.values[int(np.abs(axis.values - x).argmin())])
            for axis, x in zip(axes, point, strict=False)
        ]
        close = all(
            abs(a - x) <= 1e-9 * max(1.0, axis.span)
            for a, x, axis in zip(near, point, axes, strict=False)
        )
        points.append(tuple(near) if close and len(near) == len(point) else point)
    return replace(rule, points=tuple(points))


def _scaled_storage(storage: Storage, scale: Scale) -> Storage:
    """Return the storage with the same raw values, where the conversion is a fraction."""
    if storage.type == "float64":
        return storage
    if not storage.is_integer:
        return FLOAT64
    start, one = (float(v) for v in np.asarray(scale([0.0, 1.0])))
    factor = Fraction(one - start).limit_denominator(_MOST_PARTS)
    shift = Fraction(start).limit_denominator(_MOST_PARTS)
    if abs(float(factor) - (one - start)) > 4e-16 * abs(one - start) * max(
        1.0, abs(start) / abs(one - start)
    ) or abs(float(shift) - start) > 1e-13 * abs(start):
        return FLOAT64
    step = Fraction(storage.numerator, storage.denominator) * factor
    offset = Fraction(storage.offset, storage.denominator) * factor + shift
    denominator = int(np.lcm(step.denominator, offset.denominator))
    parts = (int(step * denominator), denominator, int(offset * denominator))
    if max(map(abs, parts)) > _LARGEST_PART:
        return FLOAT64
    return Storage(storage.type, *parts)


def _moved(values: FloatArray, old: Storage, new: Storage, scale: Scale) -> FloatArray:
    converted = scale(values)
    if not new.is_integer:
        return converted
    return np.where(old.representable(values), new.physical(old.raw(values)), converted)


def _kept(old: Storage, new: Storage) -> str:
    if old.is_integer and new.is_integer:
        return "Its raw values stay as they are."
    if old != new:
        return f"It is stored as {new} now: {old} has no step that is a fraction of the new unit."
    return ""


def _range(table: Table) -> str:
    finite = table.values[np.isfinite(table.values)]
    if not finite.size:
        return f"Its unit {table.unit}"
    low, high = float(finite.min()), float(finite.max())
    last = with_unit(high, table.unit)
    return last if low == high else f"{with_unit(low, '-')} to {last}"


# -- storage ---------------------------------------------------------------------------------


def _axis_storage(content: CalibrationSet, table: Table, number: int, storage: Storage) -> Change:
    old = _existing(table, number)
    values = _rounded(old.values, storage, old.said, old.label)
    if old.ordered and not (np.diff(values) > 0).all():
        raise EditRefused(
            f"Two breakpoints of {old.label.lower()} round to one as {storage}.",
            "Choose a finer step.",
        )
    new = replace(old, storage=storage, values=values)
    title = f"Store {old.label.lower()} of {table.label} as {storage}"
    said = [_rounding(old.values, values, old.unit, "breakpoint")]

    def moved(user: Table, places: Mapping[int, Axis]) -> Table:
        axes = tuple(places.get(n, a) for n, a in enumerate(user.axes))
        if any(isinstance(r, Locked) for r in user.rules) and (values != old.values).any():
            raise EditRefused(
                f"{user.label} has locked cells, and a breakpoint would move.", "Unlock them first."
            )
        return replace(user, axes=axes)

    return _on_users(content, table, number, new, title, moved, said)


def _rounded(
    values: FloatArray, storage: Storage, said: Callable[[float], str], label: str
) -> FloatArray:
    low, high = storage.range
    beyond = values[(values < low) | (values > high)]
    if beyond.size:
        raise EditRefused(
            f"{label} holds {said(float(beyond.flat[0]))}, which {storage} does not reach "
            f"({exact(low)} to {exact(high)}).",
            "Choose a larger type or a coarser step.",
        )
    return storage.nearest(values)


def _rounding(before: FloatArray, after: FloatArray, unit: str, what: str) -> str:
    moved = ~((before == after) | (np.isnan(before) & np.isnan(after)))
    count = int(moved.sum())
    if not count:
        return "No value is rounded." if what == "value" else f"No {what} is rounded."
    most = with_unit(largest(after - before), unit, 3)
    return f"{count} of {before.size} {what}s are rounded, by at most {most}."


# -- both ------------------------------------------------------------------------------------


def _existing(table: Table, number: int) -> Axis:
    if not 0 <= number < len(table.axes):
        raise EditRefused(f"{table.label} has no axis {number + 1}.", "Choose one that it has.")
    return table.axes[number]


def _on_users(
    content: CalibrationSet,
    table: Table,
    number: int,
    new: Axis,
    title: str,
    moved: Callable[[Table, Mapping[int, Axis]], Table],
    said: list[str],
) -> Change:
    """Exchange an axis in its table, or in all that share it."""
    old = table.axes[number]
    if new == old:
        return Change(title, ())
    edits: list[Edit] = []
    if old.shared:
        edits.append(SharedAxisEdit(old.shared, old, new))
        users = content.users_of(old.shared)
        if len(users) > 1:
            said.append(f"All {len(users)} tables that share the axis follow.")
        for user in users:
            places = {n: new for n, a in enumerate(user.axes) if a.shared == old.shared}
            edits.append(TableEdit(user, moved(user, places)))
    else:
        edits.append(TableEdit(table, moved(table, {number: new})))
    return with_consequences(content, Change(title, tuple(edits)), *said)
