"""The sums behind a fit, against SciPy's sparse algebra and interpolators."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from scipy.sparse import csr_array

from calib_model.lookup import compiled
from calib_model.lookup.reference import weights
from calib_model.shaping.assembly import (
    corners,
    coverage,
    gather_moments,
    normal_equations,
    read,
    robust_weight,
    two_axes,
)
from calib_model.shaping.samples import from_arrays
from tests.fit.making_fits import curve, surface

NEEDS_NUMBA = pytest.mark.skipif(not compiled.available(), reason="numba is not installed")
HOW = [False, pytest.param(True, marks=NEEDS_NUMBA)]


def _case(kind: str):
    rng = np.random.default_rng(3)
    if kind == "curve":
        table = curve(np.cumsum(rng.uniform(0.2, 3, 9)))
    else:
        table = surface(np.cumsum(rng.uniform(0.2, 3, 7)), np.cumsum(rng.uniform(0.2, 3, 5)))
    points = [rng.uniform(a.values[0], a.values[-1], 4_000) for a in table.axes]
    for p, a in zip(points, table.axes, strict=True):  # nodes themselves and both ends
        p[:3] = a.values[0], a.values[-1], a.values[2]
    return table, points, rng.normal(5, 2, 4_000)


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("kind", ["curve", "map"])
def test_normal_equations_are_those_of_scipy(kind: str, how: bool) -> None:
    table, points, z = _case(kind)
    cells, shares = weights(table.axes, points)
    rows = np.repeat(np.arange(z.size), cells.shape[1])
    hats = csr_array(
        (shares.reshape(-1), (rows, cells.reshape(-1))), shape=(z.size, table.values.size)
    )
    moments = gather_moments(table.axes, from_arrays(points, z), centre=1.5, compiled=how)
    normal, right = normal_equations(moments)
    np.testing.assert_allclose(normal.toarray(), (hats.T @ hats).toarray(), atol=1e-9)
    np.testing.assert_allclose(right, hats.T @ (z - 1.5), atol=1e-8)
    np.testing.assert_allclose(
        coverage(moments), np.asarray(hats.sum(axis=0)).reshape(-1), atol=1e-9
    )
    assert moments.count == z.size
    assert moments.square == pytest.approx(float(((z - 1.5) ** 2).sum()))


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("loss", ["huber", "biweight"])
def test_robust_sums_are_those_of_weighted_samples(loss: str, how: bool) -> None:
    table, points, z = _case("map")
    values = np.random.default_rng(1).normal(5, 1, table.values.size)
    reader = RegularGridInterpolator([a.values for a in table.axes], values.reshape(table.shape))
    rest = z - reader(np.stack(points, axis=-1))
    tuning = {"huber": 1.345, "biweight": 4.685}[loss]
    by_hand = (
        np.where(np.abs(rest) <= tuning * 0.7, 1.0, tuning * 0.7 / np.abs(rest))
        if loss == "huber"
        else np.where(np.abs(rest) < tuning * 0.7, (1 - (rest / (tuning * 0.7)) ** 2) ** 2, 0.0)
    )
    np.testing.assert_allclose(robust_weight(rest, loss, tuning * 0.7), by_hand, atol=1e-12)
    got = gather_moments(
        table.axes, from_arrays(points, z), node_values=values, loss=loss, scale=0.7, compiled=how
    )
    wanted = gather_moments(table.axes, from_arrays(points, z), weights=by_hand, compiled=False)
    np.testing.assert_allclose(got.weight, wanted.weight, atol=1e-8)
    np.testing.assert_allclose(got.value, wanted.value, atol=1e-8)
    np.testing.assert_array_equal(got.nearest, wanted.nearest)


def test_reading_is_the_lookup_of_scipy() -> None:
    from calib_model.shaping.assembly import locate_cells

    table, points, _ = _case("map")
    values = np.random.default_rng(2).normal(size=table.values.size)
    reader = RegularGridInterpolator([a.values for a in table.axes], values.reshape(table.shape))
    got = read(table.shape, values, *locate_cells(two_axes(table.axes), points))
    np.testing.assert_allclose(got, reader(np.stack(points, axis=-1)), atol=1e-12)


def test_a_sample_counts_for_its_nearest_corner() -> None:
    table = surface([0, 1], [0, 10])
    samples = from_arrays([[0.2, 0.9, 0.9], [1.0, 9.0, 2.0]], [1, 2, 3])
    moments = gather_moments(table.axes, samples)
    assert moments.nearest.tolist() == [1, 0, 1, 1]
    assert [c.tolist() for c in corners((2, 2), np.array([0]))] == [[0], [1], [2], [3]]


def test_masked_samples_do_not_count() -> None:
    table = curve([0, 1, 2])
    samples = from_arrays([[0.5, 1.5, 0.25]], [1.0, 2.0, 3.0]).only(np.array([True, False, True]))
    moments = gather_moments(table.axes, samples)
    assert moments.count == 2
    assert coverage(moments).tolist() == [1.25, 0.75, 0.0]
