"""Rules that the present shape of a table suggests: offered with what they rest on, never assumed.

A shape that a few numbers have by chance is not suggested.  How much it takes is counted in
halvings of chance: a line whose m steps all go one way would do so once in (m+1)! orders, and each
further line that does the same counts as one toss of a coin, since neighbouring lines are alike.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import ceil, floor, isfinite, lgamma, log, log10

import numpy as np

from calib_model.core.arrays import FloatArray
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.numbers import short, with_unit
from calib_model.core.rule import Rule
from calib_model.core.table import Table
from calib_model.rules.limits import Bounds
from calib_model.rules.shape import Curvature, Monotone, Symmetry, ZeroEnd
from calib_model.rules.step import Step

HALVINGS = 6.0
"""How often chance has to be halved before a shape is suggested: once in 64."""
REASON = "the shape was so when the rule was made"


@dataclass(frozen=True)
class SuggestedRule:
    """A rule that a table's present values hold.

    Parameters
    ----------
    table : str
    rule : Rule
        With the reason that it was read off the present shape.
    question : str
        Whether it shall stay so, in words.
    evidence : str
        What it rests on: how many lines and steps, and the smallest margin.
    places : int
        How many steps, bends or cells speak for it.
    margin : float
        What is left before it would be broken, in the table's unit.
    halvings : float
        How unlikely it is by chance, as halvings.
    """

    table: str
    rule: Rule
    question: str
    evidence: str
    places: int
    margin: float
    halvings: float


def suggest_rules(
    content: CalibrationSet, ids: Iterable[str] | None = None
) -> tuple[SuggestedRule, ...]:
    """Return the rules that tables hold by their present shape and do not state yet.

    Parameters
    ----------
    content : CalibrationSet
    ids : iterable of str, optional
        By default all tables.

    Returns
    -------
    tuple of SuggestedRule
        In the order of the tables; for each the best supported first.  Tables with empty cells or
        disordered axes, and scalars, get none.

    Examples
    --------
    >>> import calib_model as cm
    >>> content = cm.open_set("larch_normal.h5")
    >>> one = cm.suggest_rules(content, ["torque_fall_slew"])[0]
    >>> print(one.question)
    Never falls with vehicle speed: keep it so?
    >>> print(one.evidence)
    rises in all 2 lines, 8 steps; the smallest is 100 N·m/s; 2 level
    """
    found: list[SuggestedRule] = []
    for id in content.tables if ids is None else dict.fromkeys(ids):
        table = content[id]
        if not table.axes or not np.isfinite(table.values).all():
            continue
        if not all(axis.ordered for axis in table.axes) or np.ptp(table.values) == 0:
            continue
        mine = [
            one
            for one in _of(table)
            if one.halvings >= HALVINGS and not any(_settles(r, one.rule) for r in table.rules)
        ]
        found += sorted(mine, key=lambda one: -one.halvings)
    return tuple(found)


def _settles(stated: Rule, suggested: Rule) -> bool:
    """Whether a table's rule, on or off, speaks of the same already."""
    return type(stated) is type(suggested) and getattr(stated, "axis", "") == getattr(
        suggested, "axis", ""
    )


def _of(table: Table) -> Iterator[SuggestedRule]:
    for number, axis in enumerate(table.axes):
        name = axis.quantity or axis.name
        # The first axis of that name is the one that a rule would find.
        if not name or [a.quantity or a.name for a in table.axes].index(name) != number:
            name = str(number + 1)
        lines = np.moveaxis(table.values, number, -1).reshape(-1, len(axis))
        if len(axis) < 2:
            continue
        yield from _order(table, name, lines)
        yield from _bend(table, name, lines, axis.values)
        yield from _ends(table, name, lines)
        yield from _same(table, name, lines)
        yield from _mirror(table, name, lines, axis.values)
    yield from _signs(table)


def _factorial(steps: int) -> float:
    """Halvings of chance that so many steps in a row go one way: log2 of (steps + 1)!."""
    return lgamma(steps + 2) / log(2)


def _made(
    table: Table, rule: Rule, evidence: str, places: int, margin: float, halvings: float
) -> SuggestedRule:
    words = rule.statement(table)
    question = f"{words[:1].upper()}{words[1:]}: keep it so?"
    said = replace(rule, reason=REASON)
    return SuggestedRule(table.id, said, question, evidence, places, margin, halvings)


def _lines(count: int) -> str:
    return "in its line" if count == 1 else f"in all {count} lines"


def _order(table: Table, name: str, lines: FloatArray) -> Iterator[SuggestedRule]:
    steps = np.diff(lines, axis=1)
    for direction, sign in (("up", 1.0), ("down", -1.0)):
        signed = steps * sign
        moving = signed > 0
        if (signed < 0).any() or not moving.any():
            continue
        per_line = moving.sum(axis=1)
        going = int((per_line > 0).sum())
        least = float(signed[moving].min())
        level = int((~moving).sum())
        # Strict only with room to spare: a rule at its very edge is broken by the next rounding.
        room = max(2 * table.storage.resolution, 0.005 * table.span)
        strict = level == 0 and float(signed.min()) >= room
        rule = Monotone(name, direction, strict)
        verb = "rises" if direction == "up" else "falls"
        evidence = (
            f"{verb} {_lines(len(lines))}, {int(moving.sum())} steps; "
            f"the smallest is {with_unit(least, table.unit)}"
            + (f"; {level} level" if level else "")
        )
        halvings = _factorial(int(per_line.max())) + (going - 1)
        margin = float(signed.min())
        yield _made(table, rule, evidence, int(moving.sum()), margin, halvings)


