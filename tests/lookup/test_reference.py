"""The lookup's definition, against SciPy and numpy and at its edges."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from calib_model.core.axis import Axis, End, Interpolation
from calib_model.core.table import Table
from calib_model.errors import LookupProblem
from calib_model.lookup.reference import lookup, lookup_values, weights


def _random_table(axis_count: int, seed: int = 1) -> Table:
    rng = np.random.default_rng(seed)
    axes = tuple(
        Axis(np.cumsum(rng.uniform(0.2, 3.0, 3 + n)), quantity=f"q{n}") for n in range(axis_count)
    )
    return Table("t", rng.normal(size=tuple(len(a) for a in axes)), axes)


@pytest.mark.parametrize("axis_count", [1, 2, 3, 4])
def test_linear_agrees_with_scipy(axis_count: int) -> None:
    # Reference: scipy.interpolate.RegularGridInterpolator, multilinear; points inside the grid.
    table = _random_table(axis_count)
    rng = np.random.default_rng(2)
    points = [rng.uniform(a.values[0], a.values[-1], 500) for a in table.axes]
    expected = RegularGridInterpolator([a.values for a in table.axes], table.values)(
        np.stack(points, axis=-1)
    )
    np.testing.assert_allclose(lookup(table, points), expected, rtol=0, atol=1e-13)


def test_held_ends_agree_with_numpy_interp() -> None:
    # Reference: numpy.interp, which holds both ends.
    table = _random_table(1)
    x = np.linspace(-5, 20, 1001)
    expected = np.interp(x, table.axes[0].values, table.values)
    np.testing.assert_allclose(lookup(table, [x]), expected, rtol=0, atol=1e-14)


def test_extrapolated_ends_agree_with_scipy() -> None:
    # Reference: RegularGridInterpolator with fill_value=None, which extrapolates linearly.
    table = _random_table(2)
    axes = tuple(Axis(a.values, below=End.EXTRAPOLATED, above=End.EXTRAPOLATED) for a in table.axes)
    rng = np.random.default_rng(3)
    points = rng.uniform(-10, 20, (2, 400))
    expected = RegularGridInterpolator(
        [a.values for a in axes], table.values, bounds_error=False, fill_value=None
    )(points.T)
    np.testing.assert_allclose(lookup_values(axes, table.values, points), expected, atol=1e-11)


def test_each_end_is_chosen_by_itself() -> None:
    axis = Axis([0.0, 1.0], below=End.HELD, above=End.EXTRAPOLATED)
    assert lookup(Table("t", [5.0, 7.0], (axis,)), [[-1.0, 2.0]]).tolist() == [5.0, 9.0]
    axis = Axis([0.0, 1.0], below=End.EXTRAPOLATED, above=End.HELD)
    assert lookup(Table("t", [5.0, 7.0], (axis,)), [[-1.0, 2.0]]).tolist() == [3.0, 7.0]


def test_step_axis_holds_the_lower_breakpoint() -> None:
    axis = Axis([0.0, 1.0, 2.0], interpolation=Interpolation.STEP, above=End.EXTRAPOLATED)
    table = Table("t", [10.0, 20.0, 30.0], (axis,))
    x = [-1.0, 0.0, 0.999, 1.0, 1.5, 2.0, 9.0]
    assert lookup(table, [x]).tolist() == [10.0, 10.0, 10.0, 20.0, 20.0, 30.0, 30.0]


@pytest.mark.parametrize("axis_count", [1, 2, 3, 4])
def test_nodes_come_back_bit_exactly_beside_empty_cells(axis_count: int) -> None:
    table = _random_table(axis_count)
    values = table.values.copy()
    values[np.indices(values.shape).sum(axis=0) % 2 == 1] = np.nan  # every neighbour of a node
    grid = np.meshgrid(*(a.values for a in table.axes), indexing="ij")
    np.testing.assert_array_equal(lookup(table.with_values(values), grid), values)


def test_empty_cell_spoils_only_what_it_contributes_to() -> None:
    axes = (Axis([0.0, 1.0, 2.0]), Axis([0.0, 1.0]))
    table = Table("t", [[1.0, 2.0], [np.nan, 4.0], [5.0, 6.0]], axes)
    result = lookup(table, [[0.0, 0.5, 0.5, 1.0, 1.5, 2.0], [0.5, 1.0, 0.5, 1.0, 0.0, 0.5]])
    np.testing.assert_array_equal(result, [1.5, 3.0, np.nan, 4.0, np.nan, 5.5])


def test_nan_points_give_nan() -> None:
    table = _random_table(2)
    assert np.isnan(lookup(table, [[np.nan, 1.0], [1.0, np.nan]])).all()
    step = Axis([0.0, 1.0], interpolation=Interpolation.STEP)
    assert np.isnan(lookup(Table("t", [1.0, 2.0], (step,)), [np.nan]))


def test_single_breakpoint_and_scalar() -> None:
    single = Table("t", [7.0], (Axis([3.0], below=End.EXTRAPOLATED, above=End.EXTRAPOLATED),))
    np.testing.assert_array_equal(lookup(single, [[1.0, 3.0, 9.0, np.nan]]), [7, 7, 7, np.nan])
    assert lookup(Table("s", 4.5), ()) == 4.5
    assert lookup(Table("s", 4.5), {"pedal": [1.0]}) == 4.5


def test_points_by_quantity_broadcast() -> None:
    table = _random_table(2)
    by_name = lookup(table, {"q1": np.array([[1.0, 2.0]]), "q0": np.array([[1.5], [2.5]]), "z": 0})
    np.testing.assert_array_equal(by_name, lookup(table, [[[1.5], [2.5]], [[1.0, 2.0]]]))
    assert by_name.shape == (2, 2)


def test_plateau_stays_flat_and_steps_keep_order() -> None:
    rng = np.random.default_rng(5)
    axis = Axis(np.cumsum(rng.uniform(0.01, 1, 30)))
    flat = Table("t", np.full(30, 0.1), (axis,))
    x = np.sort(rng.uniform(0, axis.values[-1], 5000))
    assert (lookup(flat, [x]) == 0.1).all()
    rising = Table("t", np.cumsum(rng.uniform(0, 1, 30)), (axis,))
    assert (np.diff(lookup(rising, [x])) >= -1e-15).all()


def test_disordered_axis_is_refused_by_name() -> None:
    axes = (Axis([0.0, 1.0]), Axis([0.0, 20.0, 20.0], name="Pedal", unit="%"))
    with pytest.raises(LookupProblem, match=r"my_map.*breakpoint 3.*Pedal.*20 %.*rising"):
        lookup(Table("my_map", np.zeros((2, 3)), axes), [0.5, 0.5])
    with pytest.raises(LookupProblem, match="Pedal"):
        weights(axes, [0.5, 0.5])


def test_wrong_points_are_refused_in_words() -> None:
    table = _random_table(2)
    with pytest.raises(LookupProblem, match="Points for 1 axes were given, but table t has 2"):
        lookup(table, [[1.0]])
    with pytest.raises(LookupProblem, match="do not go together"):
        lookup(table, [[1.0, 2.0], [1.0, 2.0, 3.0]])
    with pytest.raises(LookupProblem, match="reads q1"):
        lookup(table, {"q0": 1.0})


@pytest.mark.parametrize("axis_count", [0, 1, 2, 3, 4])
def test_weights_are_the_lookup(axis_count: int) -> None:
    table = _random_table(axis_count, seed=8)
    axes = tuple(Axis(a.values, above=End.EXTRAPOLATED) for a in table.axes)
    points = list(np.random.default_rng(9).uniform(-2, 15, (axis_count, 200)))
    cells, coefficients = weights(axes, points)
    count = 200 if axis_count else 1
    assert cells.shape == coefficients.shape == (count, 2**axis_count)
    by_weights = (coefficients * table.values.reshape(-1)[cells]).sum(axis=1)
    np.testing.assert_allclose(
        by_weights, np.ravel(lookup_values(axes, table.values, points)), rtol=1e-12, atol=1e-12
    )
    np.testing.assert_allclose(coefficients.sum(axis=1), 1.0, atol=1e-12)


def test_weights_at_nodes_name_one_cell() -> None:
    table = _random_table(2)
    grid = np.meshgrid(*(a.values for a in table.axes), indexing="ij")
    cells, coefficients = weights(table.axes, grid)
    assert (np.count_nonzero(coefficients, axis=1) == 1).all()
    assert coefficients.max() == 1.0
    used = cells[coefficients == 1.0]
    np.testing.assert_array_equal(used, np.arange(table.values.size))
