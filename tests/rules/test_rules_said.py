"""Rules from what somebody typed, and each kind of mistake named."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.core.rule import Range, Rule, Severity
from calib_model.errors import ModelError
from calib_model.rules.kinds import kind, kinds
from calib_model.rules.limits import Bounds
from calib_model.rules.plausibility import Covers
from calib_model.rules.said import rule_from_texts, rule_said, rule_with
from calib_model.rules.shape import EqualsAt, Monotone
from tests.rules.making import plane


@pytest.mark.parametrize(
    ("words", "rule"),
    [
        ("monotone axis=pedal", Monotone("pedal")),
        ("monotone axis=pedal direction=down strict=yes gap=0.5 severity=note reason=Why_not",
         Monotone("pedal", "down", True, 0.5, severity=Severity.NOTE, reason="Why_not")),
        ("bounds lower=-4 upper=8 scope=pedal:20..60,vehicle_speed:..40",
         Bounds(-4, 8, scope=(Range("pedal", 20, 60), Range("vehicle_speed", high=40)))),
        ("bounds upper=1 scope=pedal:0", Bounds(upper=1, scope=(Range("pedal", 0, 0),))),
        ("bounds upper=1 scope=pedal:5..", Bounds(upper=1, scope=(Range("pedal", 5),))),
        ("equals-at point=20,-3.5 value=1", EqualsAt((20.0, -3.5), 1.0)),
        ("covers axis=pedal low=0 high=100", Covers("pedal", 0, 100)),
    ],
)  # fmt: skip
def test_words_make_rules(words: str, rule: Rule) -> None:
    name, *rest = words.split()
    assert rule_said(name.replace("-", "_"), rest) == rule


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("monotne axis=pedal", "Did you mean monotone"),
        ("monotone pedal", "is no setting"),
        ("monotone axs=pedal", "no setting 'axs'. Did you mean axis"),
        ("monotone", "has no axis. axis: The axis it looks along"),
        ("monotone axis=pedal gap=x", "gap cannot be 'x'. Write a number"),
        ("monotone axis=pedal gap=1,5", "gap cannot be '1,5'"),
        ("monotone axis=pedal gap=-1", "gap cannot be '-1'. It goes from 0"),
        ("monotone axis=pedal gap=nan", "gap cannot be 'nan'"),
        ("monotone axis=pedal strict=maybe", "Write yes or no"),
        ("monotone axis=pedal direction=sideways", "Use one of up, down"),
        ("monotone axis=pedal severity=fatal", "Use one of error, warning, note"),
        ("bounds scope=pedal", "Write axis:low..high"),
        ("bounds scope=:1..2", "Write axis:low..high"),
        ("bounds scope=pedal:a..b", "scope cannot be 'a'"),
    ],
)
def test_mistakes_are_named(words: str, message: str) -> None:
    name, *rest = words.split()
    with pytest.raises(ModelError) as caught:
        rule_said(name, rest)
    assert message in str(caught.value)


def test_a_rule_takes_other_settings_and_keeps_the_rest() -> None:
    rule = Monotone("pedal", "down", True, 0.5, severity=Severity.NOTE, reason="so")
    assert rule_with(rule, ["gap=2", "severity="]) == Monotone(
        "pedal", "down", True, 2.0, reason="so"
    )
    with pytest.raises(ModelError, match="Did you mean gap"):
        rule_with(rule, ["gp=2"])


@settings(max_examples=200, deadline=None, derandomize=True)
@given(
    name=st.sampled_from([one.name for one in kinds(addable=False)]),
    texts=st.dictionaries(
        st.sampled_from(["axis", "lower", "upper", "scope", "point", "value", "off", "other",
                         "points", "sense", "severity"]),
        st.text(max_size=12),
        max_size=5,
    ),
)  # fmt: skip
def test_any_text_makes_a_rule_or_is_refused_in_words(name: str, texts: dict[str, str]) -> None:
    with contextlib.suppress(ModelError):
        rule = rule_from_texts(kind(name), texts)
        assert rule.kind == name
        plane([0, 1], [0, 1], [[1, 2], [3, 4]], rule)
