"""Taking over cells and tables: what is changed, what stays, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib_model.compare import State, align, compare, compare_again
from calib_model.compare.take_over import Into, take_over_cells, take_over_tables
from calib_model.core.axis import Axis
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing.change import apply
from calib_model.editing.lock_changes import set_locks
from calib_model.errors import EditRefused
from calib_model.session.document import Document

PEDAL = Axis([0.0, 50.0, 100.0], name="Pedal", unit="%", quantity="pedal")
STEP = Storage.of("uint16", "0.5")
TORQUE = Table("torque", [10.0, 20.0, 30.0], (PEDAL,), name="Torque", unit="N.m", storage=STEP)


def _set(*tables: Table, **about: object) -> CalibrationSet:
    return CalibrationSet({t.id: t for t in tables}, **about)  # type: ignore[arg-type]


def _cells(*chosen: int, size: int = 3) -> np.ndarray:
    marks = np.zeros(size, dtype=bool)
    marks[list(chosen)] = True
    return marks


@pytest.mark.parametrize("into", [Into.FIRST, Into.SECOND])
def test_cells_from_either_side_as_one_undoable_change(into: Into) -> None:
    first, second = _set(TORQUE), _set(TORQUE.with_values([1.0, 2.0, 3.0]))
    pair = compare(first, second).tables["torque"]
    change = take_over_cells(pair, _cells(0, 2), into, "other.h5", "carried over")
    document = Document(first if into is Into.FIRST else second)
    before = document.content
    document.do(change)
    wanted = [1, 20, 3] if into is Into.FIRST else [10, 2, 30]
    assert document.content["torque"].values.tolist() == wanted
    assert document.undo_title == "Take over 2 cells of Torque from other.h5"
    assert document.pending[-1].reason == "carried over"
    document.undo()
    assert document.content == before


def test_cells_of_unequal_axes_are_read_at_the_targets_breakpoints() -> None:
    # By hand: 0..100 with 10..30 reads 20 at 50; the target's value 50 % is exchanged.
    coarse = Table("torque", [10.0, 30.0], (replace(PEDAL, values=[0.0, 100.0]),), unit="N.m")
    fine = replace(TORQUE, values=np.array([0.0, 0.0, 0.0]))
    pair = compare(_set(coarse), _set(fine)).tables["torque"]
    change = take_over_cells(pair, _cells(0, 1), Into.SECOND, "coarse")
    after = apply(_set(fine), change)["torque"]
    assert after.values.tolist() == [10, 20, 0]
    # The other way round, 50 % is between the coarse table's breakpoints.
    change = take_over_cells(pair, _cells(1, 2), Into.FIRST, "fine")
    assert apply(_set(coarse), change)["torque"].values.tolist() == [10, 0]
    assert change.note == "1 point between its breakpoints left out."
    with pytest.raises(EditRefused, match="No breakpoint of"):
        take_over_cells(pair, _cells(1), Into.FIRST, "fine")


def test_values_are_converted_and_rounded_to_the_targets_storage() -> None:
    celsius = Table("limit", [0.0, 10.2, 20.0], (PEDAL,), unit="degC", storage=STEP)
    kelvin = Table("limit", [273.15, 283.15, 293.15], (PEDAL,), unit="K",
                   storage=Storage.of("uint16", "0.01"))  # fmt: skip
    pair = compare(_set(celsius), _set(kelvin)).tables["limit"]
    into_kelvin = take_over_cells(pair, _cells(1), Into.SECOND, "celsius")
    after = apply(_set(kelvin), into_kelvin)["limit"].values
    assert after.tolist() == [273.15, 283.35, 293.15]
    other = replace(kelvin, values=np.array([273.15, 284.42, 293.15]))
    pair = compare(_set(celsius), _set(other)).tables["limit"]
    into_celsius = take_over_cells(pair, _cells(1), Into.FIRST, "kelvin")
    # 284.42 K are 11.27 degC, which a step of 0.5 holds as 11.5.
    assert apply(_set(celsius), into_celsius)["limit"].values.tolist() == [0, 11.5, 20]
    assert "1 value rounded to what can be stored." in into_celsius.note


def test_locked_cells_stay() -> None:
    locked = apply(_set(TORQUE), set_locks(TORQUE, _cells(0), True))["torque"]
    pair = compare(_set(locked), _set(TORQUE.with_values([1.0, 2.0, 3.0]))).tables["torque"]
    change = take_over_cells(pair, _cells(0, 1), Into.FIRST, "other")
    assert apply(_set(locked), change)["torque"].values.tolist() == [10, 2, 30]
    assert change.note == "1 locked cell left as before."
    with pytest.raises(EditRefused, match="locked"):
        take_over_cells(pair, _cells(0), Into.FIRST, "other")


def test_a_table_keeps_its_own_settings_unless_all_is_taken_over() -> None:
    theirs = replace(TORQUE, values=np.array([1.0, 2.0, 3.0]), description="new", upper=99.0)
    result = compare(_set(TORQUE), _set(theirs))
    values = apply(result.first, take_over_tables(result, ["torque"], Into.FIRST, "other"))
    assert values["torque"].values.tolist() == [1, 2, 3]
    assert (values["torque"].description, values["torque"].upper) == ("", np.inf)
    change = take_over_tables(result, ["torque"], Into.FIRST, "other", whole=True)
    assert apply(result.first, change)["torque"] == theirs
    assert change.title == "Take over Torque with rules and texts from other"


def test_a_tables_axes_come_with_its_values() -> None:
    longer = replace(PEDAL, values=[0.0, 25.0, 50.0, 100.0])
    theirs = replace(TORQUE, axes=(longer,), values=np.arange(4.0), description="new")
    result = compare(_set(TORQUE), _set(theirs))
    after = apply(result.first, take_over_tables(result, ["torque"], Into.FIRST, "other"))
    assert after["torque"].axes == (longer,)
    assert after["torque"].values.tolist() == [0, 1, 2, 3]
    assert after["torque"].description == ""


def test_shared_axes_stay_shared_only_where_they_are_the_same() -> None:
    shared = replace(PEDAL, shared="pedal_axis")
    mine = replace(TORQUE, axes=(replace(PEDAL, values=[0.0, 40.0, 100.0]),))
    theirs = replace(TORQUE, axes=(shared,))
    other = _set(theirs, shared_axes={"pedal_axis": shared})
    result = compare(_set(mine), other)
    after = apply(result.first, take_over_tables(result, ["torque"], Into.FIRST, "other"))
    assert after["torque"].axes == (shared,)
    assert after.shared_axes == {"pedal_axis": shared}
    clash = replace(shared, values=np.array([0.0, 10.0, 20.0]))
    result = compare(_set(mine, shared_axes={"pedal_axis": clash}), other)
    after = apply(result.first, take_over_tables(result, ["torque"], Into.FIRST, "other"))
    assert after["torque"].axes == (PEDAL,)
    assert after.shared_axes == {"pedal_axis": clash}


def test_many_tables_as_one_change_what_is_missing_is_added_nothing_removed() -> None:
    gain, extra = Table("gain", 1.0), Table("extra", 7.0, name="Extra")
    first = _set(TORQUE, gain)
    second = _set(TORQUE.with_values([1.0, 2.0, 3.0]), gain.with_values(2.0), extra)
    result = compare(first, second)
    change = take_over_tables(result, result.tables, Into.FIRST, "other")
    assert change.title == "Take over 3 tables from other"
    assert apply(first, change) == second
    back = take_over_tables(result, result.tables, Into.SECOND, "this")
    assert "Extra: the other set has no such table" in back.note
    after = apply(second, back)
    assert after["extra"] == extra
    assert after["gain"].values == 1.0
    assert apply(after, back.inverse()) == second


def test_only_there_alone_is_refused_in_words() -> None:
    result = compare(_set(TORQUE), _set(TORQUE, Table("extra", 7.0, name="Extra")))
    with pytest.raises(EditRefused, match=r"Nothing was taken over\. Left out: Extra"):
        take_over_tables(result, ["extra"], Into.SECOND, "this")


def test_comparing_again_sees_what_an_edit_did() -> None:
    base = replace(TORQUE, relations={"low_grip": ">="})
    normal = _set(base, Table("gain", 1.0), mode="normal", base_mode="normal")
    low = _set(base.with_values([10.0, 15.0, 30.0]), Table("gain", 1.0),
               mode="low_grip", base_mode="normal")  # fmt: skip
    before = compare(normal, low)
    assert len(before.breaches) == 1
    change = take_over_tables(before, ["torque"], Into.SECOND, "normal")
    after = compare_again(before, normal, apply(low, change), change.tables)
    assert after.breaches == ()
    assert after.tables["torque"].state is State.SAME
    assert after.tables["gain"] is before.tables["gain"]
    assert after == compare(normal, apply(low, change))
    worse = apply(low, change).with_table(base.with_values([0.0, 0.0, 0.0]))
    again = compare_again(after, normal, worse, ["torque"])
    assert [b.table for b in again.breaches] == ["torque"]


def test_random_selections_never_leave_the_chosen_cells() -> None:
    random = np.random.default_rng(11)
    speed = Axis([0.0, 40.0, 80.0, 120.0], name="Speed", unit="km/h", quantity="vehicle_speed")
    for _ in range(20):
        one = Table("map", random.integers(0, 9, (3, 4)).astype(float), (PEDAL, speed), unit="N.m")
        two = one.with_values(random.integers(0, 9, (3, 4)).astype(float))
        pair = compare(_set(one), _set(two)).tables["map"]
        chosen = random.random((3, 4)) < 0.4
        if not chosen.any():
            continue
        after = apply(_set(two), take_over_cells(pair, chosen, Into.SECOND, "one"))["map"]
        # numpy's own selection is the outside reference
        np.testing.assert_array_equal(after.values, np.where(chosen, one.values, two.values))
        assert align(one, after).changed[chosen].sum() == 0
