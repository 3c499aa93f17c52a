"""Each kind of rule describes itself well enough that a form can be made from it."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

import pytest

from calib_model.core.rule import KINDS, Rule
from calib_model.core.rule_plain import rule_from_plain
from calib_model.core.rule_settings import Dot, In, Of, settings_of
from calib_model.core.table import Table
from calib_model.errors import ModelError
from calib_model.rules.kinds import Kind, kind, kinds, setting_words, unit_of
from tests.rules.making import axis, curve, plane

EVERY = kinds(addable=False)


@pytest.mark.parametrize("one", EVERY, ids=lambda one: one.name)
def test_every_kind_says_what_it_is(one: Kind) -> None:
    cls = KINDS[one.name]
    assert one.explained.endswith(".")
    assert len(one.explained.split()) > 5
    assert [s.name for s in one.settings] == [
        *(f.name for f in fields(cls) if f.name not in {g.name for g in fields(Rule)}),
        *(f.name for f in fields(cls) if f.name in {g.name for g in fields(Rule)}),
    ]
    for setting in one.settings:
        assert setting.help.endswith("."), setting.name
        if setting.of is Of.CHOICE:
            assert setting.required or setting.default in setting.choices
        if setting.of is Of.NUMBER and not setting.required:
            assert setting.low <= setting.default <= setting.high
        assert setting_words(setting)


@pytest.mark.parametrize("one", EVERY, ids=lambda one: one.name)
def test_every_kind_has_a_picture_within_its_square(one: Kind) -> None:
    assert one.picture is not None
    assert len(one.picture.words.split()) > 4
    for mark in one.picture.marks:
        points = (mark.at,) if isinstance(mark, Dot) else mark.points
        assert all(0 <= value <= 1 for point in points for value in point)


def _filled(one: Kind, table: Table) -> dict[str, Any]:
    """What a form would hand over if the user only took what it offers."""
    given: dict[str, Any] = {"kind": one.name}
    for setting in one.settings:
        if setting.of is Of.AXIS:
            given[setting.name] = table.axes[0].quantity
        elif setting.required:
            given[setting.name] = {
                Of.TABLE: "other",
                Of.CHOICE: (setting.choices or ("",))[0],
                Of.NUMBER: max(1.0, setting.low),
                Of.POINT: [float(a.values[0]) for a in table.axes],
            }[setting.of]
    return given


@pytest.mark.parametrize("one", kinds(), ids=lambda one: one.name)
def test_a_form_made_from_the_description_makes_a_rule(one: Kind) -> None:
    table = plane([0, 50, 100], [0, 10], [[1, 2], [3, 4], [5, 6]])
    rule = rule_from_plain(_filled(one, table))
    assert rule.kind == one.name
    assert rule.statement(table)


def test_a_rule_that_describes_nothing_is_still_described() -> None:
    """The short rule of the contributors' notes has no help; a form can be made all the same."""

    class Plain(Rule):
        """Something about a table.

        More.
        """

        kind = "plain_thing"

    assert [s.name for s in settings_of(Plain)] == ["scope", "severity", "reason", "off"]
    assert settings_of(Plain)[1].of is Of.CHOICE


def test_choices_are_those_the_kind_takes() -> None:
    for one in kinds():
        for setting in one.settings:
            if setting.of is not Of.CHOICE or setting.name == "severity":
                continue
            table = plane([0, 50, 100], [0, 10], [[1, 2], [3, 4], [5, 6]])
            for choice in setting.choices:
                rule_from_plain({**_filled(one, table), setting.name: choice})
            with pytest.raises(ModelError):
                rule_from_plain({**_filled(one, table), setting.name: "sideways"})


def test_units_follow_table_and_axis() -> None:
    table = curve([0, 50, 100], [1, 2, 3])
    most = kind("slope").setting("most")
    assert unit_of(most, table, 0) == "N·m/%"
    assert unit_of(most, table) == "N·m"
    assert unit_of(kind("rate_within").setting("rate"), table, 0) == "% per s"
    over_speed = Table("t", [1.0, 2.0], (axis("vehicle_speed", [0, 10]),), unit="N.m")
    assert unit_of(most, over_speed, 0) == "N·m/(km/h)"
    assert kind("bounds").setting("upper").unit is In.TABLE


def test_what_acts_by_itself_is_not_offered() -> None:
    offered = {one.name for one in kinds()}
    assert {"limits", "finite", "outlier", "mode_relation", "locked"}.isdisjoint(offered)
    assert {"monotone", "bounds", "covers", "rate_within", "step"} <= offered


def test_a_misspelt_kind_or_setting_names_the_one_meant() -> None:
    with pytest.raises(ModelError, match="Did you mean monotone"):
        kind("monotne")
    with pytest.raises(ModelError, match="Did you mean direction"):
        rule_from_plain({"kind": "monotone", "axis": "pedal", "dirction": "up"})
    with pytest.raises(ModelError, match="Did you mean zero_end"):
        rule_from_plain({"kind": "zero-ends"})
    with pytest.raises(ModelError, match=r"it has no axis.*looks along"):
        rule_from_plain({"kind": "monotone"})
    assert kind("zero end").name == "zero_end"
