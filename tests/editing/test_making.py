"""Tables and axes made, renamed, converted, reshaped: what is kept, what follows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import table_digest
from calib_model.core.record import EMPTY_RECORD
from calib_model.core.record_items import Complaint, Decision, Drive, Maturity, Remark, Waiver
from calib_model.core.record_plain import rule_text
from calib_model.core.rule import KINDS, Range, Rule
from calib_model.core.rule_settings import Of, settings_of
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.axes import delete_breakpoint_at, insert_breakpoint
from calib_model.editing.change import (
    Change,
    apply,
    change_from_plain,
    change_to_plain,
)
from calib_model.editing.conversions import change_storage, change_unit, rounding
from calib_model.editing.reshape import (
    add_axis,
    breakpoint_index,
    drop_axis,
    share_axis,
    transpose,
)
from calib_model.editing.tables import (
    add_table,
    duplicate_table,
    like_table,
    new_table,
    remove_table,
    rename_table,
    set_labels,
)
from calib_model.errors import EditRefused, ModelError, UnitProblem
from calib_model.lookup.reference import lookup_values
from calib_model.rules.check import check
from calib_model.rules.limits import Bounds, Locked
from calib_model.rules.relations import Hysteresis, RateWithin
from calib_model.rules.shape import EqualsAt, Monotone, Slope

SPEED = Axis(
    [0, 36, 72, 144], "Vehicle speed", "km/h", "vehicle_speed", storage=Storage("uint8"),
    shared="axis.speed",
)  # fmt: skip
PEDAL = Axis([0, 25, 50], "Pedal", "%", "pedal")
COLD = Axis([-40, 0, 40], "Ambient temperature", "degC", "ambient_temperature")
WIPER = Axis([0, 1, 2], "Wiper", "-", "wiper_state", Interpolation.STEP, labels="off, slow, fast")
TORQUE = Table(
    "torque", np.add.outer([0.0, 40.0, 90.0], [0.0, 5.0, 10.0, 20.0]), (PEDAL, SPEED), "Torque",
    "N.m", "clutch", "", 0.0, 450.0, Storage("uint16", 1, 2), "pre_engage_torque",
    {"low_grip": ">="},
    (
        Monotone(axis="pedal"),
        Slope("2", most=0.5, scope=(Range("pedal", 0, 25),)),
        EqualsAt(point=(25.0, 72.0), value=50.0, within=1.0),
        Locked(points=((50.0, 36.0), (0.0, 0.0)), values=(95.0, 0.0)),
        RateWithin(axis="pedal", rate=120.0, capability="slew"),
    ),
)  # fmt: skip
SLEW = Table("slew", 600.0, unit="N.m/s", role="torque_rise_slew")
OUT = Table(
    "out", [100.0, 90.0, 80.0], (COLD,), "Disconnect", "km/h", storage=Storage("uint8"),
    role="disconnect_speed",
)  # fmt: skip
BACK = Table(
    "back", [90.0, 80.0, 70.0], (COLD,), "Reconnect", "km/h", storage=Storage("uint8"),
    role="reconnect_speed", rules=(Hysteresis("out", gap=3.6),),
)  # fmt: skip
WET = Table("wet", [[1.0, 2.0, 3.0]] * 3, (COLD, WIPER))
FADE = Table("fade", [1.0, 0.5, 0.25, 0.0], (SPEED,))
CONTENT = CalibrationSet(
    [TORQUE, SLEW, OUT, BACK, WET, FADE], [SPEED], programme="Larch", mode="normal",
    base_mode="normal",
)  # fmt: skip
CREEP = new_table("creep.torque", [PEDAL, replace(COLD, labels=())], 0.0, unit="N.m")

MAKERS: dict[str, Callable[[CalibrationSet], Change]] = {
    "add": lambda c: add_table(c, CREEP),
    "add first": lambda c: add_table(c, CREEP, 0),
    "like": lambda c: like_table(c, "torque", "torque2", fill=1.0),
    "duplicate": lambda c: duplicate_table(c, "torque", "torque2"),
    "rename": lambda c: rename_table(c, "out", "disconnect", "Disconnect speed"),
    "name": lambda c: rename_table(c, "torque", name="Pre-engage torque"),
    "remove": lambda c: remove_table(c, "out", with_rules=True),
    "label values": lambda c: set_labels(c, "slew", {600.0: "quick"}),
    "label axis": lambda c: set_labels(c, "wet", "dry, wet, soaked", 1),
    "label shared": lambda c: set_labels(c, "torque", {0.0: "standing"}, 1),
    "unit": lambda c: change_unit(c, "torque", "kN.m"),
    "unit of axis": lambda c: change_unit(c, "out", "degF", 0),
    "unit of shared": lambda c: change_unit(c, "fade", "m/s", 0),
    "storage": lambda c: change_storage(c, "fade", Storage.of("uint8", "0.1")),
    "storage of axis": lambda c: change_storage(c, "fade", Storage.of("uint8", "36"), 0),
    "transpose": lambda c: transpose(c, "torque"),
    "add axis": lambda c: add_axis(c, "torque", WIPER, 1),
    "drop axis": lambda c: drop_axis(c, "wet", 1, 1.0),
    "drop the last axis": lambda c: drop_axis(c, "out", 0, 0.0),
    "share": lambda c: share_axis(c, "out", 0, "axis.cold", ["back", "wet"]),
    "delete by label": lambda c: delete_breakpoint_at(c, "wet", 1, "slow"),
    "insert": lambda c: insert_breakpoint(c, "out", 0, 20.0),
}  # fmt: skip


@pytest.mark.parametrize("name", MAKERS)
def test_each_change_is_taken_back_and_survives_the_journal(name: str) -> None:
    change = MAKERS[name](CONTENT)
    after = apply(CONTENT, change)
    assert after != CONTENT
    assert apply(after, change.inverse()) == CONTENT
    assert list(apply(after, change.inverse()).tables) == list(CONTENT.tables)
    again = change_from_plain(change_to_plain(change))
    assert apply(CONTENT, again) == after
    for table in after:  # what the change built obeys the value's own rules
        assert table.values.shape == tuple(len(a) for a in table.axes)


@given(st.lists(st.sampled_from(sorted(MAKERS)), max_size=6))
def test_any_sequence_is_taken_back_step_by_step(names: list[str]) -> None:
    content, done = CONTENT, []
    for name in names:
        try:
            change = MAKERS[name](content)
        except (EditRefused, ModelError):
            continue
        done.append((content, change))
        content = apply(content, change)
    for before, change in reversed(done):
        content = apply(content, change.inverse())
        assert content == before


# -- rules follow ------------------------------------------------------------------------


def test_every_setting_that_names_a_table_is_one_that_the_rule_says_it_reads() -> None:
    """A kind of rule that comes later must follow a renamed table too."""
    for kind in KINDS.values():
        reads_others = kind.reads is not Rule.reads
        assert reads_others == any(s.of is Of.TABLE for s in settings_of(kind)), kind


def test_a_transposed_table_reads_the_same_and_its_rules_find_the_same() -> None:
    after = apply(CONTENT, transpose(CONTENT, "torque"))["torque"]
    points = np.meshgrid([3.0, 26.0, 49.0], [-1.0, 40.0, 144.0, 150.0], indexing="ij")
    np.testing.assert_allclose(  # the order of the sums is another one
        lookup_values(after.axes, after.values, points[::-1]),
        lookup_values(TORQUE.axes, TORQUE.values, points),
        rtol=1e-14,
    )
    assert after.rules[1] == replace(TORQUE.rules[1], axis="1")
    assert after.rules[2] == replace(TORQUE.rules[2], point=(72.0, 25.0))
    np.testing.assert_array_equal(
        after.rules[3].locked_mask(after),
        TORQUE.rules[3].locked_mask(TORQUE).T,  # type: ignore[attr-defined]
    )
    old, new = check(CONTENT), check(CONTENT.with_table(after))
    assert [f.rule for f in old.findings] == [f.rule for f in new.findings]
    assert [n.rule for n in old.not_checked] == [n.rule for n in new.not_checked]


def test_values_are_repeated_along_an_added_axis_and_dropping_it_gives_the_table_back() -> None:
    wider = apply(CONTENT, add_axis(CONTENT, "torque", WIPER, 1))
    table = wider["torque"]
    assert table.shape == (3, 3, 4)
    assert (table.values == TORQUE.values[:, None, :]).all()
    assert table.rules[3].locked_mask(table).sum() == 6  # type: ignore[attr-defined]
    free = table.with_values(table.values)
    free = replace(free, rules=tuple(r for r in free.rules if not isinstance(r, Locked)))
    plain = wider.with_table(free)
    again = apply(plain, drop_axis(plain, "torque", 1, 0.0))["torque"]
    assert replace(again, rules=()) == replace(TORQUE, rules=())
    assert again.rules == tuple(r for r in TORQUE.rules if not isinstance(r, Locked))


def test_dropping_an_axis_says_what_goes() -> None:
    change = drop_axis(CONTENT, "wet", 1, 1.0)
    assert apply(CONTENT, change)["wet"].values.tolist() == [2.0, 2.0, 2.0]
    assert change.note.startswith(
        "The values at slow stay. Those that go differ from them by up to 1."
    )
    content = CONTENT.with_table(replace(TORQUE, rules=TORQUE.rules[:3]))
    gone = drop_axis(content, "torque", 0, 0.0)
    assert "2 rules go with the axis: monotone, equals at." in gone.note
    assert apply(content, gone)["torque"].shape == (4,)
    with pytest.raises(EditRefused, match="locked cells at other breakpoints"):
        drop_axis(CONTENT, "torque", 0, 25.0)
    with pytest.raises(EditRefused, match=r"no breakpoint at 30 %.*25 % and 50 %"):
        drop_axis(CONTENT, "torque", 0, 30.0)


def test_rules_record_and_waivers_follow_a_new_id() -> None:
    waived = rule_text(BACK.rules[0].to_plain())
    items = (
        Remark(id="r", table="out", text="see"),
        Remark(id="other", table="back", text="see"),
        Waiver(id="w", table="back", rule=waived, size=1.0),
        Decision(id="d", table="out", digest=table_digest(OUT)),
        Decision(id="s", table="out", digest=table_digest(OUT), signature="signed"),
        Maturity(id="m", table="out", digest=table_digest(OUT)),
        Complaint(id="c", tables=("torque", "out")),
        Drive(id="v", visits='{"version":1,"tables":{"out":{"unit":"km/h"},"back":{}}}'),
    )
    content = CONTENT.with_record(EMPTY_RECORD.changed((None, item) for item in items))
    change = rename_table(content, "out", "disconnect")
    after = apply(content, change)
    assert list(after.tables) == ["torque", "slew", "disconnect", "back", "wet", "fade"]
    assert after["back"].rules == (Hysteresis("disconnect", gap=3.6),)
    found = {item.id: item for item in after.record.items}
    assert [getattr(found[i], "table", "") for i in "rdsm"] == [
        "disconnect", "disconnect", "out", "disconnect",
    ]  # fmt: skip
    assert found["other"] == items[1]
    assert found["w"].rule == rule_text(after["back"].rules[0].to_plain())  # type: ignore[union-attr]
    assert found["c"].tables == ("torque", "disconnect")  # type: ignore[union-attr]
    assert '"disconnect":{"unit":"km/h"}' in found["v"].visits  # type: ignore[union-attr]
    assert "Rules of 1 other table name it by its new id." in change.note
    assert "2 decisions or maturity levels follow it, made on an earlier state." in change.note
    assert "1 signed item know it by its old id" in change.note
    assert apply(after, change.inverse()) == content
    assert check(after).complete == check(content).complete


# -- units and storage -------------------------------------------------------------------


def test_another_unit_keeps_raw_values_limits_and_findings() -> None:
    """Outside check: pint converts the numbers."""
    registry = pint.UnitRegistry()
    both = apply(CONTENT, change_unit(CONTENT, "out", "m/s"))
    both = apply(both, change_unit(both, "back", "m/s"))
    for id, old in (("out", OUT), ("back", BACK)):
        new = both[id]
        expected = registry.Quantity(old.values, "km/h").to("m/s").magnitude
        np.testing.assert_allclose(new.values, expected, rtol=1e-15)
        np.testing.assert_array_equal(new.storage.raw(new.values), old.storage.raw(old.values))
        assert new.storage.representable(new.values).all()
        assert new.storage == Storage("uint8", 5, 18)
    assert both["back"].rules[0].gap == pytest.approx(1.0)  # type: ignore[attr-defined]
    assert [f.rule for f in check(both).findings] == [f.rule for f in check(CONTENT).findings]


def test_an_offset_unit_moves_places_and_scales_differences() -> None:
    ruled = replace(
        WET, unit="degC", lower=0.0, upper=50.0, axes=(COLD, WIPER),
        rules=(Bounds(upper=10.0), Monotone(axis="2", gap=1.0), EqualsAt(point=(0, 1), value=2.0)),
    )  # fmt: skip
    content = CONTENT.with_table(ruled)
    after = apply(content, change_unit(content, "wet", "K"))["wet"]
    assert after.values[0].tolist() == [274.15, 275.15, 276.15]
    assert (after.lower, after.upper) == (273.15, 323.15)
    assert after.rules[0].upper == 283.15  # type: ignore[attr-defined]
    assert after.rules[1].gap == pytest.approx(1.0)  # type: ignore[attr-defined]
    assert after.rules[2].value == 275.15  # type: ignore[attr-defined]
    moved = apply(content, change_unit(content, "wet", "degF", 0))["wet"]
    assert moved.rules[2].point == (pytest.approx(32.0), 1)  # type: ignore[attr-defined]


def test_a_lock_holds_its_cell_in_another_unit() -> None:
    for change in (
        change_unit(CONTENT, "torque", "kN.m"),
        change_unit(CONTENT, "torque", "m/s", 1),
    ):
        table = apply(CONTENT, change)["torque"]
        np.testing.assert_array_equal(
            table.rules[3].locked_mask(table),
            TORQUE.rules[3].locked_mask(TORQUE),  # type: ignore[attr-defined]
        )
        assert "locked" not in {f.rule for f in check(apply(CONTENT, change)).findings}


def test_the_note_says_what_another_unit_breaks() -> None:
    note = change_unit(CONTENT, "back", "m/s").note
    assert note.startswith("70 to 90 km/h becomes 19.4444 to 25 m/s. Its raw values stay")
    assert "Rule hysteresis of Reconnect compares it with Disconnect, which is in km/h" in note
    assert "The controller cannot use it as reconnect speed: Table back is in m/s" in note


def test_the_rounding_of_another_storage_is_shown() -> None:
    change = change_storage(CONTENT, "fade", Storage.of("uint8", "0.1"))
    assert change.note == "1 of 4 values are rounded, by at most 0.05."
    table = apply(CONTENT, change)["fade"]
    assert table.storage.representable(table.values).all()
    moves = rounding(FADE, table.storage)
    np.testing.assert_allclose(moves, table.values - FADE.values)
    assert np.abs(moves[2]) == pytest.approx(0.05)


# -- what cannot be done -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: add_table(CONTENT, Table("out", 1.0)), "a table 'out' already"),
        (lambda: duplicate_table(CONTENT, "out", "back"), "a table 'back' already"),
        (lambda: duplicate_table(CONTENT, "out", "a b"), "cannot be an id"),
        (lambda: rename_table(CONTENT, "out", "back"), "a table 'back' already"),
        (lambda: rename_table(CONTENT, "out", "Füll"), "cannot be an id"),
        (lambda: remove_table(CONTENT, "out"), "name out: hysteresis of back"),
        (lambda: remove_table(CONTENT, "nix"), "no table 'nix'"),
        (lambda: change_unit(CONTENT, "out", "N.m"), "cannot be converted"),
        (lambda: change_unit(CONTENT, "out", "furlongish"), "not known"),
        (lambda: change_unit(CONTENT, "wet", "N", 1), "have labels"),
        (lambda: change_unit(CONTENT, "out", "K", 2), "has no axis 3"),
        (lambda: change_storage(CONTENT, "torque", Storage("uint8", 1, 4)), "does not reach"),
        (lambda: change_storage(CONTENT, "torque", Storage("uint8", 10)), "locked values"),
        (lambda: change_storage(CONTENT, "out", Storage("int8", 100), 0), "round to one"),
        (lambda: transpose(CONTENT, "out"), "one axis only"),
        (lambda: transpose(CONTENT, "torque", (0, 0)), "Name each axis once"),
        (lambda: add_axis(CONTENT, "out", COLD), "reads 'ambient_temperature' already"),
        (lambda: add_axis(CONTENT, "out", Axis([2, 1], "x")), "do not rise"),
        (lambda: add_axis(CONTENT, "out", replace(SPEED, unit="m/s")), "is another one"),
        (lambda: share_axis(CONTENT, "fade", 0, "x"), "is shared already, as axis.speed"),
        (lambda: share_axis(CONTENT, "out", 0, "axis.speed"), "other breakpoints or settings"),
        (lambda: share_axis(CONTENT, "out", 0, "axis.cold", ["fade"]), "no axis of its own"),
        (lambda: set_labels(CONTENT, "slew", "a, b, A"), "used twice"),
        (lambda: new_table("x", [Axis([2, 1], "x")]), "do not rise"),
        (lambda: new_table("x", [PEDAL, PEDAL]), "Two axes of x read 'pedal'"),
        (lambda: new_table("x", [PEDAL], [1, 2]), "do not fit its shape"),
        (lambda: new_table("x y"), "cannot be an id"),
        (lambda: new_table("x", [Axis([0, 1], name) for name in "abcde"]), "at most 4"),
        (lambda: breakpoint_index(WET, 1, "heavy"), "no label of wiper.*0 off, 1 slow, 2 fast"),
    ],
)  # fmt: skip
def test_what_cannot_be_done_is_refused_with_place_and_remedy(
    make: Callable[[], object], words: str
) -> None:
    with pytest.raises((EditRefused, ModelError, UnitProblem), match=words) as refused:
        make()
    assert refused.value.remedy


def test_labels_that_leave_numbers_without_a_name_say_so() -> None:
    change = set_labels(CONTENT, "out", {100.0: "fast"})
    assert change.note == "2 numbers in use have no label: 80, 90."
