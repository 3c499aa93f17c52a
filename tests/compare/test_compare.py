"""Comparison of two sets, against cases worked by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib_model.compare import State, compare, compare_tables
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.rules.shape import Monotone

TEMPERATURE = Axis(
    [-20.0, 0.0, 20.0], name="Ambient temperature", unit="degC", quantity="ambient_temperature"
)
PEDAL = Axis([0.0, 50.0, 100.0], name="Pedal", unit="%", quantity="pedal")
TORQUE = Table(
    "torque",
    [[10.0, 20.0, 30.0], [8.0, 16.0, 24.0], [5.0, 10.0, 15.0]],
    (TEMPERATURE, PEDAL),
    unit="N.m",
    lower=0,
    upper=450,
    storage=Storage.of("uint16", "0.5"),
)
GAIN = Table("gain", 1.5, unit="-")


def _set(*tables: Table, **about: str) -> CalibrationSet:
    return CalibrationSet({t.id: t for t in tables}, **about)


def _edited(table: Table, **cells: float) -> Table:
    values = table.values.copy()
    for place, value in cells.items():
        values[tuple(int(d) for d in place[1:])] = value
    return table.with_values(values)


def test_same_object_and_equal_content_are_the_same() -> None:
    copy = replace(TORQUE, values=TORQUE.values.copy(), axes=(replace(TEMPERATURE), replace(PEDAL)))
    result = compare(_set(TORQUE, GAIN), _set(GAIN, copy))
    assert [t.state for t in result.tables.values()] == [State.SAME, State.SAME]
    assert result.same
    assert result.differing == ()


def test_empty_cells_equal_empty_cells_and_zeros_equal_zeros() -> None:
    first = _edited(TORQUE, c00=np.nan, c01=0.0)
    second = _edited(TORQUE, c00=-np.nan, c01=-0.0)
    assert compare_tables(first, second).state is State.SAME


def test_changed_cells_by_hand() -> None:
    # By hand: 30 -> 24 is -6; 5 -> 9 is +4.  Range 450, step 0.5: 6 is 1.333 % and 12 steps.
    second = _edited(TORQUE, c02=24.0, c20=9.0)
    result = compare(_set(TORQUE), _set(second)).tables["torque"]
    assert result.state is State.CHANGED
    assert result.cells_changed == 2
    assert result.largest == -6.0
    assert result.percent_of_range == pytest.approx(6 / 450 * 100)
    assert result.storage_steps == 12
    assert result.unit == "N.m"
    first, last = result.cells
    assert (first.cell, first.axis_values, first.before, first.after) == (
        (0, 2),
        (-20, 100),
        30,
        24,
    )
    assert (last.cell, last.axis_values, last.difference) == ((2, 0), (20, 0), 4)
    assert first.words() == "at −20 °C, 100 %: 30 → 24 N·m"
    assert result.words() == "2 cells changed; largest −6 N·m (1.33 % of range, 12 storage steps)"


def test_a_changed_scalar_has_one_cell_without_inputs() -> None:
    result = compare(_set(GAIN), _set(GAIN.with_values(2.0))).tables["gain"]
    (cell,) = result.cells
    assert (cell.cell, cell.axis_values, cell.before, cell.after) == ((), (), 1.5, 2.0)
    assert cell.words() == "1.5 → 2"
    assert compare(_set(GAIN), _set(GAIN)).tables["gain"].cells == ()


def test_an_emptied_cell_counts_but_has_no_size() -> None:
    result = compare_tables(TORQUE, _edited(TORQUE, c11=np.nan))
    assert (result.cells_changed, result.largest) == (1, None)
    assert np.isnan(result.cells[0].after)
    assert result.words() == "1 cell changed"
    both = compare_tables(TORQUE, _edited(TORQUE, c11=np.nan, c00=11.0))
    assert (both.cells_changed, both.largest) == (2, 1.0)


def test_many_tables_keep_their_own_figures() -> None:
    # Compared in one sweep: each table's figures must not leak into the next one's.
    rng = np.random.default_rng(4)
    tables, others, expected = [], [], []
    for number in range(200):
        count = int(rng.integers(1, 6))
        axis = Axis(np.arange(count, dtype=float))
        values = rng.normal(size=count)
        change = np.where(rng.random(count) < 0.4, rng.normal(size=count), 0.0)
        tables.append(Table(f"t{number}", values, (axis,)))
        others.append(Table(f"t{number}", values + change, (axis,)))
        difference = (values + change) - values
        most = difference[np.argmax(np.abs(difference))]
        expected.append((int((difference != 0).sum()), most or None))
    result = compare(_set(*tables), _set(*others))
    assert [(t.cells_changed, t.largest) for t in result.tables.values()] == expected


def test_tables_of_one_set_only() -> None:
    result = compare(_set(TORQUE), _set(GAIN))
    assert {t.id: t.state for t in result.tables.values()} == {
        "torque": State.ONLY_FIRST,
        "gain": State.ONLY_SECOND,
    }
    assert result.tables["gain"].table is GAIN
    assert result.tables["gain"].cells_changed is None


def test_compatible_units_are_converted() -> None:
    # 36 km/h is 10 m/s exactly, by definition of the units.
    axis = Axis([0.0, 1.0], quantity="pedal", unit="%")
    kmh = Table("v", [36.0, 72.0], (axis,), unit="km/h")
    ms = Table("v", [10.0, 20.0], (axis,), unit="m/s")
    result = compare_tables(kmh, ms)
    assert (result.state, result.cells_changed, result.largest) == (State.UNITS_DIFFER, 0, None)
    result = compare_tables(kmh, ms.with_values([10.0, 25.0]))
    assert (result.cells_changed, result.unit) == (1, "km/h")
    assert result.largest == pytest.approx(18.0)
    assert result.cells[0].after == pytest.approx(90.0)
    assert "after conversion of units" in result.words()


def test_incompatible_units_are_said_not_compared() -> None:
    result = compare_tables(GAIN, replace(GAIN, unit="N.m"))
    assert (result.state, result.cells_changed, result.largest) == (State.UNITS_DIFFER, None, None)
    assert "not compared" in result.note
    assert result.cells == ()


def test_unequal_axes_are_compared_on_the_union_grid() -> None:
    # By hand: 0..10 linear 0..10 against a kink of 2 at x = 4: reads 1 at x = 2 and 6 at x = 7.
    first = Table("c", [0.0, 2.0, 10.0], (Axis([0.0, 2.0, 10.0], quantity="pedal"),))
    second = Table("c", [0.0, 2.0, 10.0], (Axis([0.0, 4.0, 10.0], quantity="pedal"),))
    result = compare_tables(first, second)
    assert result.state is State.AXES_DIFFER
    assert [(c.axis_values, c.before, c.after) for c in result.cells] == [
        ((2.0,), 2.0, 1.0),
        ((4.0,), 4.0, 2.0),
    ]
    assert (result.cells_changed, result.largest) == (2, -2.0)
    assert result.cells[0].cell is None
    assert "axis 1 breakpoints" in result.words()


def test_an_inserted_breakpoint_on_the_line_changes_no_value() -> None:
    first = Table("c", [0.0, 10.0], (Axis([0.0, 10.0], quantity="pedal"),))
    second = Table("c", [0.0, 5.0, 10.0], (Axis([0.0, 5.0, 10.0], quantity="pedal"),))
    result = compare_tables(first, second)
    assert (result.state, result.cells_changed) == (State.AXES_DIFFER, 0)
    assert result.words().startswith("values the same")


def test_rounding_between_breakpoints_is_no_difference() -> None:
    # A line through 0.1 and 0.7, with breakpoints added on it by interpolation as numpy does it.
    x = np.linspace(0, 1, 12)
    first = Table("c", [0.1, -0.7], (Axis([0.0, 1.0], quantity="pedal"),))
    second = Table("c", np.interp(x, [0, 1], [0.1, -0.7]), (Axis(x, quantity="pedal"),))
    assert compare_tables(first, second).cells_changed == 0
    assert compare_tables(second, first).cells_changed == 0


def test_swapped_axes_are_matched_by_input() -> None:
    first = Table("m", [[1.0, 2.0, 3.0]] * 3, (TEMPERATURE, PEDAL))
    second = Table("m", np.array([[1.0, 2.0, 3.0]] * 3).T, (PEDAL, TEMPERATURE))
    assert compare_tables(first, second).cells_changed == 0
    changed = second.with_values(second.values + np.array([[0, 0, 0], [0, 7, 0], [0, 0, 0]]))
    result = compare_tables(first, changed)
    assert [(c.axis_values, c.after) for c in result.cells] == [((0.0, 50.0), 9.0)]


def test_axes_in_other_units_are_converted() -> None:
    # 0 degC is 273.15 K.
    kelvin = replace(TEMPERATURE, values=TEMPERATURE.values + 273.15, unit="K")
    result = compare_tables(TORQUE, TORQUE.with_axis(0, kelvin, TORQUE.values))
    assert result.state is State.AXES_DIFFER
    assert result.largest is None or abs(result.largest) < 1e-9


def test_a_disordered_axis_is_said_not_compared() -> None:
    broken = replace(PEDAL, values=[0.0, 100.0, 50.0])
    result = compare_tables(TORQUE, TORQUE.with_axis(1, broken, TORQUE.values))
    assert (result.state, result.cells_changed) == (State.AXES_DIFFER, None)
    assert "breakpoint 3" in result.note


def test_way_of_reading_is_a_difference_of_axes() -> None:
    step = replace(PEDAL, interpolation=Interpolation.STEP)
    result = compare_tables(TORQUE, TORQUE.with_axis(1, step, TORQUE.values))
    assert result.state is State.AXES_DIFFER
    assert [f.words() for f in result.fields] == ["axis 2 interpolation: linear → step"]


@pytest.mark.parametrize(("side", "words"), [("below", "lower end"), ("above", "upper end")])
def test_how_an_axis_goes_on_beyond_its_end_is_a_difference_too(side: str, words: str) -> None:
    other = replace(PEDAL, **{side: End.EXTRAPOLATED})
    result = compare_tables(TORQUE, TORQUE.with_axis(1, other, TORQUE.values))
    assert result.state is State.AXES_DIFFER
    assert [f.words() for f in result.fields] == [f"axis 2 {words}: held → extrapolated"]


def test_storage_limits_relations_and_texts_are_listed() -> None:
    second = replace(
        TORQUE,
        storage=Storage.of("uint16", "0.1"),
        upper=500,
        description="tuned",
        relations={"low_grip": ">="},
    )
    result = compare_tables(TORQUE, second)
    assert (result.state, result.cells_changed) == (State.STORAGE_DIFFERS, 0)
    assert [f.words() for f in result.fields] == [
        "description: nothing → tuned",
        "upper limit: 450 N·m → 500 N·m",
        "storage: uint16, step 0.5 → uint16, step 0.1",
        "relation of mode low_grip: nothing → >=",
    ]
    assert compare_tables(TORQUE, replace(TORQUE, name="Torque")).state is State.CHANGED


def test_rules_are_listed_in_words() -> None:
    rule = Monotone(axis="pedal", reason="more pedal, more torque")
    result = compare_tables(TORQUE, replace(TORQUE, rules=(rule,)))
    assert result.state is State.CHANGED
    assert [f.field for f in result.fields] == ["rule"]
    assert result.fields[0].before == ""
    assert "with pedal" in result.fields[0].after
    assert "more pedal, more torque" in result.fields[0].after


def test_mode_relation_is_oriented_whichever_set_comes_first() -> None:
    # By hand: low grip must be at or above the base; 24 at 100 % falls 6 short of 30.
    base_table = replace(TORQUE, relations={"low_grip": ">="})
    about = {"programme": "Larch", "base_mode": "normal"}
    base = _set(base_table, mode="normal", **about)
    low = _set(_edited(base_table, c02=24.0, c20=9.0), mode="low_grip", **about)
    for first, second in ((base, low), (low, base)):
        result = compare(first, second)
        (breach,) = result.breaches
        assert (breach.table, breach.amount, breach.cells) == ("torque", 6.0, ((0, 2),))
        assert result.tables["torque"].breaches == (breach,)
        assert "low_grip" in result.relation
        assert "normal" in result.relation
        assert not result.same


def test_zero_relation_is_checked_though_both_are_equal() -> None:
    table = replace(TORQUE, relations={"low_grip": "zero"})
    about = {"programme": "Larch", "base_mode": "normal"}
    result = compare(_set(table, mode="normal", **about), _set(table, mode="low_grip", **about))
    assert len(result.breaches) == 1
    assert result.tables["torque"].state is State.SAME


def test_no_relation_between_two_revisions_of_one_mode() -> None:
    base = _set(TORQUE, mode="normal", base_mode="normal", revision="1")
    result = compare(base, base.described(revision="2"))
    assert result.breaches == ()
    assert result.relation.startswith("No mode relation applies")
    assert [f.words() for f in result.fields] == ["revision: 1 → 2"]
    assert result.same, "a revision's number is not content"
    assert not compare(base, base.described(programme="Spruce")).same
