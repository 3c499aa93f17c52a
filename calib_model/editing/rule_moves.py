"""Rules that follow a table: to another id, another order of axes, another unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from ..core.arrays import FloatArray
from ..core.rule import Range, Rule, find_axis
from ..core.rule_settings import In, Of, Setting, settings_of
from ..core.table import Table
from ..errors import ModelError
from ..rules.limits import Locked

Scale = Callable[[Any], FloatArray]
"""Converts values, offsets included; a difference is ``scale(b) - scale(a)``."""

_PLACES = ("lower", "upper", "value", "values", "low", "high", "about")
"""Numbers that say where something lies; all others with a unit say how much."""


def renamed(rule: Rule, old: str, new: str) -> Rule:
    """Return a rule that names the table `new` wherever it named `old`."""
    if old not in rule.reads():
        return rule
    named: dict[str, Any] = {
        s.name: new
        for s in settings_of(type(rule))
        if s.of is Of.TABLE and getattr(rule, s.name) == old
    }
    return replace(rule, **named)


def with_axes_moved(
    rule: Rule, table: Table, places: Mapping[int, int | None], at: float = 0.0
) -> Rule | None:
    """Return a rule of a table whose axes change places, or None if it goes with a dropped axis.

    Parameters
    ----------
    rule : Rule
    table : Table
        As it was.
    places : mapping of int to int or None
        The new number of every axis it had; None for one that is dropped.
    at : float
        The breakpoint of the dropped axis whose values stay.
    """
    given: dict[str, Any] = {}
    for setting in settings_of(type(rule)):
        value = getattr(rule, setting.name)
        if setting.of is Of.AXIS and value:
            moved = _reference(table, value, places)
            if moved is None:
                return None
            given[setting.name] = moved
        elif setting.of is Of.SCOPE:
            parts = []
            for part in value:
                moved = _reference(table, part.axis, places)
                if moved is not None:
                    parts.append(replace(part, axis=moved))
                elif not part.low <= at <= part.high:
                    return None  # it looked elsewhere only
            given[setting.name] = tuple(parts)
        elif setting.of is Of.POINT:
            if (point := _point(value, table, places, at)) is None:
                return None
            given[setting.name] = point
    if isinstance(rule, Locked):
        kept = [
            (point, value)
            for old, value in zip(rule.points, rule.values, strict=True)
            if (point := _point(old, table, places, at)) is not None
        ]
        given |= {"points": tuple(p for p, _ in kept), "values": tuple(v for _, v in kept)}
        if not kept:
            return None
    changed = {name: value for name, value in given.items() if value != getattr(rule, name)}
    return replace(rule, **changed) if changed else rule


def with_axis_added(rule: Rule, table: Table, position: int, values: FloatArray) -> Rule:
    """Return a rule of a table that gets an axis: what was said of a cell holds all along it."""
    places = {n: n + (n >= position) for n in range(len(table.axes))}
    moved = with_axes_moved(rule, table, places)
    assert moved is not None
    first = float(values[0])
    given: dict[str, Any] = {
        s.name: _inserted(getattr(moved, s.name), position, first)
        for s in settings_of(type(moved))
        if s.of is Of.POINT
    }
    if isinstance(moved, Locked):
        pairs = [
            (_inserted(point, position, x), held)
            for point, held in zip(moved.points, moved.values, strict=True)
            for x in values.tolist()
        ]
        given = {"points": tuple(p for p, _ in pairs), "values": tuple(v for _, v in pairs)}
    return replace(moved, **given) if given else moved


def in_units(rule: Rule, table: Table, value: Scale, axes: Mapping[int, Scale]) -> Rule:
    """Return a rule whose numbers are in other units.

    Parameters
    ----------
    rule : Rule
    table : Table
        As it was.
    value : callable
        Converts values of the table.
    axes : mapping of int to callable
        Converts values of the axes that change.
    """
    given: dict[str, Any] = {}
    settings = settings_of(type(rule))
    own_axis = next((getattr(rule, s.name) for s in settings if s.of is Of.AXIS), "")
    along = axes.get(_number(table, own_axis)) if own_axis else None
    for setting in settings:
        old = getattr(rule, setting.name)
        if setting.of is Of.SCOPE:
            given[setting.name] = tuple(_range(part, table, axes) for part in old)
        elif setting.of is Of.POINT:
            given[setting.name] = _converted(old, axes)
        elif setting.of is Of.POINTS:
            given[setting.name] = tuple(_converted(point, axes) for point in old)
        elif setting.of in (Of.NUMBER, Of.NUMBERS):
            given[setting.name] = _amount(setting, old, value, along)
    changed = {name: new for name, new in given.items() if new != getattr(rule, name)}
    return replace(rule, **changed) if changed else rule


def _amount(setting: Setting, old: Any, value: Scale, along: Scale | None) -> Any:
    if setting.unit is In.NONE:
        return old
    if isinstance(old, tuple):
        return tuple(_amount(setting, one, value, along) for one in old)
    if not np.isfinite(old):
        return old
    if setting.unit is In.TABLE:
        return _placed(old, value) if setting.name in _PLACES else old * _slope(value)
    if setting.unit is In.AXIS:
        if along is None:
            return old
        return _placed(old, along) if setting.name in _PLACES else old * _slope(along)
    by_axis = _slope(along) if along is not None else 1.0
    return old * by_axis if setting.unit is In.AXIS_PER_SECOND else old * _slope(value) / by_axis


def _placed(old: float, scale: Scale) -> float:
    return float(scale(old)) if np.isfinite(old) else old


def _slope(scale: Scale) -> float:
    low, high = np.asarray(scale([0.0, 1.0])).tolist()
    return float(high - low)


def _range(part: Range, table: Table, axes: Mapping[int, Scale]) -> Range:
    scale = axes.get(_number(table, part.axis))
    if scale is None:
        return part
    return replace(part, low=_placed(part.low, scale), high=_placed(part.high, scale))


def _converted(point: tuple[float, ...], axes: Mapping[int, Scale]) -> tuple[float, ...]:
    return tuple(_placed(x, axes[n]) if n in axes else x for n, x in enumerate(point))


def _number(table: Table, reference: str) -> int:
    try:
        return find_axis(table, reference)
    except ModelError:
        return -1


def _reference(table: Table, reference: str, places: Mapping[int, int | None]) -> str | None:
    """Return how an axis is named after the move; only a number has to follow."""
    number = _number(table, reference)
    if number < 0:
        return reference  # it named none before
    place = places[number]
    if place is None:
        return None
    axis = table.axes[number]
    return reference if reference in (axis.quantity, axis.name) else str(place + 1)


def _point(
    point: tuple[float, ...], table: Table, places: Mapping[int, int | None], at: float
) -> tuple[float, ...] | None:
    if len(point) != len(table.axes):
        return point
    moved: dict[int, float] = {}
    for number, x in enumerate(point):
        place = places[number]
        if place is not None:
            moved[place] = x
        elif x != at:
            return None
    return tuple(moved[n] for n in sorted(moved))


def _inserted(point: tuple[float, ...], position: int, x: float) -> tuple[float, ...]:
    return (*point[:position], x, *point[position:])
