"""Faults in stamps and samples: all that are planted are found, nothing else, nothing filled in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib_model.evidence.cleaning import BOUNDS, MOST_LISTED, check_samples, clean_stamps
from calib_model.evidence.recording import (
    BACKWARD,
    DROP_OUT,
    DUPLICATE,
    FROZEN,
    GAP,
    NO_STAMP,
    OUT_OF_RANGE,
)


def told(faults: object) -> list[tuple[str, float, float, int]]:
    return [(f.kind, round(f.start_s, 6), round(f.end_s, 6), f.count) for f in faults]  # type: ignore[attr-defined]


def test_clean_stamps_are_left_alone() -> None:
    time = np.arange(1000) * 0.01
    found = clean_stamps(time)
    assert found.keep is None
    assert found.faults == ()
    assert found.time is time or np.shares_memory(found.time, time)
    assert found.period == pytest.approx(0.01)


def test_jitter_is_no_fault() -> None:
    rng = np.random.default_rng(1)
    time = np.arange(5000) * 0.01 + rng.uniform(-0.004, 0.004, 5000)
    assert clean_stamps(time).faults == ()


def test_each_kind_of_bad_stamp() -> None:
    time = np.arange(100) * 0.1
    bad = np.insert(time, 21, [2.0, 2.0])  # 2.0 is there at 20 already
    bad[50] = 0.35  # fell back, to a moment nobody has
    bad[70] = 99.0  # ran ahead
    bad[80] = np.nan
    bad = np.delete(bad, slice(90, 95))
    found = clean_stamps(bad)
    assert told(found.faults)[1:] == [
        (BACKWARD, 0.35, 0.35, 1),
        (DUPLICATE, 2.0, 2.0, 2),
        (GAP, 8.7, 9.3, 0),
        (BACKWARD, 99.0, 99.0, 1),
    ]
    assert (found.faults[0].kind, found.faults[0].count) == (NO_STAMP, 1)
    assert np.all(np.diff(found.time) > 0)
    assert found.keep is not None
    np.testing.assert_array_equal(bad[found.keep], found.time)
    assert 21 not in found.keep
    assert 20 in found.keep


@given(
    data=st.data(),
    n=st.integers(60, 300),
)
def test_planted_stamps_are_found_exactly_and_order_is_restored(
    data: st.DataObject, n: int
) -> None:
    step = 0.02
    time = np.round(np.arange(n) * step, 6)
    # Places apart, so that faults do not touch each other.
    places = data.draw(
        st.lists(st.integers(1, n // 12 - 1), unique=True, max_size=4).map(sorted), label="places"
    )
    stamps = time.tolist()
    expected: list[tuple[str, float, float, int]] = []
    shift = 0
    for place in places:
        at = place * 12 + shift
        kind = data.draw(st.sampled_from([DUPLICATE, BACKWARD, GAP]), label="kind")
        if kind == DUPLICATE:
            count = data.draw(st.integers(1, 3))
            stamps[at + 1 : at + 1] = [stamps[at]] * count
            shift += count
            expected.append((DUPLICATE, stamps[at], stamps[at], count))
        elif kind == BACKWARD:
            # Off the raster, so that it equals no other stamp.
            off = data.draw(st.sampled_from([-7.001, -0.333, 0.617, 50.003]))
            stamps[at] = round(stamps[at] + off, 6)
            expected.append((BACKWARD, stamps[at], stamps[at], 1))
        else:
            count = data.draw(st.integers(3, 6))
            before, after = stamps[at], stamps[at + count + 1]
            del stamps[at + 1 : at + count + 1]
            shift -= count
            expected.append((GAP, before, after, 0))
    found = clean_stamps(stamps)
    assert sorted(told(found.faults)) == sorted(expected)
    assert np.all(np.diff(found.time) > 0)
    assert set(found.time.tolist()) <= set(time.tolist())


@given(st.lists(st.one_of(st.floats(-1e6, 1e6), st.just(float("nan"))), max_size=60))
def test_any_stamps_give_a_strictly_increasing_choice_of_them(stamps: list[float]) -> None:
    found = clean_stamps(stamps)
    raw = np.asarray(stamps, dtype=float)
    kept = raw if found.keep is None else raw[found.keep]
    np.testing.assert_array_equal(found.time, kept)
    assert np.all(np.diff(found.time) > 0)
    lost = sum(f.count for f in found.faults)
    assert lost + found.time.size == raw.size


def test_of_stamps_out_of_order_as_few_as_possible_are_lost() -> None:
    # The longest increasing run, by trying all choices of a short list.
    rng = np.random.default_rng(5)
    for _ in range(60):
        stamps = rng.integers(0, 9, 9).astype(float)
        best = 0
        for choice in range(1 << 9):
            picked = stamps[[i for i in range(9) if choice >> i & 1]]
            if picked.size > best and np.all(np.diff(picked) > 0):
                best = picked.size
        assert clean_stamps(stamps).time.size == best


def test_a_clock_that_stands_still_is_listed_once() -> None:
    time = np.arange(200) * 0.01
    time[100:150] = time[100]
    found = clean_stamps(time)
    assert (found.faults[0].kind, found.faults[0].count) == (DUPLICATE, 49)


def test_a_clock_set_back_onto_stamps_that_were_there_is_no_duplicate() -> None:
    time = np.arange(300) * 0.01
    stamps = np.concatenate([time[:201], time[100:]])  # from 2 s back to 1 s, and on
    found = clean_stamps(stamps)
    assert told(found.faults) == [(BACKWARD, 1.0, 2.0, 101)]
    np.testing.assert_array_equal(found.time, time)
    # The clock stands still, then falls back: one of each.
    stamps = np.concatenate([time[:101], [1.0, 1.0], time[50:101], [1.0], time[101:]])
    assert told(clean_stamps(stamps).faults) == [(BACKWARD, 0.5, 1.0, 52), (DUPLICATE, 1.0, 1.0, 2)]


def test_samples_that_come_irregularly_have_no_gaps() -> None:
    rng = np.random.default_rng(2)
    time = np.cumsum(rng.exponential(1.0, 500))
    found = clean_stamps(time)
    assert np.isnan(found.period)
    assert found.faults == ()


# -- samples --------------------------------------------------------------------------------


def drive(n: int = 4000, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """A speed in km/h at 50 Hz, rounded as a sensor does."""
    rng = np.random.default_rng(seed)
    time = np.arange(n) * 0.02
    speed = 60 + 25 * np.sin(time / 7) + 8 * np.sin(time / 1.9) + rng.normal(0, 0.05, n)
    return time, np.round(speed / 0.05) * 0.05


PLANTS = {
    "zero": 0.0,
    "no number": float("nan"),
    "filler": 327.67,
    "infinite": float("inf"),
}


@given(
    place=st.integers(10, 3900),
    count=st.integers(1, 40),
    what=st.sampled_from(sorted(PLANTS)),
    seed=st.integers(0, 20),
)
def test_a_planted_drop_out_is_found_exactly(place: int, count: int, what: str, seed: int) -> None:
    time, speed = drive(seed=seed)
    faulty = speed.copy()
    faulty[place : place + count] = PLANTS[what]
    valid, faults = check_samples(time, faulty, "km/h")
    assert told(faults) == [
        (DROP_OUT, round(time[place], 6), round(time[place + count - 1], 6), count)
    ]
    assert valid is not None
    np.testing.assert_array_equal(np.flatnonzero(~valid), np.arange(place, place + count))
    # Peaks are those of the untouched samples.
    assert faulty[valid].max() == np.delete(speed, slice(place, place + count)).max()


@given(
    place=st.integers(10, 3700), seconds=st.floats(1.5, 5.0), seed=st.integers(0, 20)
)  # fmt: skip
def test_a_signal_that_freezes_for_seconds_is_found_exactly(
    place: int, seconds: float, seed: int
) -> None:
    time, speed = drive(seed=seed)
    count = round(seconds / 0.02)
    held = speed.copy()
    held[place : place + count] = held[place - 1]
    # Where it comes back to the very value, or had it before, the hold is longer.
    while held[place] == held[place - 2]:
        place -= 1
    end = place + count
    while end < held.size and held[end] == held[place]:
        end += 1
    valid, faults = check_samples(time, held, "km/h")
    (fault,) = faults
    assert fault.kind == FROZEN
    assert fault.start_s == pytest.approx(time[place], abs=1e-9)
    assert valid is not None
    assert valid[: place - 1].all()
    assert not valid[place : place + count].any()
    assert "stands still at" in fault.words


def test_a_smooth_signal_has_frozen_if_it_leaps_afterwards() -> None:
    time = np.arange(4000) * 0.02
    speed = np.round(60 + 25 * np.sin(time / 7), 3)
    speed[1000:1200] = speed[999]
    valid, (fault,) = check_samples(time, speed, "km/h")
    assert (fault.kind, fault.count) == (FROZEN, 200)
    assert valid is not None
    np.testing.assert_array_equal(np.flatnonzero(~valid), np.arange(1000, 1200))


def test_what_holds_a_value_for_good_reason_is_not_frozen() -> None:
    rng = np.random.default_rng(3)
    time, speed = drive()
    stop = speed.copy()
    stop[1000:1800] = 0.0  # standstill
    saturated = np.minimum(speed, 80.0)
    pedal = np.round(np.repeat(rng.uniform(5, 60, 40), 100) + 0.0, 1)  # held by the driver
    offset = np.round(rng.normal(0, 2, time.size), 2)
    offset[500:900] = offset[2000:2500] = 0.12  # a sensor's offset, at every stop
    slow = np.round(20 + 5 * np.sin(time / 40), 1)
    cruise = np.round(60 + 25 * np.clip(np.sin(time / 9), -0.8, 0.8) + 1e-3 * time, 2)
    for values in (speed, stop, saturated, pedal, offset, slow, cruise):
        assert check_samples(time, values, "")[1] == ()


def test_clean_signals_have_no_drop_outs() -> None:
    time, speed = drive()
    assert check_samples(time, speed, "km/h") == (None, ())
    switch = (np.sin(time / 3) > 0.9).astype(float)
    assert check_samples(time, switch, "0/1") == (None, ())
    short = np.zeros(time.size)
    short[500:506] = 1.0  # a switch pressed for an instant
    assert check_samples(time, short, "-") == (None, ())
    gear = np.repeat(np.arange(1.0, 6.0), time.size // 5)
    assert check_samples(time, gear, "-") == (None, ())
    still = np.full(time.size, 20.0)
    assert check_samples(time, still, "degC") == (None, ())
    # A torque that jumps on and falls within its slew: 60 N.m in a tick.
    torque = np.clip(np.round(200 * np.sin(time / 2) + 3000 * (np.sin(time) > 0.8)), 0, 60)
    assert check_samples(time, torque, "N.m") == (None, ())
    wheel = speed.copy()
    wheel[2000:2030] += np.linspace(0, 40, 30)  # a wheel spins up on ice: 100 km/h per second
    wheel[2030:2060] += np.linspace(40, 0, 30)
    assert check_samples(time, wheel, "km/h") == (None, ())


def test_a_spike_of_a_sample_is_told() -> None:
    time, speed = drive()
    speed[700] = 140.0
    _, faults = check_samples(time, speed, "km/h")
    assert told(faults) == [(DROP_OUT, 14.0, 14.0, 1)]
    assert "a jump to 140" in faults[0].words


def test_values_no_vehicle_reaches() -> None:
    time, speed = drive()
    speed[100:103] = 655.35
    valid, faults = check_samples(time, speed, "km/h")
    assert told(faults) == [(OUT_OF_RANGE, 2.0, 2.04, 3)]
    assert valid is not None
    assert np.count_nonzero(~valid) == 3
    assert BOUNDS["km/h"][1] < 655.35


def test_a_long_filler_of_a_slow_channel() -> None:
    time = np.arange(400.0)
    ambient = np.round(-8 + time / 200, 1)
    ambient[100:160] = 215.0  # far longer than a jump and back
    valid, faults = check_samples(time, ambient, "degC")
    assert valid is not None
    np.testing.assert_array_equal(np.flatnonzero(~valid), np.arange(100, 160))
    assert "held at 215" in faults[0].words


def test_marks_of_the_file_itself_count() -> None:
    time, speed = drive(100)
    invalid = np.zeros(100, dtype=bool)
    invalid[7] = True
    valid, faults = check_samples(time, speed, "km/h", invalid)
    assert valid is not None
    assert not valid[7]
    assert faults[0].count == 1


def test_very_many_faults_are_summed_up() -> None:
    time, speed = drive(4000)
    speed[::4] = np.nan
    _, faults = check_samples(time, speed, "km/h")
    assert len(faults) == MOST_LISTED + 1
    assert sum(f.count for f in faults) == 1000
    assert "more samples at 800 places" in " ".join(f.words for f in faults)
