"""The shipped recordings: every planted fault is found and no other; peaks are the true ones."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from calib_model.controller.constants import LARCH
from calib_model.controller.outputs import CONNECTED, DISCONNECTED, SPIN_UP
from calib_model.core.canonical import digest
from calib_model.core.roles import ROLES
from calib_model.evidence.mapping import Constant, suggest
from calib_model.evidence.reading import read_recording
from calib_model.evidence.recording import Recording
from calib_model.evidence.ticks import on_ticks
from sample_sets import recordings
from sample_sets.sets import normal

FOLDER = Path(recordings.__file__).parent
MADE = {
    recordings.SNOW_FILE: recordings.snow_round,
    recordings.HIGHWAY_FILE: recordings.highway,
}


@cache
def made(name: str) -> recordings.Made:
    return MADE[name](normal())


@cache
def read(name: str) -> Recording:
    return read_recording(FOLDER / name)


def per_channel(faults: Any) -> set[tuple[str, str, float, float, int]]:
    """A row per fault and channel it is in."""
    return {
        (f.kind, channel, round(f.start_s, 3), round(f.end_s, 3), f.count)
        for f in faults
        for channel in f.channels
    }


@pytest.mark.parametrize("name", MADE)
def test_every_planted_fault_is_listed_and_nothing_else(name: str) -> None:
    planted = per_channel(made(name).planted)
    kinds = {kind for kind, *_ in planted}
    assert kinds == {"gap", "duplicate stamp", "backward stamp", "drop-out", "out of range"}
    assert per_channel(read(name).faults) == planted


@pytest.mark.parametrize("name", MADE)
def test_peaks_are_right_because_faults_are_masked(name: str) -> None:
    truth = made(name)
    spoiled = 0
    for channel in read(name).channels.values():
        low, high = truth.peak(channel.name)
        np.testing.assert_allclose(channel.extremes, (low, high), rtol=1e-6, atol=1e-6,
                                   err_msg=channel.name)  # fmt: skip
        written = truth.values[channel.name]
        spoiled += float(np.nanmax(written)) > high + 1e-3
    assert spoiled >= 1  # without the masks at least one peak would be wrong


@pytest.mark.parametrize("name", MADE)
def test_samples_that_are_kept_are_those_of_the_drive(name: str) -> None:
    truth = made(name)
    for channel in read(name).channels.values():
        time, values = truth.clean[channel.name]
        place = np.searchsorted(time, channel.time - 1e-6)
        np.testing.assert_allclose(time[place], channel.time, atol=1e-6)
        good = channel.valid
        np.testing.assert_allclose(channel.values[good], values[place][good], rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("name", MADE)
def test_the_files_are_what_the_script_makes(name: str) -> None:
    if name == recordings.SNOW_FILE:
        assert (FOLDER / name).read_text("utf-8") == recordings.snow_text(made(name))
    recording = read(name)
    assert recording.vehicle_set_digest == digest(normal())
    assert recording.start.startswith("2026-")
    assert (FOLDER / name).stat().st_size < 3 << 20


@pytest.mark.parametrize("name", MADE)
def test_every_input_is_found_by_name(name: str) -> None:
    mapped = suggest(read(name))
    assert mapped.missing == ()
    assert set(mapped.constants) == {"shaft_synchronised"}
    assert mapped.get("shaft_synchronised") == Constant(-1.0)
    assert mapped.problems(read(name)) == {}
    ticks = on_ticks(read(name), mapped, LARCH)
    assert {"torque", "clamp", "current"} <= set(ticks.signals)
    assert ticks.valid.mean() > 0.95


def deciding(name: str) -> dict[str, np.ndarray]:
    """Ticks at which each table decided along the clean drive."""
    run = made(name).run
    return {ROLES[n]: run.governing == n for n in np.unique(run.governing) if n >= 0}


def test_the_snowy_round_holds_what_it_is_for() -> None:
    run, by = made(recordings.SNOW_FILE).run, deciding(recordings.SNOW_FILE)
    ambient, speed = run.input("ambient_temperature"), run.input("vehicle_speed")
    pre = by["pre_engage_torque"]
    assert np.count_nonzero(pre & (ambient < -10)) > 50
    assert np.count_nonzero(pre & (ambient > -6.5)) > 50
    turn = by["steering_limit"] & (np.abs(run.input("steering_angle")) > 480) & (speed < 10)
    assert np.count_nonzero(turn) * 0.02 > 10
    assert np.count_nonzero(by["slip_gain"]) * 0.02 > 1
    assert np.count_nonzero(by["hill_torque"] & (run.input("grade") > 8)) * 0.02 > 2
    assert np.count_nonzero(by["brake_control_torque"]) * 0.02 > 0.5
    assert set(run.output("state")) == {CONNECTED}


def test_the_highway_run_disconnects_and_a_kick_down_connects_again() -> None:
    run = made(recordings.HIGHWAY_FILE).run
    state, pedal = run.output("state"), run.input("pedal")
    spins = np.flatnonzero(np.diff((state == SPIN_UP).astype(int)) == 1)
    assert np.count_nonzero(state == DISCONNECTED) * 0.02 > 60
    kick = [n for n in spins if pedal[n : n + 50].max() > 90]
    assert len(kick) == 1
    assert run.input("vehicle_speed")[kick[0]] > 100
    assert state[kick[0] + 60] == CONNECTED
    assert len(spins) >= 2  # the exit connects by speed
