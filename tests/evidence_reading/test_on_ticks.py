"""Samples on the controller's ticks, against pandas' merge_asof and reindex."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.controller.constants import LARCH
from calib_model.controller.inputs import INPUT_INDEX
from calib_model.errors import ModelError, UnitProblem
from calib_model.evidence.mapping import ChannelMap, Constant, FromChannel
from calib_model.evidence.recording import Channel, Recording
from calib_model.evidence.ticks import IRREGULAR_HOLD, on_ticks

SPEED = ChannelMap({"vehicle_speed": FromChannel("v")})


def channel(
    time: np.ndarray, values: np.ndarray, name: str = "v", unit: str = "km/h", period: float = 0.01,
    valid: np.ndarray | None = None,
) -> Channel:  # fmt: skip
    good = np.ones(time.size, dtype=bool) if valid is None else valid
    return Channel(name, unit, time, values, good, "", period)


def recorded(*channels: Channel) -> Recording:
    return Recording("r", "", {c.name: c for c in channels})


@given(
    steps=st.lists(st.integers(1, 60), min_size=2, max_size=200),
    tick=st.integers(1, 40),
    hold=st.integers(1, 80),
)
def test_held_samples_are_those_of_pandas_merge_asof(
    steps: list[int], tick: int, hold: int
) -> None:
    # merge_asof takes the last row at or before a key, within a tolerance, both ends included.
    stamps = np.cumsum(steps)
    values = np.arange(stamps.size, dtype=float)
    ticks = on_ticks(
        recorded(channel(stamps / 1000, values)), SPEED, LARCH, tick / 1000, hold_s=hold / 1000
    )
    keys = stamps[0] + tick * np.arange(ticks.time.size)
    expected = pd.merge_asof(
        pd.DataFrame({"t": keys}), pd.DataFrame({"t": stamps, "v": values}), on="t", tolerance=hold
    )["v"].to_numpy()
    np.testing.assert_array_equal(ticks.input("vehicle_speed"), expected)
    np.testing.assert_array_equal(ticks.valid, np.isfinite(expected))


def test_held_samples_are_those_of_pandas_reindex_with_a_tolerance() -> None:
    rng = np.random.default_rng(3)
    stamps = np.cumsum(rng.integers(8, 13, 3000))
    stamps = stamps[(stamps < 9000) | (stamps > 11000)]
    values = rng.normal(size=stamps.size)
    series = pd.Series(values, index=stamps)
    ticks = on_ticks(recorded(channel(stamps / 1000, values)), SPEED, LARCH, 0.02)
    keys = stamps[0] + 20 * np.arange(ticks.time.size)
    expected = series.reindex(keys, method="ffill", tolerance=25).to_numpy()
    np.testing.assert_array_equal(ticks.input("vehicle_speed"), expected)
    assert 95 <= np.count_nonzero(~ticks.valid) <= 105  # the gap of 2 s


def test_a_lost_sample_is_bridged_by_the_one_before_and_a_longer_loss_is_not() -> None:
    time = np.arange(100) * 0.02
    values = np.arange(100.0)
    valid = np.ones(100, dtype=bool)
    valid[[10, 40, 41, 42, 43, 44]] = False
    ticks = on_ticks(recorded(channel(time, values, period=0.02, valid=valid)), SPEED, LARCH, 0.02)
    speed = ticks.input("vehicle_speed")
    assert speed[10] == 9
    # 2.5 periods are 50 ms: two ticks live on the last good sample, the others are masked.
    np.testing.assert_array_equal(np.flatnonzero(np.isnan(speed)), [42, 43, 44])
    assert any("held for at most 0.05 s" in r for r in ticks.remarks)


def test_nothing_is_interpolated() -> None:
    time = np.arange(0, 10, 0.5)
    values = np.where(np.arange(20) % 2, 10.0, 50.0)
    ticks = on_ticks(recorded(channel(time, values, period=0.5)), SPEED, LARCH, 0.02)
    assert set(np.unique(ticks.input("vehicle_speed"))) == {10.0, 50.0}


def test_irregular_samples_count_for_a_stated_time() -> None:
    time = np.array([0.0, 0.1, 5.0, 9.0])
    ticks = on_ticks(recorded(channel(time, np.arange(4.0), period=np.nan)), SPEED, LARCH, 0.02)
    last = np.flatnonzero(ticks.input("vehicle_speed") == 1.0)[-1]
    assert ticks.time[last] == pytest.approx(0.1 + IRREGULAR_HOLD)
    assert any(f"{IRREGULAR_HOLD:g} s" in r for r in ticks.remarks)


def test_units_signs_constants_and_own_signals() -> None:
    time = np.arange(50) * 0.02
    recording = recorded(
        channel(time, np.full(50, 10.0), "v", "m/s", 0.02),
        channel(time, np.full(50, 3.0), "yaw", "deg/s", 0.02),
        channel(time, np.full(50, 0.5), "clamp", "kN", 0.02),
        channel(time, np.full(50, 7.0), "bare", "", 0.02),
    )
    mapped = ChannelMap(
        {
            "vehicle_speed": FromChannel("v"),
            "yaw_rate": FromChannel("yaw", factor=-1.0),
            "controller.clamp": FromChannel("clamp"),
            "pedal": FromChannel("bare"),
            "ambient_temperature": Constant(14.0, "degF"),
        }
    )
    ticks = on_ticks(recording, mapped, LARCH)
    assert ticks.tick_s == LARCH.tick
    assert ticks.input("vehicle_speed")[5] == pytest.approx(36.0)
    assert ticks.input("yaw_rate")[5] == -3.0
    assert ticks.input("ambient_temperature")[5] == pytest.approx(-10.0)
    assert ticks.signals["clamp"][5] == 500.0
    assert set(ticks.signals) == {"clamp"}
    # Lateral acceleration from speed and yaw rate: v times the rate in rad/s.
    assert ticks.input("lateral_acceleration")[5] == pytest.approx(10 * np.radians(-3.0))
    assert np.isnan(ticks.inputs[:, INPUT_INDEX["clamp"]]).all()
    text = " ".join(ticks.remarks)
    assert "−10 °C is taken throughout" in text
    assert "state no unit: bare (%)" in text
    assert "lateral acceleration is derived" in text


def test_axle_difference_and_speed_come_from_the_wheels() -> None:
    time = np.arange(50) * 0.02
    speeds = {"fl": 21.0, "fr": 23.0, "rl": 19.0, "rr": 21.0}
    recording = recorded(
        *(channel(time, np.full(50, v), f"w_{c}", "km/h", 0.02) for c, v in speeds.items())
    )
    mapped = ChannelMap({f"wheel_speed_{c}": FromChannel(f"w_{c}") for c in speeds})
    ticks = on_ticks(recording, mapped, LARCH)
    assert ticks.input("vehicle_speed")[0] == 20.0
    # 2 km/h at the tread is 2 / 3.6 / 0.335 rad/s at the wheel, times 2.6 at the shaft.
    assert ticks.input("axle_speed_difference")[0] == pytest.approx(2 / 3.6 / 0.335 * 2.6)
    assert {"vehicle_speed", "axle_speed_difference"} <= set(ticks.present)


def test_what_does_not_fit_is_refused_by_name() -> None:
    time = np.arange(5) * 0.02
    recording = recorded(channel(time, np.zeros(5), "v", "degC", 0.02))
    with pytest.raises(UnitProblem, match=r"Channel 'v' for vehicle_speed"):
        on_ticks(recording, SPEED, LARCH)
    with pytest.raises(ModelError, match="no channel 'w'"):
        on_ticks(recording, ChannelMap({"pedal": FromChannel("w")}), LARCH)
    far = recorded(channel(time, np.zeros(5)), channel(time + 1e9, np.zeros(5), "other"))
    with pytest.raises(ModelError, match="do not belong"):
        on_ticks(far, SPEED, LARCH)


def test_a_part_of_a_recording() -> None:
    time = np.arange(1000) * 0.01
    ticks = on_ticks(recorded(channel(time, time * 10)), SPEED, LARCH, 0.02, start_s=2.0, end_s=3.0)
    assert ticks.time[0] == 2.0
    assert ticks.time.size == 51
    assert ticks.input("vehicle_speed")[0] == pytest.approx(20.0)
