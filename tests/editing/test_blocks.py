"""Block operations against hand-worked values, numpy and SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from calib_model.core.arrays import BoolArray
from calib_model.core.axis import Axis
from calib_model.core.storage import Storage
from calib_model.core.table import Table
from calib_model.editing import blocks
from calib_model.errors import EditRefused

X = np.array([0.0, 1.0, 5.0, 6.0])
Y = np.array([0.0, 10.0, 40.0])
MAP = Table("m", np.arange(12.0).reshape(3, 4), (Axis(Y), Axis(X)), storage=Storage("int16", 1, 2))
CURVE = Table("c", [0.0, 10.0, 20.0, 90.0], (Axis(X),))


def chosen(table: Table, *cells: tuple[int, ...]) -> BoolArray:
    mask = np.zeros(table.shape, dtype=bool)
    for cell in cells:
        mask[cell] = True
    return mask


def whole(table: Table) -> BoolArray:
    return np.ones(table.shape, dtype=bool)


def untouched(table: Table, mask: BoolArray, values: np.ndarray) -> bool:
    return bool((values[~mask] == table.values[~mask]).all())


def test_set_scale_offset_clip_touch_only_the_selection() -> None:
    mask = chosen(MAP, (0, 1), (2, 3))
    for values, expected in (
        (blocks.set_value(MAP, mask, 5.0), [5, 5]),
        (blocks.scale(MAP, mask, 2.0), [2, 22]),
        (blocks.offset(MAP, mask, -1.0), [0, 10]),
        (blocks.clip(MAP, mask, 2.0, 8.0), [2, 8]),
        (blocks.add(MAP, mask, MAP.values), [2, 22]),
    ):
        assert values[mask].tolist() == expected
        assert untouched(MAP, mask, values)
    with pytest.raises(EditRefused, match="above the upper"):
        blocks.clip(MAP, mask, 3, 2)


def test_fill_down_and_right() -> None:
    mask = chosen(MAP, (0, 1), (1, 1), (2, 1))
    assert blocks.fill_down(MAP, mask)[:, 1].tolist() == [1, 1, 1]
    mask = chosen(MAP, (1, 0), (1, 1), (1, 2))
    assert blocks.fill_right(MAP, mask)[1].tolist() == [4, 4, 4, 7]


def test_ramp_is_straight_over_unequal_breakpoints() -> None:
    # Outside: numpy.interp through the two ends.
    values = blocks.ramp(CURVE, whole(CURVE), 0.0, 60.0, 0)
    assert values.tolist() == np.interp(X, [0, 6], [0, 60]).tolist()


def test_interpolate_along_keeps_the_ends() -> None:
    values = blocks.interpolate_along(CURVE, whole(CURVE), 0)
    np.testing.assert_allclose(values, np.interp(X, [0, 6], [0, 90]), rtol=1e-15)
    with pytest.raises(EditRefused, match="three cells"):
        blocks.interpolate_along(CURVE, chosen(CURVE, (0,), (1,)), 0)


def test_corners_give_the_bilinear_surface() -> None:
    # Outside: SciPy's RegularGridInterpolator through the four corners.
    table = MAP.with_values(np.where(np.indices((3, 4)).sum(axis=0) % 2, 99.0, MAP.values))
    values = blocks.interpolate_corners(table, whole(table))
    corners = table.values[np.ix_([0, 2], [0, 3])]
    peer = RegularGridInterpolator(([0.0, 40.0], [0.0, 6.0]), corners)
    mesh = np.stack(np.meshgrid(Y, X, indexing="ij"), axis=-1)
    np.testing.assert_allclose(values, peer(mesh), rtol=1e-13)
    assert values[0, 0] == table.values[0, 0]
    assert values[2, 3] == table.values[2, 3]


def test_corners_of_three_axes_work_plane_by_plane() -> None:
    table = Table("t", np.random.default_rng(1).random((3, 4, 2)), (Axis(Y), Axis(X), Axis([0, 1])))
    mask = np.zeros(table.shape, dtype=bool)
    mask[:, :, 1] = True
    values = blocks.interpolate_corners(table, mask)
    assert (values[:, :, 0] == table.values[:, :, 0]).all()
    flat = Table("p", table.values[:, :, 1], table.axes[:2])
    assert (values[:, :, 1] == blocks.interpolate_corners(flat, whole(flat))).all()


def test_mirror() -> None:
    assert blocks.mirror(CURVE, whole(CURVE), 0).tolist() == [90, 20, 10, 0]
    assert blocks.mirror(CURVE, whole(CURVE), 0, negate=True).tolist() == [-90, -20, -10, 0]
    mask = chosen(MAP, (0, 0), (0, 1), (0, 2))
    assert blocks.mirror(MAP, mask, 1)[0].tolist() == [2, 1, 0, 3]


def test_round_and_step_follow_the_raster() -> None:
    table = Table("s", [0.3, 0.5, 1.26], (Axis([0, 1, 2]),), storage=Storage("uint8", 1, 2))
    assert blocks.round_to_storage(table, whole(table)).tolist() == [0.5, 0.5, 1.5]
    assert blocks.step(table, whole(table), 1).tolist() == [0.5, 1.0, 1.5]
    assert blocks.step(table, whole(table), -1).tolist() == [0.0, 0.0, 1.0]


def test_average_leaves_a_straight_line_alone_and_flattens_a_spike() -> None:
    line = Table("l", 3 * X + 1, (Axis(X),))
    np.testing.assert_allclose(blocks.local_average(line, whole(line)), line.values, rtol=1e-15)
    spike = Table("k", [0.0, 8.0, 0.0], (Axis([0, 1, 2]),))
    assert blocks.local_average(spike, whole(spike)).tolist() == [0.0, 4.0, 0.0]
    hole = spike.with_values([0.0, np.nan, 4.0])
    assert np.isnan(blocks.local_average(hole, whole(hole))[1])


def test_reinterpolate_takes_a_plane_back() -> None:
    plane = 2 * Y[:, None] + 3 * X[None, :]
    table = Table("p", plane, (Axis(Y), Axis(X)))
    for cell in np.ndindex(3, 4):
        broken = plane.copy()
        broken[cell] = -777
        mended = blocks.reinterpolate(table.with_values(broken), chosen(table, cell))
        np.testing.assert_allclose(mended, plane, atol=1e-12)


def test_reinterpolate_says_when_it_cannot() -> None:
    with pytest.raises(EditRefused, match="too few"):
        blocks.reinterpolate(CURVE, whole(CURVE))


def test_a_result_beyond_all_floats_is_refused() -> None:
    large = CURVE.with_values([1e300, 1.0, 2.0, np.nan])
    for operation in (
        lambda: blocks.scale(large, whole(large), 1e300),
        lambda: blocks.offset(large, whole(large), np.inf),
        lambda: blocks.add(large.with_values([1e308] * 4), whole(large), np.full(4, 1e308)),
    ):
        with pytest.raises(EditRefused, match="too large"):
            operation()
    assert np.isnan(blocks.scale(large, whole(large), 2.0)[3]), "an empty cell stays empty"
