"""Many samples: a part of them tells where to begin and how far they scatter."""

from __future__ import annotations

import numpy as np

from calib_model.shaping.fit import fit
from calib_model.shaping.samples import from_arrays
from tests.fit.making_fits import curve, only


def test_outliers_that_come_in_a_rhythm_are_outliers() -> None:
    # A sensor that is read ten times as often as another, a pulse once a revolution: the part
    # that is looked at first must not be all of one phase.  The order of samples says nothing,
    # so the same ones shuffled give the same curve.
    rng, period = np.random.default_rng(4), 10
    count = 20_000 * period  # a part of 20,000 would be every outlier there is
    table = curve([0, 1, 2.5, 4, 7, 10])
    truth = np.array([0.0, 1.0, 1.5, 3.0, 4.0, 8.0])
    x = rng.uniform(0, 10, count)
    y = np.interp(x, table.axes[0].values, truth) + rng.normal(size=count) * 0.2
    y[::period] += 5
    order = rng.permutation(count)
    found = fit(only(table), "curve", from_arrays([x], y)).values("curve")
    other = fit(only(table), "curve", from_arrays([x[order]], y[order])).values("curve")
    # Huber's loss lets a share p of far outliers pull by about 1.345 p / (1 - p) of the noise.
    pull = 1.345 * 0.2 / (period - 1)
    assert np.abs(found - truth).max() < 1.5 * pull + 0.005
    assert np.abs(found - other).max() < 0.005


def test_a_thinned_part_is_spread_evenly_and_the_same_every_time() -> None:
    x = np.arange(1000.0)
    samples = from_arrays([x], x).weighted(x + 1)
    samples.use[:100] = False
    part, again = samples.thinned(90), samples.thinned(90)
    assert np.array_equal(part.values, again.values)
    assert len(part) == part.rows == 90
    assert np.array_equal(part.values, part.points[0])
    assert np.array_equal(part.weight, part.values + 1)
    assert ((part.values - 100) // 10 == np.arange(90)).all()
    assert len(np.unique(part.values % 10)) == 10
    everything = samples.thinned(1000)
    assert np.array_equal(everything.values, x[100:])
