"""What differs between two tables or sets besides values, field by field, in words."""

from __future__ import annotations

from dataclasses import dataclass
from operator import attrgetter

from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import exact
from calib_model.core.rule import Rule, stated
from calib_model.core.table import Table

NOT_CONTENT = ("name", "revision", "description")

_TABLE_FIELDS = {
    "name": "name",
    "unit": "unit",
    "function": "function group",
    "description": "description",
    "role": "part of the controller",
}
_SETTINGS = attrgetter(
    "name",
    "unit",
    "function",
    "description",
    "lower",
    "upper",
    "storage",
    "role",
    "rules",
    "labels",
)
_AXIS_FIELDS = {
    "name": "name",
    "unit": "unit",
    "quantity": "input",
    "interpolation": "interpolation",
    "below": "lower end",
    "above": "upper end",
    "storage": "storage",
    "shared": "shared axis",
    "labels": "labels",
}
_AXIS_SETTINGS = attrgetter(*_AXIS_FIELDS)


@dataclass(frozen=True)
class FieldChange:
    """One field that differs.

    Parameters
    ----------
    field : str
        In words, such as ``upper limit`` or ``axis 2 breakpoints``.
    before, after : str
        Empty for nothing.
    is_content : bool
        Whether it is part of the set's content, which a digest covers.
    """

    field: str
    before: str
    after: str
    is_content: bool = True

    def words(self) -> str:
        """Say it in words: ``upper limit: 450 → 500 N·m``."""
        return f"{self.field}: {self.change}"

    @property
    def change(self) -> str:
        """Before and after, in words."""
        return f"{self.before or 'nothing'} → {self.after or 'nothing'}"


def same_settings(first: Table, second: Table) -> bool:
    """Tell quickly whether everything but values and axes is the same."""
    return bool(
        _SETTINGS(first) == _SETTINGS(second)
        and (first.relations is second.relations or first.relations == second.relations)
    )


def same_axis(first: Axis, second: Axis) -> bool:
    """Tell quickly whether two axes are equal; equal bytes are the common case."""
    if first.values.tobytes() == second.values.tobytes():
        return bool(_AXIS_SETTINGS(first) == _AXIS_SETTINGS(second))
    return first == second


def table_fields(first: Table, second: Table) -> tuple[FieldChange, ...]:
    """Return the differing fields of two tables of one id."""
    found = [
        FieldChange(label, getattr(first, key), getattr(second, key))
        for key, label in _TABLE_FIELDS.items()
        if getattr(first, key) != getattr(second, key)
    ]
    for key, label in (("lower", "lower limit"), ("upper", "upper limit")):
        before, after = getattr(first, key), getattr(second, key)
        if before != after:
            found.append(FieldChange(label, first.said(before), second.said(after)))
    if first.labels != second.labels:
        found.append(FieldChange("labels", str(first.labels), str(second.labels)))
    if first.storage != second.storage:
        found.append(FieldChange("storage", str(first.storage), str(second.storage)))
    for mode in dict.fromkeys([*first.relations, *second.relations]):
        before, after = first.relations.get(mode, ""), second.relations.get(mode, "")
        if before != after:
            found.append(FieldChange(f"relation of mode {mode}", before, after))
    found += _rules(first, second)
    if len(first.axes) != len(second.axes):
        found.append(FieldChange("number of axes", str(len(first.axes)), str(len(second.axes))))
    for number, (a, b) in enumerate(zip(first.axes, second.axes, strict=False), start=1):
        found += axis_fields(a, b, f"axis {number} ")
    return tuple(found)


def axis_fields(first: Axis, second: Axis, prefix: str = "") -> list[FieldChange]:
    """Return the differing fields of two axes."""
    if first == second:
        return []
    found = []
    before, after = first.values.tolist(), second.values.tolist()
    if before != after:
        found.append(FieldChange(f"{prefix}breakpoints", _list(before), _list(after)))
    found += [
        FieldChange(prefix + label, str(getattr(first, key)), str(getattr(second, key)))
        for key, label in _AXIS_FIELDS.items()
        if getattr(first, key) != getattr(second, key)
    ]
    return found


def set_fields(first: CalibrationSet, second: CalibrationSet) -> tuple[FieldChange, ...]:
    """Return what differs in what two sets say of themselves, and in axes that no table uses."""
    mine, theirs = first.about(), second.about()
    found = [
        FieldChange(key.replace("_", " "), mine[key], theirs[key], key not in NOT_CONTENT)
        for key in mine
        if mine[key] != theirs[key]
    ]
    for id in dict.fromkeys([*first.shared_axes, *second.shared_axes]):
        a, b = first.shared_axes.get(id), second.shared_axes.get(id)
        if a is None or b is None:
            there = "there"
            found.append(FieldChange(f"shared axis {id}", there if a else "", there if b else ""))
        else:
            found += axis_fields(a, b, f"shared axis {id} ")
    return tuple(found)


def _rules(first: Table, second: Table) -> list[FieldChange]:
    if first.rules == second.rules:
        return []
    lost = [r for r in first.rules if r not in second.rules]
    new = [r for r in second.rules if r not in first.rules]
    found = [FieldChange("rule", _statement(r, first), "") for r in lost]
    found += [FieldChange("rule", "", _statement(r, second)) for r in new]
    return found or [FieldChange("order of rules", "as before", "another")]


def _statement(rule: Rule, table: Table) -> str:
    extra = [str(rule.severity)] + ([rule.reason] if rule.reason else [])
    return f"{stated(rule, table)} ({'; '.join(extra)})"


def _list(values: list[float]) -> str:
    return "[" + " ".join(exact(v) for v in values) + "]"
