"""Samples that count as more than one, or as less: against repeated samples, statsmodels, numpy."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calib_model.errors import EditRefused
from calib_model.exchange.measurements import Choice, read_samples
from calib_model.reports.fit_report import fit_report
from calib_model.shaping import fit_residuals
from calib_model.shaping.assembly import gather_moments
from calib_model.shaping.branches import fit_branches
from calib_model.shaping.fit import fit
from calib_model.shaping.fit_options import FitOptions, NodeState
from calib_model.shaping.fit_residuals import (
    influence,
    lack_of_fit,
    residuals,
    spread_of,
    weighted_median,
)
from calib_model.shaping.samples import Samples, SamplesRefused, from_arrays
from tests.fit.making_fits import curve, design, only, surface

FREE = {"strength": 0.0, "on_raster": False}


def _surface_samples(seed: int = 3, rows: int = 240) -> tuple[Samples, np.ndarray]:
    """Samples of a map with some far off, and how often each counts."""
    rng = np.random.default_rng(seed)
    points = [rng.uniform(0, 6, rows), rng.uniform(0, 40, rows)]
    z = np.sin(points[0]) + points[1] / 20 + rng.normal(size=rows) * 0.1
    z[::25] += 2.0
    return from_arrays(points, z), rng.integers(1, 5, rows)


def _repeated(samples: Samples, times: np.ndarray) -> Samples:
    points = [np.repeat(p, times) for p in samples.points]
    return from_arrays(points, np.repeat(samples.values, times))


@pytest.mark.parametrize("loss", ["squares", "huber", "biweight"])
def test_whole_weights_are_repeated_samples(loss: str) -> None:
    # What a weight means.  Automatic strength, noise, errors and coverage: all go by it.
    samples, times = _surface_samples()
    content = only(surface([0, 1.5, 3, 4.5, 6], [0, 10, 20, 40]))
    options = FitOptions(loss=loss, on_raster=False)
    ours = fit(content, "surface", samples, options, weights=times)
    theirs = fit(content, "surface", _repeated(samples, times), options)
    a, b = ours.fits["surface"], theirs.fits["surface"]
    np.testing.assert_allclose(ours.values("surface"), theirs.values("surface"), atol=1e-6)
    np.testing.assert_allclose(a.error, b.error, rtol=1e-5)
    np.testing.assert_allclose(a.coverage, b.coverage)
    np.testing.assert_array_equal(a.state, b.state)
    assert a.strength == b.strength
    for name in ("edf", "sigma"):
        assert getattr(a, name) == pytest.approx(getattr(b, name), rel=1e-5), name
    for name in ("rms", "mean", "scale", "largest"):
        assert getattr(a.residuals, name) == pytest.approx(getattr(b.residuals, name), rel=1e-4)
    assert (a.residuals.count, a.residuals.weight) == (240, times.sum())
    assert b.residuals.weight == times.sum()


def test_weights_of_a_known_ratio_are_weighted_least_squares() -> None:
    # statsmodels.WLS with one over the variance: bse = sqrt(sum(w r^2) / (n - p)
    # diag((X'WX)^-1)), read in its documentation; a mean weight of 1 gives the same n.
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(5)
    table = curve([0, 1, 2.5, 4, 7, 10])
    x = rng.uniform(0, 10, 300)
    noise = rng.uniform(0.05, 0.5, 300)
    y = np.sin(x / 3) + rng.normal(size=300) * noise
    weights = 1 / noise**2 / np.mean(1 / noise**2)
    samples = from_arrays([x], y, weights=weights)
    found = fit(only(table), "curve", samples, FitOptions(loss="squares", **FREE))
    theirs = sm.WLS(y, design(table, [x]), weights=weights).fit()
    np.testing.assert_allclose(found.values("curve"), theirs.params, atol=1e-9)
    np.testing.assert_allclose(found.fits["curve"].error, theirs.bse, rtol=1e-7)
    plain = fit(only(table), "curve", from_arrays([x], y), FitOptions(loss="squares", **FREE))
    assert np.abs(plain.values("curve") - theirs.params).max() > 0.01


def test_a_robust_fit_with_weights_solves_its_own_equations() -> None:
    # Huber's estimate is where sum(w psi(r / s) x) vanishes, s the weighted median size over
    # 0.6745 (Huber 1981, from memory); both sums by numpy.
    rng = np.random.default_rng(8)
    table = curve([0, 2, 5, 10])
    x, times = rng.uniform(0, 10, 400), rng.integers(1, 6, 400)
    y = x**0.5 + rng.normal(size=400) * 0.1
    y[::15] += 1.5
    found = fit(only(table), "curve", from_arrays([x], y), FitOptions(**FREE), weights=times)
    h = design(table, [x])
    rest = y - h @ found.values("curve")
    scale = np.median(np.abs(np.repeat(rest, times))) / 0.6744897501960817
    psi = np.clip(rest / scale, -1.345, 1.345)
    assert np.abs(h.T @ (times * psi)).max() < 1e-4


@pytest.mark.parametrize("rows", [1, 2, 7, 50, 51])
def test_weighted_median_is_numpys_of_the_repeated(rows: int) -> None:
    rng = np.random.default_rng(rows)
    for _ in range(40):
        values, times = rng.integers(0, 9, rows) / 4, rng.integers(0, 4, rows)
        times[0] += 1
        repeated = np.repeat(values, times)
        assert weighted_median(values, times.astype(float)) == np.median(repeated)
        assert weighted_median(values, times / 10) == np.median(repeated)


def test_sizes_of_residuals_go_by_the_weights(monkeypatch: pytest.MonkeyPatch) -> None:
    samples, times = _surface_samples(4)
    axes = surface([0, 3, 6], [0, 20, 40]).axes
    values = np.linspace(0, 1, 9)
    weighted, repeated = samples.weighted(times), _repeated(samples, times)
    for loss in ("squares", "huber", "biweight"):
        assert influence(axes, weighted, values, loss, 0.3) == pytest.approx(
            influence(axes, repeated, values, loss, 0.3)
        )
    lack = lack_of_fit(axes, repeated, values)
    assert lack_of_fit(axes, weighted, values) == pytest.approx(lack)
    assert lack_of_fit(axes, samples, values) != pytest.approx(lack)
    for _ in range(2):
        ours, theirs = (spread_of(axes, s, values) for s in (weighted, repeated))
        assert ours.scale == pytest.approx(theirs.scale)
        assert ours.mean_square == pytest.approx(theirs.mean_square)
        monkeypatch.setattr(fit_residuals, "EXACT", 10)  # the median of so many is by bins


def test_outliers_keep_their_weight() -> None:
    samples, times = _surface_samples(6)
    table = surface([0, 3, 6], [0, 20, 40])
    found = residuals(table.axes, samples.weighted(times), np.zeros(9), 1.0)
    assert found.outlier_count > 3
    assert [o.weight for o in found.outliers] == [times[o.line - 1] for o in found.outliers]


def test_a_weight_of_zero_leaves_a_sample_out_and_says_so() -> None:
    x = np.linspace(0, 10, 60)
    y = 2 * x
    y[7], y[30] = 1e3, -1e3
    weights = np.ones(60)
    weights[[7, 30]] = 0
    found = fit(only(curve([0, 5, 10])), "curve", from_arrays([x], y, weights=weights))
    np.testing.assert_allclose(found.values("curve"), [0, 10, 20], atol=1e-6)
    assert found.fits["curve"].residuals.count == 58
    assert any("2 of 60 samples have the weight 0" in n for n in found.notes)
    assert found.settings["weights"] == "as given"


def test_a_weight_alone_measures_no_node() -> None:
    # One sample may count as a thousand, yet it is one; three that count as a tenth are none.
    x = np.concatenate([np.linspace(0, 5.9, 60), [9.9], [7.8, 8.0, 8.2]])
    weights = np.concatenate([np.ones(60), [1000.0], [0.1, 0.1, 0.1]])
    found = fit(only(curve([0, 2, 4, 6, 8, 10])), "curve", from_arrays([x], 2 * x, weights=weights))
    assert found.fits["curve"].state.tolist()[-2:] == [NodeState.THIN, NodeState.THIN]


@pytest.mark.parametrize(
    ("weight", "said"),
    [
        (-1.0, r"sample 6: the weight is -1, negative"),
        (np.inf, r"sample 6: the weight is inf, not finite"),
        (np.nan, r"sample 6: the weight is missing"),
    ],
)
def test_bad_weights_are_refused(weight: float, said: str) -> None:
    x = np.linspace(0, 10, 30)
    weights = np.ones(30)
    weights[5] = weight
    with pytest.raises(SamplesRefused, match=said) as told:
        fit(only(curve([0, 5, 10])), "curve", from_arrays([x], x), weights=weights)
    assert "how many samples one counts as" in told.value.remedy


def test_weights_of_nothing_or_next_to_nothing_are_refused() -> None:
    x = np.linspace(0, 10, 30)
    content, samples = only(curve([0, 5, 10])), from_arrays([x], x)
    with pytest.raises(SamplesRefused, match="every sample has the weight 0"):
        fit(content, "curve", samples, weights=np.zeros(30))
    with pytest.raises(SamplesRefused, match=r"add up to 0\.03") as told:
        fit(content, "curve", samples, weights=np.full(30, 1e-3))
    assert "divide weights" in told.value.remedy
    with pytest.raises(EditRefused, match="29 weights for 30 samples"):
        fit(content, "curve", samples, weights=np.ones(29))


def _file(folder: Path, weights: list[str]) -> Path:
    rows = [f"{n / 2},{n * 2 + (n % 3) * 0.1:.3f},{w}" for n, w in enumerate(weights)]
    path = folder / "bench.csv"
    path.write_text("\n".join(["Input,out,times", *rows]) + "\n", encoding="utf-8")
    return path


def _read(path: Path) -> Samples:
    return read_samples(path, curve([0, 5, 10]), [Choice("Input")], Choice("out"), weight="times")


@pytest.mark.parametrize(
    ("bad", "said"), [("-2", "is -2, negative"), ("", "is missing"), ("inf", "is inf, not finite")]
)
def test_a_bad_weight_is_named_by_file_column_and_line(tmp_path: Path, bad: str, said: str) -> None:
    weights = ["2"] * 21
    weights[7] = bad
    samples = _read(_file(tmp_path, weights))
    place = r"bench\.csv, column 'times', line 9: the weight "
    with pytest.raises(SamplesRefused, match=place + said):
        fit(only(curve([0, 5, 10])), "curve", samples)


def test_weights_come_from_a_column(tmp_path: Path) -> None:
    samples = _read(_file(tmp_path, [str(1 + n % 3) for n in range(21)]))
    assert samples.weight.tolist() == [1 + n % 3 for n in range(21)]
    assert samples.total == 42
    content = only(curve([0, 5, 10]))
    found = fit(content, "curve", samples)
    theirs = fit(content, "curve", _repeated(samples, samples.weight.astype(int)))
    np.testing.assert_allclose(found.values("curve"), theirs.values("curve"), atol=1e-7)
    assert found.settings["weights"] == "column times"
    page = fit_report(found)
    assert "They count as" in page
    assert "42 samples" in page
    assert "They count as" not in fit_report(theirs)


def test_units_under_test_weigh_the_same_whatever_their_samples_weigh() -> None:
    rng = np.random.default_rng(2)
    x = np.tile(np.linspace(0, 10, 50), 2)
    unit = np.repeat(["one", "two"], 50)
    y = x + np.where(unit == "two", 1.0, 0.0) + rng.normal(size=100) * 0.01
    weights = np.where(unit == "two", 8.0, 1.0)
    samples = from_arrays([x], y, specimen=unit.tolist(), weights=weights)
    found = fit(only(curve([0, 5, 10])), "curve", samples, FitOptions(**FREE))
    np.testing.assert_allclose(found.values("curve"), [0.5, 5.5, 10.5], atol=0.02)


def test_branches_of_a_sweep_take_weights() -> None:
    x = np.concatenate([np.linspace(0, 10, 100), np.linspace(10, 0, 100)])
    rising = np.arange(200) < 100
    y = x + np.where(rising, 1.0, 0.0)
    y[20:30] += 5.0  # a stretch that is not to count
    weights = np.ones(200)
    weights[20:30] = 0
    up, down = curve([0, 5, 10], id="up"), curve([0, 5, 10], id="down")
    samples = from_arrays([x], y, drive=x, weights=weights)
    options = FitOptions(loss="squares", **FREE)
    found = fit_branches(only(up, down), "up", "down", samples, options)
    np.testing.assert_allclose(found.values("up"), [1, 6, 11], atol=1e-6)
    assert found.fits["up"].residuals.weight < 100


def test_samples_left_out_need_no_weight() -> None:
    x = np.linspace(0, 12, 61)  # the last ten lie beyond the axis
    weights = np.where(x > 10, np.nan, 2.0)
    found = fit(only(curve([0, 5, 10])), "curve", from_arrays([x], x, weights=weights))
    np.testing.assert_allclose(found.values("curve"), [0, 5, 10], atol=1e-6)


def test_samples_of_one_weight_are_samples_without() -> None:
    samples, _ = _surface_samples(9)
    ones = samples.weighted(np.ones(samples.rows))
    axes = surface([0, 3, 6], [0, 20, 40]).axes
    a, b = gather_moments(axes, samples), gather_moments(axes, ones)
    for name in ("weight", "value", "nearest"):
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name))
    assert ones.total == samples.total == 240
    assert replace(ones, use=np.arange(240) < 7).total == 7