def _bend(table: Table, name: str, lines: FloatArray, x: FloatArray) -> Iterator[SuggestedRule]:
    if x.size < 4:
        return
    share = (x[1:-1] - x[:-2]) / (x[2:] - x[:-2])
    chord = (1 - share) * lines[:, :-2] + share * lines[:, 2:]
    below = chord - lines[:, 1:-1]
    tolerance = 1e-9 * table.span
    # A bend that rounding may have made speaks for nothing.
    clear = max(table.storage.resolution, 0.01 * table.span)
    for shape, sign in (("convex", 1.0), ("concave", -1.0)):
        signed = below * sign
        bends = signed > clear
        if (signed < -tolerance).any() or bends.sum() < 0.3 * signed.size:
            continue
        per_line = bends.sum(axis=1)
        halvings = float(per_line.max()) + float((per_line > 0).sum() - 1)
        margin = float(signed.min())
        evidence = (
            f"bends one way {_lines(len(lines))}, clearly at {int(bends.sum())} of {signed.size} "
            f"points; the flattest lies {with_unit(max(margin, 0.0), table.unit, 3)} off a "
            "straight line"
        )
        rule = Curvature(name, shape)
        yield _made(table, rule, evidence, int(bends.sum()), margin, halvings)


def _ends(table: Table, name: str, lines: FloatArray) -> Iterator[SuggestedRule]:
    """An end at zero counts by the lines that come down to it."""
    for end, place in (("last", -1), ("first", 0)):
        if lines[:, place].any():
            continue
        others = np.delete(lines, place % lines.shape[1], axis=1)
        # A line of zeros all along says nothing of its end.
        coming = int(others.any(axis=1).sum())
        if not coming:
            continue
        cells = int(np.count_nonzero(others))
        evidence = f"zero there {_lines(len(lines))}, while {cells} other cells are not"
        halvings = 2.0 * coming + log10(max(cells, 1)) * 3.0
        yield _made(table, ZeroEnd(name, end), evidence, len(lines), 0.0, halvings)


def _same(table: Table, name: str, lines: FloatArray) -> Iterator[SuggestedRule]:
    steps = np.abs(np.diff(lines, axis=1))
    if not steps.any():
        evidence = f"the same {_lines(len(lines))}, {steps.size} steps"
        yield _made(table, Step(name), evidence, steps.size, 0.0, float(steps.size) + 2.0)
        return
    moving = steps[steps > 0]
    largest = float(moving.max())
    # Even steps that all go one way say that somebody meant it; a cliff or a zigzag does not.
    signed = np.diff(lines, axis=1)
    zigzag = bool(((signed > 0).any(axis=1) & (signed < 0).any(axis=1)).any())
    if moving.size < 6 or lines.shape[1] < 4 or zigzag or largest > 2 * float(np.median(moving)):
        return
    most = _rounded(largest, table, up=True)
    evidence = (
        f"{moving.size} steps {_lines(len(lines))}, the largest is {with_unit(largest, table.unit)}"
    )
    rule = Step(name, most)
    halvings = _factorial(int((steps > 0).sum(axis=1).max())) + len(lines) - 1
    yield _made(table, rule, evidence, moving.size, most - largest, halvings)


def _mirror(table: Table, name: str, lines: FloatArray, x: FloatArray) -> Iterator[SuggestedRule]:
    if x[0] >= 0 or x[-1] <= 0 or not np.array_equal(x, -x[::-1]):
        return
    pairs = x.size // 2
    left, right = lines[:, :pairs], lines[:, ::-1][:, :pairs]
    tolerance = 1e-9 * table.span
    for parity, sign in (("even", 1.0), ("odd", -1.0)):
        off = np.abs(left - sign * right)
        middle_off = parity == "odd" and x.size % 2 == 1 and lines[:, pairs].any()
        if (off > tolerance).any() or middle_off:
            continue
        telling = (left != 0) & (np.abs(left - left[:, -1:]) + np.abs(left) > 0)
        distinct = len(set(np.round(left[telling], 12).tolist()))
        evidence = f"{pairs} pairs {_lines(len(lines))} mirror each other about 0"
        rule = Symmetry(name, parity)
        yield _made(table, rule, evidence, pairs * len(lines), 0.0, 2.0 * distinct)


def _signs(table: Table) -> Iterator[SuggestedRule]:
    values = table.values
    low, high = float(values.min()), float(values.max())
    count = int(np.count_nonzero(values))
    cells = f"{values.size} cells from {short(low)} to {with_unit(high, table.unit)}"
    room_low = table.lower if isfinite(table.lower) else -np.inf
    room_high = table.upper if isfinite(table.upper) else np.inf
    if low >= 0 and room_low < 0:
        yield _made(
            table, Bounds(lower=0), f"no cell below zero: {cells}", count, low, float(count)
        )
    elif high <= 0 and room_high > 0:
        yield _made(
            table, Bounds(upper=0), f"no cell above zero: {cells}", count, -high, float(count)
        )
    elif (room_high - room_low) > 2 * (high - low) and low < 0 < high:
        lower, upper = _rounded(low, table, up=False), _rounded(high, table, up=True)
        margin = min(low - lower, upper - high)
        rule = Bounds(lower, upper)
        # Data always lie within their own range: offered where nothing else bounds them, last.
        enough = HALVINGS if values.size >= 24 and room_high - room_low == np.inf else 0.0
        yield _made(table, rule, f"bound by the data: {cells}", values.size, margin, enough)


def _rounded(value: float, table: Table, *, up: bool) -> float:
    """Return a number a person would write, a little beyond a value, on the storage's raster."""
    if value == 0:
        return 0.0
    unit = 10.0 ** floor(log10(abs(value)) - 1)
    nice = (ceil if up else floor)(round(value / unit, 9)) * unit
    kept = float(table.storage.nearest(nice))
    beyond = kept >= value if up else kept <= value
    return kept if beyond else float(nice)
