"""What is drawn over time: spans, runs, few points that lose no peak.

Spans and runs are held against pandas, the envelope against numpy's own extremes.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.road.recordings.head import after_seconds, next_change, next_moment, trail_of
from app.road.recordings.scene import Scene, envelope, runs_of, spans_of

FLAGS = st.lists(st.booleans(), min_size=1, max_size=60)


@given(FLAGS)
def test_spans_are_the_runs_that_pandas_finds(flags: list[bool]) -> None:
    time = np.arange(len(flags)) * 0.02
    found = spans_of(time, np.array(flags))
    series = pd.Series(flags)
    groups = (series != series.shift()).cumsum()
    wanted = [
        (time[part.index[0]], time[min(part.index[-1] + 1, len(flags) - 1)])
        for _, part in series.groupby(groups)
        if part.iloc[0]
    ]
    assert found.shape == (len(wanted), 2)
    np.testing.assert_array_equal(found, np.array(wanted).reshape(-1, 2))


@given(st.lists(st.integers(-1, 3), min_size=1, max_size=80))
def test_runs_begin_where_a_value_differs_from_the_one_before(codes: list[int]) -> None:
    series = pd.Series(codes)
    assert runs_of(np.array(codes)).tolist() == series.index[series != series.shift()].tolist()


@given(st.integers(0, 2**32 - 1), st.integers(60, 400))
def test_an_envelope_loses_no_peak_and_keeps_gaps(seed: int, columns: int) -> None:
    rng = np.random.default_rng(seed)
    time = np.arange(20_000) * 0.02
    values = rng.normal(size=time.size)
    values[7000:9000] = np.nan
    low, high = np.sort(rng.uniform(0, time[-1], 2))
    x, y = envelope(time, values, low, high, columns)
    inside = (time >= low) & (time <= high) & np.isfinite(values)
    if inside.any():
        assert np.nanmax(y) >= values[inside].max()
        assert np.nanmin(y) <= values[inside].min()
    assert np.all(np.diff(x) >= 0)
    assert x.size <= 4 * columns + 8
    if low < time[6500] and high > time[9500]:
        assert np.isnan(y[(x > time[7400]) & (x < time[8600])]).all()


def test_few_points_are_drawn_as_they_are() -> None:
    time = np.arange(100) * 1.0
    x, y = envelope(time, time**2, 10.0, 20.0, 200)
    np.testing.assert_array_equal(x, np.arange(9.0, 22.0))
    np.testing.assert_array_equal(y, x**2)


def test_the_nearest_tick_is_found() -> None:
    scene = Scene(np.array([0.0, 1.0, 2.0, 4.0]))
    assert [scene.tick_at(t) for t in (-5, 0.4, 0.6, 2.9, 3.1, 99)] == [0, 0, 1, 2, 3, 3]


@pytest.mark.parametrize(
    ("tick", "seconds", "wanted"),
    [(0, 1.0, 50), (0, -1.0, 0), (100, -1.0, 50), (140, 10.0, 149), (75, 0.1, 80)],
)
def test_steps_by_seconds_stay_within_the_drive(tick: int, seconds: float, wanted: int) -> None:
    time = np.arange(150) * 0.02
    assert after_seconds(time, tick, seconds) == wanted


def test_changes_of_what_governs_are_found_both_ways() -> None:
    codes = np.array([-1, -1, 3, 3, 3, 5, 5, -1])
    assert [next_change(codes, t, +1) for t in (0, 2, 4, 5, 7)] == [2, 5, 5, 7, None]
    assert [next_change(codes, t, -1) for t in (0, 1, 2, 4, 7)] == [None, 0, 0, 2, 5]


def test_the_next_of_some_moments_skips_unknown_ones() -> None:
    starts = np.array([9.0, 2.0, np.nan, 5.0])
    assert next_moment(starts, 2.0, +1) == 5.0
    assert next_moment(starts, 2.0, -1) is None
    assert next_moment(starts, 20.0, -1) == 9.0


def test_a_trail_ends_with_the_present_and_stays_thin() -> None:
    time = np.arange(5000) * 0.02
    part = trail_of(time, 4000, seconds=6.0, most=100)
    ticks = np.arange(5000)[part]
    assert ticks[-1] == 4000
    assert ticks.size <= 102
    assert time[ticks[0]] == pytest.approx(time[4000] - 6.0, abs=0.1)
