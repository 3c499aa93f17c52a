"""Axes, tables and sets as values: frozen, comparable, cheap to change."""

from __future__ import annotations

import json
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.plain import axis_from_plain, axis_to_plain, table_from_plain, table_to_plain
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.errors import ModelError
from calib_model.rules.shape import Monotone

SPEED = Axis([0, 20, 60], "Vehicle speed", "km/h", "vehicle_speed", shared="axis.speed")


def small_map() -> Table:
    return Table(
        "limit",
        [[1.0, 2.0], [3.0, 4.0], [5.0, np.nan]],
        (SPEED, Axis([0, 1], "Brake", "-", "brake_state", Interpolation.STEP)),
        "Limit",
        "N.m",
        lower=0,
        upper=10,
        storage=Storage("uint8", 1, 2),
        relations={"towing": "<="},
        rules=(Monotone("vehicle_speed"),),
    )


def test_arrays_are_read_only_and_do_not_alias_the_callers() -> None:
    mine = np.array([1.0, 2.0])
    table = Table("a", mine, (Axis([0, 1]),))
    mine[0] = 99
    assert table.values[0] == 1
    with pytest.raises(ValueError, match="read-only"):
        table.values[0] = 5


def test_minus_zero_becomes_zero() -> None:
    assert not np.signbit(Table("a", [-0.0], (Axis([-0.0]),)).values[0])
    assert not np.signbit(Axis([-0.0]).values[0])


def test_a_read_only_view_of_what_can_be_written_is_copied() -> None:
    mine = np.array([1.0, 2.0])
    view = mine[:]
    view.setflags(write=False)
    axis, table = Axis(view), Table("a", view, (Axis([0, 1]),))
    mine[0] = -9.0
    assert axis.values.tolist() == [1.0, 2.0]
    assert table.values.tolist() == [1.0, 2.0]
    whole = np.arange(4.0)
    whole.setflags(write=False)
    part = whole[1:3]
    assert Axis(part).values is part  # of what nobody can write to: 30,000 tables share one column


def test_limits_that_are_no_numbers_and_unknown_relations_are_refused() -> None:
    with pytest.raises(ModelError, match="limit of table a is not a number"):
        Table("a", 1.0, upper=np.nan)
    with pytest.raises(ModelError, match="'at least' is no relation of table a"):
        Table("a", 1.0, relations={"towing": "at least"})


def test_limits_from_numpy_survive_plain_form() -> None:
    table = Table("a", 1.0, lower=np.float64(-np.inf), upper=np.float64(2))
    assert table_from_plain(json.loads(json.dumps(table_to_plain(table)))) == table


def test_equality_counts_nan_as_equal_and_every_field() -> None:
    one, two = small_map(), small_map()
    assert one == two
    assert hash(one) == hash(two)
    assert one != two.with_values(np.zeros((3, 2)))
    for other in (
        {"description": "x"},
        {"unit": "bar"},
        {"relations": {}},
        {"rules": ()},
        {"storage": Storage("uint8", 1, 4)},
        {"lower": -1.0},
    ):
        changed = Table(**{**{f: getattr(two, f) for f in two.__dataclass_fields__}, **other})
        assert one != changed, other


def test_shape_must_fit_the_axes() -> None:
    with pytest.raises(ModelError, match=r"shape \(2,\).*\(3,\) breakpoints"):
        Table("a", [1, 2], (Axis([1, 2, 3]),))


@pytest.mark.parametrize("bad", ["", "has blank", "ä", "x" * 201, "a/b"])
def test_ids_are_plain_ascii(bad: str) -> None:
    with pytest.raises(ModelError, match="cannot be an id"):
        Table(bad, 1.0)


def test_axis_refuses_non_finite_but_takes_disordered_breakpoints() -> None:
    with pytest.raises(ModelError, match=r"breakpoint \(2\) that is not a number"):
        Axis([0, np.nan], "Speed")
    assert not Axis([0, 2, 1]).ordered
    assert not Axis([0, 0]).ordered
    assert Axis([3]).ordered


def test_shared_axis_must_be_the_sets() -> None:
    table = small_map()
    assert CalibrationSet([table], [SPEED]).users_of("axis.speed") == (table,)
    with pytest.raises(ModelError, match="shared axis"):
        CalibrationSet([table])
    with pytest.raises(ModelError, match="shared axis"):
        CalibrationSet([table], [SPEED.with_values([0, 20, 61])])


def test_repeated_id_is_refused() -> None:
    with pytest.raises(ModelError, match="two of table 'a'"):
        CalibrationSet([Table("a", 1.0), Table("a", 2.0)])


def test_an_edit_shares_what_did_not_change() -> None:
    tables = [Table(f"t{n}", float(n)) for n in range(5)]
    before = CalibrationSet(tables)
    after = before.with_table(tables[2].with_values(9.0))
    assert [after.tables[t.id] is t for t in tables] == [True, True, False, True, True]
    assert list(after.tables) == list(before.tables)
    assert before["t2"].values == 2.0


def test_values_cross_process_borders() -> None:
    content = CalibrationSet([small_map()], [SPEED], "Larch", "normal", "normal")
    assert pickle.loads(pickle.dumps(content)) == content


def test_plain_form_round_trips_with_nan_and_infinite_limits() -> None:
    table = small_map()
    assert table_from_plain(table_to_plain(table)) == table
    free = Table("free", 1.0)
    assert table_from_plain(table_to_plain(free)) == free
    axis = Axis([1, 2], "A", "bar", "q", Interpolation.STEP, End.EXTRAPOLATED, End.HELD)
    assert axis_from_plain(axis_to_plain(axis)) == axis


@given(
    st.lists(st.floats(-1e6, 1e6, allow_subnormal=False), min_size=1, max_size=6, unique=True),
    st.sampled_from(["uint16", "int8", "float32", "float64"]),
)
def test_plain_form_is_exact(values: list[float], kind: str) -> None:
    table = Table("a", values, (Axis(sorted(values)),), storage=Storage(kind))
    back = table_from_plain(table_to_plain(table))
    assert back == table
    assert back.values.tobytes() == table.values.tobytes()
