"""How many rules look at tables and cells, held against the rows that are evaluated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.rule import Range, Rule, Stack
from calib_model.core.table import Table
from calib_model.rules.attention import Attention, alike, attention
from calib_model.rules.check import Surroundings, check
from calib_model.rules.limits import Bounds, Locked
from calib_model.rules.plausibility import Covers
from calib_model.rules.relations import Relation
from calib_model.rules.shape import (
    Curvature,
    EqualsAt,
    FixedValue,
    Kink,
    Monotone,
    ProductRises,
    Slope,
    ZeroEnd,
)
from calib_model.rules.step import Step
from tests.rules.making import curve, plane, scalar


def looked(*tables: Table, **about: str) -> Attention:
    content = CalibrationSet(tables, **about)
    return attention(content, check(content))


SCOPE = (Range("pedal", 20, 60),)
ONE = (Range("pedal", 50, 50),)


@pytest.mark.parametrize(
    "rule",
    [
        Monotone("pedal"), Monotone("vehicle_speed", scope=SCOPE), Monotone("pedal", scope=ONE),
        Slope("pedal", 1.0, -1.0), Curvature("pedal", scope=SCOPE), Kink("pedal", 1.0),
        Kink("vehicle_speed", 1.0), FixedValue(1.0, scope=ONE), ZeroEnd("pedal"),
        ZeroEnd("vehicle_speed", "first", scope=SCOPE), EqualsAt((35.0, 10.0), 1.0),
        ProductRises("pedal"), Bounds(0, 9, scope=SCOPE), Step("vehicle_speed", scope=ONE),
        Locked(((50.0, 10.0),), (6.0,)),
    ],
    ids=lambda rule: f"{rule.kind} {len(rule.scope)}",
)  # fmt: skip
def test_the_cells_counted_are_those_of_the_rows(rule: Rule) -> None:
    """The rows as they are evaluated, with their scope, are the other witness."""
    table = plane([0, 20, 50, 60, 100], [0, 10], np.arange(10.0).reshape(5, 2), rule)
    stack = Stack([table])
    rows = rule.scoped(rule.rows(stack, Surroundings(CalibrationSet([table]), None)), stack)
    own = rows.terms[0]
    active = np.ones(own.cells.shape[0], bool)
    if rows.active is not None:
        active = np.broadcast_to(rows.active, (1, own.cells.shape[0]))[0]
    coefficients = np.broadcast_to(own.coefficients, (1, *own.cells.shape))[0]
    if rule.kind == "product_rises":  # a cell at axis value zero has no part in a product
        coefficients = np.ones_like(coefficients)
    seen = np.zeros(table.values.size, bool)
    seen[own.cells[active][coefficients[active] != 0]] = True
    told = rule.looks_at(table)
    told = np.ones(table.shape, bool) if told is None else told
    assert np.array_equal(told.reshape(-1), seen)


def test_tables_and_cells_are_counted_by_rules() -> None:
    found = looked(
        curve([0, 50, 100], [1, 2, 3], Monotone("pedal"), ZeroEnd("pedal", "first"), id="two"),
        curve([0, 50, 100], [1, 2, 3], id="none"),
        scalar(1.0, id="held", upper=9.0),
        curve([0, 50], [1, 2], Covers("pedal", 0, 50), id="axis"),
        curve([0, 50], [1, 2], Bounds(0, 5, off=True), id="off"),
    )
    assert found.tables == {2: 1, 0: 3, 1: 1}
    assert found.cells == {1: 2, 2: 1, 0: 8}
    assert (found.unchecked, found.limits_only, found.off) == (("none", "off"), ("held",), 1)
    assert found.words == (
        "2 of 5 tables are not checked by any rule; 1 is held by limits alone; rules look at 3 of "
        "11 cells; 1 rule is turned off."
    )

    assert found.brief == "2 of 5 tables are not checked by any rule; 1 rule is turned off."
    assert looked(curve([0, 50, 100], [1, 2, 3], Monotone("pedal"))).brief == ""


def test_what_could_not_be_evaluated_looks_at_nothing() -> None:
    found = looked(curve([0, 50], [1, 2], Relation("gone", ">=")))
    assert found.unchecked == ("t",)


def test_a_relation_looks_where_the_base_set_is_at_hand() -> None:
    mode = CalibrationSet([scalar(2.0, relations={"low": ">="})], mode="low", base_mode="normal")
    base = CalibrationSet([scalar(1.0)], mode="normal", base_mode="normal")
    assert attention(mode, check(mode)).unchecked == ("t",)
    assert attention(mode, check(mode, [base])).unchecked == ()
    free = mode.with_table(replace(mode["t"], relations={"low": "free"}))
    assert attention(free, check(free, [base])).unchecked == ("t",)


def test_tables_of_one_shape_with_other_axes_are_told_apart() -> None:
    """Counts are kept by rules, shape and what the axes read; a rule may fit one table only."""
    rules = (Monotone("pedal"),)
    fits = replace(curve([0, 50], [1, 2], id="a"), rules=rules)
    other = replace(curve([0, 50], [1, 2], id="b", of="vehicle_speed"), rules=rules)
    found = looked(fits, other)
    assert found.unchecked == ("b",)


def test_an_edit_of_values_needs_no_new_count() -> None:
    before = CalibrationSet([curve([0, 50], [1, 2], Monotone("pedal")), scalar(1.0, id="s")])
    edited = before.with_table(before["t"].with_values([1.0, 3.0]))
    assert alike(before, edited)
    for other in (
        before.with_table(replace(before["t"], rules=())),
        before.with_table(replace(before["s"], upper=3.0)),
        before.replaced({"s": None}),
    ):
        assert not alike(before, other)
