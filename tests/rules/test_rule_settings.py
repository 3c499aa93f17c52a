"""Settings of rules as plain data: what a file or a sheet may hold, and what is refused."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

import calib_model.rules  # noqa: F401  # makes the kinds of rule known
from calib_model.core.record_plain import item_from_plain
from calib_model.core.rule import KINDS, Rule
from calib_model.core.rule_plain import rule_from_plain, type_text
from calib_model.errors import ModelError

BEYOND_FLOATS = 10**400


@pytest.mark.parametrize(
    "plain",
    [
        {"kind": "equals_at", "value": 1, "point": ["a"]},
        {"kind": "equals_at", "value": 1, "point": [[1.0]]},
        {"kind": "locked", "values": [1], "points": [1.0]},
        {"kind": "locked", "points": [[1.0]], "values": ["x"]},
        {"kind": "locked", "values": [1], "points": [[[1.0]]]},
        {"kind": "monotone", "axis": "pedal", "gap": False},
        {"kind": "monotone", "axis": "pedal", "gap": float("nan")},
        {"kind": "monotone", "axis": "pedal", "severity": []},
        {"kind": "bounds", "upper": BEYOND_FLOATS},
        {"kind": "bounds", "scope": [{"axis": "pedal", "low": "1"}]},
        {"kind": "bounds", "scope": [{"axis": 5}]},
        {"kind": "bounds", "scope": [{"axis": "pedal", "low": BEYOND_FLOATS}]},
        {"kind": "bounds", "scope": [{"low": 1}]},
        {"kind": "bounds", "scope": ["pedal"]},
    ],
    ids=str,
)
def test_a_setting_of_another_type_is_refused_and_named(plain: dict[str, Any]) -> None:
    wrong = list(plain)[-1]  # each example ends with it
    with pytest.raises(ModelError, match=f"Setting '{wrong}' of rule '{plain['kind']}'"):
        rule_from_plain(plain)


def test_every_setting_of_every_rule_has_a_type_that_is_checked() -> None:
    checked = {"str", "bool", "float", "int", "Severity", "tuple[Range, ...]"}
    for cls in KINDS.values():
        for entry in dataclasses.fields(cls):
            text = type_text(entry)
            inner = text if text in checked else text.replace("tuple[", "").replace(", ...]", "")
            assert inner in checked, (cls.kind, entry.name, text)


def test_types_are_told_without_deferred_annotations() -> None:
    # As in DEVELOPERS.md, where a rule's module does not import `annotations`.
    made = dataclasses.make_dataclass("made", [("axis", str), ("point", tuple[float, ...])])
    assert [type_text(f) for f in dataclasses.fields(made)] == ["str", "tuple[float, ...]"]


def test_lists_come_back_as_tuples_of_floats() -> None:
    rule: Any = rule_from_plain({"kind": "locked", "points": [[1, 2]], "values": [3]})
    assert isinstance(rule, Rule)
    assert rule.points == ((1.0, 2.0),)
    assert {type(x) for x in (*rule.points[0], *rule.values)} == {float}


@pytest.mark.parametrize("field", [{"size": BEYOND_FLOATS}, {"places": [[BEYOND_FLOATS]]}])
def test_a_number_beyond_all_floats_damages_an_item_of_the_record(field: dict[str, Any]) -> None:
    with pytest.raises(ModelError, match="waiver in the record is damaged"):
        item_from_plain("waiver", {"id": "a", **field})
