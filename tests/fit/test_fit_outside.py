"""Fits against other people's: statsmodels' least squares and robust regression."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from calib_model.core.table import Table
from calib_model.rules.shape import Monotone
from calib_model.shaping.fit import fit
from calib_model.shaping.fit_estimate import estimate
from calib_model.shaping.fit_options import FitOptions, NodeState
from calib_model.shaping.samples import Samples, from_arrays
from tests.fit.making_fits import curve, design, only, surface

sm = pytest.importorskip("statsmodels.api")

FREE = {"strength": 0.0, "on_raster": False}


def _curve_case(seed: int = 0, noise: float = 0.1) -> tuple[Table, Samples, np.ndarray]:
    rng = np.random.default_rng(seed)
    table = curve([0, 1, 2.5, 4, 7, 10])
    x = rng.uniform(0, 10, 300)
    y = np.sin(x / 3) + rng.normal(size=x.size) * noise
    return table, from_arrays([x], y), design(table, [x])


def test_standard_error_is_that_of_statsmodels_least_squares() -> None:
    # statsmodels.OLS: bse = sqrt(RSS/(n-p) diag((X'X)^-1)), read in its documentation.
    table, samples, x = _curve_case()
    found = fit(only(table), "curve", samples, FitOptions(loss="squares", **FREE))
    theirs = sm.OLS(samples.values, x).fit()
    np.testing.assert_allclose(found.values("curve"), theirs.params, atol=1e-10)
    np.testing.assert_allclose(found.fits["curve"].error, theirs.bse, rtol=1e-8)


def test_standard_error_of_weighted_samples() -> None:
    # statsmodels.WLS with whole weights is the same as repeated samples but for the degrees of
    # freedom: compare with the residual variance of the repeated ones.
    table, samples, x = _curve_case(5)
    times = np.random.default_rng(1).integers(1, 4, samples.rows)
    repeated = from_arrays([np.repeat(samples.points[0], times)], np.repeat(samples.values, times))
    found = fit(only(table), "curve", repeated, FitOptions(loss="squares", **FREE))
    theirs = sm.WLS(samples.values, x, weights=times).fit()
    room = (samples.rows - x.shape[1]) / (repeated.rows - x.shape[1])
    np.testing.assert_allclose(found.values("curve"), theirs.params, atol=1e-10)
    np.testing.assert_allclose(found.fits["curve"].error, theirs.bse * np.sqrt(room), rtol=1e-8)
    assert any("repeat another one" in n for n in found.notes)


def test_standard_error_under_an_active_rule_is_that_of_a_restricted_regression() -> None:
    # Where a rule holds two nodes level, the fit is least squares with one parameter for both
    # (restricted least squares; any text on regression, from memory).
    rng = np.random.default_rng(11)
    x = rng.uniform(0, 4, 500)
    y = np.interp(x, [0, 1, 2, 3, 4], [0, 1, 1.4, 1.1, 3]) + rng.normal(size=x.size) * 0.02
    table = curve([0, 1, 2, 3, 4], rules=(Monotone("pedal", "up"),))
    found = fit(only(table), "curve", from_arrays([x], y), FitOptions(loss="squares", **FREE))
    h = design(table, [x])
    merged = np.stack([h[:, 0], h[:, 1], h[:, 2] + h[:, 3], h[:, 4]], axis=1)
    theirs = sm.OLS(y, merged).fit()
    np.testing.assert_allclose(found.values("curve")[[0, 1, 2, 4]], theirs.params, atol=1e-8)
    assert found.values("curve")[2] == found.values("curve")[3]
    error = found.fits["curve"].error
    assert error[2] == pytest.approx(error[3])
    # The noise is that of the fit without rules; the form is that of the restricted one.
    ratio = found.fits["curve"].sigma / np.sqrt(theirs.scale)
    np.testing.assert_allclose(error[[0, 1, 2, 4]], theirs.bse * ratio, rtol=1e-6)


@pytest.mark.parametrize("loss", ["huber", "biweight"])
def test_robust_fits_are_those_of_statsmodels_rlm(loss: str) -> None:
    # statsmodels.RLM with the MAD scale and its default tuning constants 1.345 and 4.685.
    table, samples, x = _curve_case(7)
    samples.values[::20] += 3.0
    norm = sm.robust.norms.HuberT() if loss == "huber" else sm.robust.norms.TukeyBiweight()
    theirs = sm.RLM(samples.values, x, M=norm).fit(maxiter=300, tol=1e-12)
    found = fit(only(table), "curve", samples, FitOptions(loss=loss, **FREE))
    np.testing.assert_allclose(found.values("curve"), theirs.params, atol=1e-7)
    # RLM's H1 covariance has a further factor of 1 + p/n var(psi')/mean(psi')^2, here below 1 %.
    np.testing.assert_allclose(found.fits["curve"].error, theirs.bse, rtol=0.01)
    # The planted outliers are listed, nothing else is.
    rest = found.fits["curve"].residuals
    assert {o.line for o in rest.outliers} == set(range(1, 301, 20))


def test_robust_fit_of_statsmodels_open_data() -> None:
    # "Stack loss" (Brownlee 1965), bundled with statsmodels: its robust line over air flow.
    data = sm.datasets.stackloss.load().data
    flow, loss = data["AIRFLOW"].to_numpy(float), data["STACKLOSS"].to_numpy(float)
    table = curve([50, 60, 80])
    h = design(table, [flow])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = sm.RLM(loss, h, M=sm.robust.norms.HuberT()).fit(maxiter=500, tol=1e-13)
    found = fit(only(table), "curve", from_arrays([flow], loss), FitOptions(**FREE))
    np.testing.assert_allclose(found.values("curve"), theirs.params, atol=1e-6)


def test_error_bars_cover_the_truth_as_often_as_they_say() -> None:
    # By experiment: about 95 % of the nodes lie within 1.96 standard errors.
    rng = np.random.default_rng(2)
    table = surface([0, 1, 2, 3], [0, 10, 20])
    truth = np.add.outer(np.array([0, 1, 1.5, 1.7]), np.array([0, 0.5, 2.0]))
    hits = []
    for _ in range(60):
        points = [rng.uniform(0, 3, 400), rng.uniform(0, 20, 400)]
        y = design(table, points) @ truth.reshape(-1) + rng.normal(size=400) * 0.2
        found = fit(
            only(table), "surface", from_arrays(points, y), FitOptions(loss="squares", **FREE)
        )
        hits.append(np.abs(found.values("surface") - truth) < 1.96 * found.fits["surface"].error)
    assert 0.92 < np.mean(hits) < 0.975


def test_automatic_roughness_follows_a_smooth_truth_closer_than_none() -> None:
    rng = np.random.default_rng(4)
    table = surface(np.linspace(0, 1, 14), np.linspace(0, 1, 12))
    points = [rng.uniform(0, 1, 700), rng.uniform(0, 1, 700)]
    mesh = np.meshgrid(*(a.values for a in table.axes), indexing="ij")
    truth = np.sin(2 * mesh[0]) + mesh[1] ** 2
    y = np.sin(2 * points[0]) + points[1] ** 2 + rng.normal(size=700) * 0.2

    def error(strength: float | None) -> float:
        found = estimate(table, from_arrays(points, y), FitOptions(strength=strength))
        return float(np.sqrt(np.mean((found.values.reshape(table.shape) - truth) ** 2)))

    assert error(None) < 0.5 * error(1e-8)
    oracle = min(error(s) for s in np.logspace(-6, 1, 15))
    assert error(None) < 1.6 * oracle


def test_nodes_without_data_are_named_and_have_no_error() -> None:
    rng = np.random.default_rng(1)
    x = np.concatenate([rng.uniform(0, 3, 200), rng.uniform(6.6, 10, 200)])
    table = curve([0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10])
    found = fit(only(table), "curve", from_arrays([x], 2 * x + rng.normal(size=400) * 0.01))
    state = found.fits["curve"].state
    assert state.tolist() == [2, 2, 2, 2, 0, 0, 1, 2, 2, 2, 2]
    assert np.isnan(found.fits["curve"].error[4:7]).all()
    assert np.isfinite(found.fits["curve"].error[state == NodeState.MEASURED]).all()
    # Filled smoothly, and said so.
    np.testing.assert_allclose(found.values("curve"), 2 * table.axes[0].values, atol=0.05)
    assert any("2 of 11 nodes have no data" in n for n in found.notes)
    assert found.fits["curve"].coverage[5] == 0


def test_kept_nodes_stay_where_there_are_no_samples() -> None:
    rng = np.random.default_rng(1)
    present = np.linspace(0, 10, 11)
    table = curve(np.arange(11), present)
    x = rng.uniform(4, 6, 200)
    found = fit(only(table), "curve", from_arrays([x], x + 1), FitOptions(elsewhere="keep"))
    values = found.values("curve")
    untouched = found.fits["curve"].state == NodeState.NO_DATA
    assert untouched.sum() == 8
    np.testing.assert_array_equal(values[untouched], present[untouched])
    np.testing.assert_allclose(values[4:7], present[4:7] + 1, atol=0.02)


def test_units_of_the_axes_do_not_matter() -> None:
    rng = np.random.default_rng(6)
    points = [rng.uniform(0, 3, 300), rng.uniform(0, 20, 300)]
    y = points[0] ** 2 + points[1] / 10 + rng.normal(size=300) * 0.1
    one = estimate(surface([0, 1, 2, 3], [0, 5, 10, 20]), from_arrays(points, y), FitOptions())
    table = surface([0, 1000, 2000, 3000], [0, 5, 10, 20])
    other = estimate(table, from_arrays([points[0] * 1000, points[1]], 100 * y), FitOptions())
    assert other.strength == pytest.approx(one.strength)
    np.testing.assert_allclose(other.values, 100 * one.values, rtol=1e-6)


@pytest.mark.parametrize("loss", ["huber", "biweight"])
@pytest.mark.parametrize("noise", [0.0, 1e-4])
def test_what_a_table_cannot_follow_is_no_outlier(loss: str, noise: float) -> None:
    # Samples without noise that bend between two nodes: most lie on the table exactly, so the
    # noise seemed nil and the bend's samples outliers, and the node beside it was 10 % off and
    # called measured.  The least squares of the hats, by numpy, as the reference.
    rng = np.random.default_rng(0)
    x = rng.uniform(0, 10, 600)
    y = np.maximum(x - 4.3, 0.0) + noise * rng.normal(size=600)
    nodes = np.linspace(0, 10, 7)
    hats = np.stack([np.interp(x, nodes, e) for e in np.eye(7)], axis=1)
    least = np.linalg.lstsq(hats, y, rcond=None)[0]
    found = fit(only(curve(nodes)), "curve", from_arrays([x], y), FitOptions(loss=loss))
    assert np.abs(found.values("curve") - least).max() < 0.005 * np.ptp(y)
    # Outliers are still withstood: a tenth of the samples, a range off.
    spoilt = y.copy()
    spoilt[::10] += 6.0
    found = fit(only(curve(nodes)), "curve", from_arrays([x], spoilt), FitOptions(loss=loss))
    assert np.abs(found.values("curve") - least).max() < 0.03 * np.ptp(y)
