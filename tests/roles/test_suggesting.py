"""Names, units and axes as they are understood, and suggestions with their reasons."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.controller.needs import ROLE_UNITS
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.roles import QUANTITIES, ROLES
from calib_model.core.table import Table
from calib_model.core.unit_words import alike, unit_meant
from calib_model.core.units import known, same_kind
from calib_model.roles.profiles import profiles
from calib_model.roles.suggest import Surely, suggest_roles
from calib_model.roles.words import vocabulary


def test_every_role_and_input_is_described() -> None:
    every = profiles()
    assert set(every.roles) == set(ROLES)
    assert set(every.inputs) == set(QUANTITIES)
    for role in every.roles.values():
        assert set(role.axes) <= set(QUANTITIES)
        assert role.low <= role.high
        assert role.rules
        assert all(role.phrases)
    for one in every.inputs.values():
        assert one.low < one.high


def test_no_two_words_stand_for_two_concepts() -> None:
    words = [word for words in vocabulary().concepts.values() for word in words]
    assert sorted({w for w in words if words.count(w) > 1}) == []
    assert vocabulary().noise.isdisjoint(words)


@pytest.mark.parametrize(
    ("name", "concepts"),
    [
        ("tq_preeng_tamb_ped", {"torque", "preload", "ambient", "pedal"}),
        ("SlipTargetOverPedal", {"slip", "target", "pedal"}),
        ("KISS_POINT_CURR", {"touchpoint", "current"}),
        ("dead band of yaw rate", {"deadband", "yaw"}),
        ("deadband", {"deadband"}),
        ("dcplSpd", {"disconnect", "speed"}),
        ("tmprtr", {"temperature"}),
        ("frctn", {"friction"}),
    ],
)
def test_names_are_taken_apart(name: str, concepts: set[str]) -> None:
    assert set(vocabulary().hear(name).concepts) == concepts


def test_what_stands_for_nothing_is_kept_as_such() -> None:
    assert vocabulary().hear("lambda_slip_qq").unknown == ("lambda", "qq")


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("Nm", "N.m"), ("N*m", "N.m"), ("N·m", "N.m"), ("Newton metre", "N.m"), ("[Nm]", "N.m"),
        ("°C", "degC"), ("deg C", "degC"), ("Celsius", "degC"), ("kph", "km/h"), ("km h-1", "km/h"),
        ("percent", "%"), ("°", "deg"), ("°/s", "deg/s"), ("m/s^2", "m/s2"), ("m s-2", "m/s2"),
        ("Nm/s", "N.m/s"), ("Nm/kph", "N.m/(km/h)"), ("Nm per km/h", "N.m/(km/h)"), ("", "-"),
        ("bool", "0/1"), ("K", "K"), ("W/K", "W/K"), ("furlongs of nothing", ""),
    ],
)  # fmt: skip
def test_units_are_read_as_people_write_them(said: str, meant: str) -> None:
    assert unit_meant(said) == meant


@pytest.mark.parametrize("unit", sorted({*ROLE_UNITS.values(), *QUANTITIES.values()} - {"0/1"}))
def test_our_own_units_mean_themselves(unit: str) -> None:
    """Pint says that the unit understood is of one kind with the unit meant."""
    assert alike(unit, unit) == "same"
    if unit != "-":
        assert known(unit_meant(unit))
        assert same_kind(unit_meant(unit), unit)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(text=st.text(max_size=40))
def test_any_text_may_stand_where_a_unit_or_name_does(text: str) -> None:
    assert unit_meant(text) == "" or known(unit_meant(text)) or unit_meant(text) in ("-", "0/1")
    assert alike(text, "N.m") in ("same", "convertible", "unsaid", "other")
    heard = vocabulary().hear(text)
    assert set(heard.concepts) <= set(vocabulary().concepts)


@pytest.mark.parametrize(
    ("unit", "wanted", "stands"),
    [("mph", "km/h", "convertible"), ("kN", "N", "convertible"), ("%", "-", "other"),
     ("deg", "-", "other"), ("", "N.m", "unsaid"), ("gibberish", "N.m", "unsaid"),
     ("1", "0/1", "same"), ("A", "N.m", "other"), ("rpm", "rad/s", "convertible")],
)  # fmt: skip
def test_units_stand_to_each_other(unit: str, wanted: str, stands: str) -> None:
    assert alike(unit, wanted) == stands


def gain(id: str = "slpGain", name: str = "Slip gain") -> Table:
    speed = Axis([0, 30, 100, 160], "road speed", "kph")
    error = Axis([0, 1, 2, 4, 8], "slip dev", "km/h")
    values = np.outer([100, 90, 70, 50], [3, 2, 1.6, 1, 0.8])
    return Table(id, values, (speed, error), name, "Nm per km/h")


def test_a_suggestion_says_why() -> None:
    (one,) = suggest_roles(CalibrationSet([gain()])).roles
    assert (one.role, one.inputs, one.surely) == (
        "slip_gain",
        ("vehicle_speed", "slip_error"),
        Surely.SURE,
    )
    said = "; ".join(one.reasons)
    assert "its name says gain slip" in said
    assert "in Nm per km/h" in said
    assert "axis 1 reads vehicle_speed: in kph, runs 0 to 160 km/h" in said
    assert "values lie in the usual 20 to 400" in said


def test_axes_may_stand_in_any_order() -> None:
    table = gain()
    turned = replace(table, axes=table.axes[::-1], values=table.values.T)
    (one,) = suggest_roles(CalibrationSet([turned])).roles
    assert (one.role, one.inputs) == ("slip_gain", ("slip_error", "vehicle_speed"))


def test_two_alike_are_neither_sure_and_each_names_the_other() -> None:
    (one,) = suggest_roles(CalibrationSet([gain("a"), gain("b")])).roles
    assert one.surely is not Surely.SURE
    assert any("may be slip_gain" in text for text in one.instead)


def test_a_role_that_is_played_is_not_suggested_again() -> None:
    played = replace(gain("a"), role="slip_gain")
    found = suggest_roles(CalibrationSet([played, gain("b")]))
    assert "slip_gain" not in {one.role for one in found.roles}


def test_another_kind_of_unit_rules_a_role_out() -> None:
    found = suggest_roles(CalibrationSet([replace(gain(), unit="V")]))
    assert found.roles == ()
    assert [(a.axis, a.quantity) for a in found.axes] == [(0, "vehicle_speed"), (1, "slip_error")]


def test_doubts_are_said() -> None:
    odd = replace(gain(), values=gain().values * 40, unit="")
    (one,) = suggest_roles(CalibrationSet([odd])).roles
    assert one.surely is not Surely.SURE
    doubts = " ".join(one.doubts)
    assert "does not say N.m/(km/h)" in doubts
    assert "values leave the usual" in doubts


def test_the_sample_finds_itself(sample: CalibrationSet) -> None:
    """With role and inputs taken away, its own ids give every role back."""
    bare = CalibrationSet(
        [
            replace(t, role="", axes=tuple(replace(a, quantity="", shared="") for a in t.axes))
            for t in sample
        ]
    )
    found = suggest_roles(bare)
    assert {one.table: one.role for one in found.roles} == {t.id: t.role for t in sample}
    for one in found.roles:
        assert sorted(one.inputs) == sorted(a.quantity for a in sample[one.table].axes), one.table


def test_nothing_to_suggest_for_is_no_error() -> None:
    assert suggest_roles(CalibrationSet([])).roles == ()
    empty = Table("x", np.full(3, np.nan), (Axis([1, 2, 3]),))
    assert suggest_roles(CalibrationSet([empty, Table("y", np.nan)])).sure == ()
