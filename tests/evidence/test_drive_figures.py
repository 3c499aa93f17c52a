"""Statistics along a drive, against numpy and pandas."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.evidence.statistics import PERCENTILES, entered, figures, time_per_role

FINITE = st.floats(-1e9, 1e9)


@given(st.lists(st.one_of(FINITE, st.just(float("nan"))), min_size=1, max_size=200))
def test_figures_are_those_of_pandas(values: list[float]) -> None:
    # Outside check: pandas leaves NaN out and interpolates percentiles linearly.
    series = pd.Series(values, dtype=np.float64)
    time = np.arange(len(values)) * 0.02
    found = figures(time, series.to_numpy())
    assert found.count == series.count()
    if not found.count:
        assert np.isnan([found.low, found.mean, found.high_at, found.percentiles[50.0]]).all()
        return
    assert (found.low, found.high) == (series.min(), series.max())
    assert found.mean == pytest.approx(series.mean(), rel=1e-9, abs=1e-6)
    assert (found.low_at, found.high_at) == (time[series.idxmin()], time[series.idxmax()])
    for percent in PERCENTILES:
        expected = series.quantile(percent / 100)
        assert found.percentiles[percent] == pytest.approx(expected, rel=1e-9, abs=1e-6)


def test_ticks_that_do_not_count_are_left_out() -> None:
    found = figures(np.arange(4.0), np.array([1.0, 99, 3, np.inf]), np.array([1, 0, 1, 1], bool))
    assert (found.count, found.low, found.high, found.high_at) == (2, 1.0, 3.0, 2.0)
    assert found.percentiles[50.0] == 2.0


def test_time_per_role_by_hand() -> None:
    governing = np.array([0, 0, 2, -1, 2, 2, 1])
    valid = np.array([1, 1, 1, 1, 1, 1, 0], dtype=bool)
    found = time_per_role(governing, valid, 0.5, ("a", "b", "c"))
    assert list(found.items()) == [("c", 1.5), ("a", 1.0)]


def test_a_state_first_seen_after_a_gap_was_not_entered() -> None:
    state = np.array([0, 1, 1, 0, 0, 1, 1, 0], dtype=bool)
    valid = np.array([1, 1, 1, 1, 0, 1, 1, 1], dtype=bool)
    assert entered(state, valid) == 1
    assert entered(state, np.ones(8, dtype=bool)) == 2
    assert entered(state[:1], valid[:1]) == 0
