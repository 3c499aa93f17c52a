"""The shipped recordings: every planted fault is found and no other; peaks are the true ones.

The truth is the clean samples kept beside the files.  What the script makes anew is held to them
within half a step only: numpy's elementary functions, and the C library's, differ in the last bit
from one processor to another, so that a value at a rounding edge falls to either side.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest

from calib_model.controller.constants import LARCH
from calib_model.controller.law import Run
from calib_model.controller.outputs import CONNECTED, DISCONNECTED, SPIN_UP
from calib_model.core.canonical import digest
from calib_model.core.roles import ROLES
from calib_model.evidence.mapping import Constant, suggest
from calib_model.evidence.reading import read_recording
from calib_model.evidence.recording import Recording
from calib_model.evidence.ticks import on_ticks
from sample_sets import recordings
from sample_sets.clean_drive import clean_recording, law_along
from sample_sets.sets import normal

FOLDER = Path(recordings.__file__).parent
FILES = tuple(recordings.RECIPES)
truth_of = cache(recordings.kept)


@cache
def clean_run(name: str) -> Run:
    """The law along the kept drive, before any fault was planted."""
    clean = clean_recording(recordings.kept_samples(name), recordings.RECIPES[name].columns)
    return law_along(clean, normal())[0]


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


@pytest.mark.parametrize("name", FILES)
def test_every_planted_fault_is_listed_and_nothing_else(name: str) -> None:
    planted = per_channel(truth_of(name).planted)
    kinds = {kind for kind, *_ in planted}
    assert kinds == {"gap", "duplicate stamp", "backward stamp", "drop-out", "out of range"}
    assert per_channel(read(name).faults) == planted


@pytest.mark.parametrize("name", FILES)
def test_peaks_are_right_because_faults_are_masked(name: str) -> None:
    truth = truth_of(name)
    spoiled = 0
    for channel in read(name).channels.values():
        low, high = truth.peak(channel.name)
        np.testing.assert_allclose(channel.extremes, (low, high), rtol=1e-6, atol=1e-6,
                                   err_msg=channel.name)  # fmt: skip
        written = truth.values[channel.name]
        spoiled += float(np.nanmax(written)) > high + 1e-3
    assert spoiled >= 1  # without the masks at least one peak would be wrong


@pytest.mark.parametrize("name", FILES)
def test_samples_that_are_kept_are_those_of_the_drive(name: str) -> None:
    truth = truth_of(name)
    for channel in read(name).channels.values():
        time, values = truth.clean[channel.name]
        place = np.searchsorted(time, channel.time - 1e-6)
        np.testing.assert_allclose(time[place], channel.time, atol=1e-6)
        good = channel.valid
        np.testing.assert_allclose(channel.values[good], values[place][good], rtol=1e-6, atol=1e-6)


@pytest.mark.parametrize("name", FILES)
def test_the_files_are_the_kept_samples_with_the_faults_planted(name: str, tmp_path: Path) -> None:
    path, set_digest = FOLDER / name, digest(normal())
    if name == recordings.SNOW_FILE:
        assert path.read_text("utf-8") == recordings.snow_text(truth_of(name), set_digest)
    else:
        (tmp_path / name).write_bytes(recordings.highway_image(truth_of(name), set_digest))
        with h5py.File(path) as shipped, h5py.File(tmp_path / name) as again:
            assert set(shipped) == set(again)
            assert dict(shipped.attrs) == dict(again.attrs)
            for column in shipped:
                np.testing.assert_array_equal(shipped[column][:], again[column][:], column)
    recording = read(name)
    assert recording.vehicle_set_digest == set_digest
    assert recording.start.startswith("2026-")
    assert path.stat().st_size < 3 << 20


@pytest.mark.parametrize("name", FILES)
def test_the_kept_samples_are_what_the_script_makes(name: str) -> None:
    kept = recordings.kept_samples(name)
    drive = recordings.RECIPES[name].drive(normal(), kept)
    assert set(drive.clean) == set(kept)
    for channel, exact in drive.exact.items():
        off = np.abs(kept[channel] - exact)
        assert off.max() <= drive.slack[channel] * (1 + 1e-6), channel
        # Nearly everywhere it is the very sample: edges are rare.
        assert (kept[channel] != drive.clean[channel]).mean() < 0.005, channel


@pytest.mark.parametrize("name", FILES)
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
    run = clean_run(name)
    return {ROLES[n]: run.governing == n for n in np.unique(run.governing) if n >= 0}


def test_the_snowy_round_holds_what_it_is_for() -> None:
    run, by = clean_run(recordings.SNOW_FILE), deciding(recordings.SNOW_FILE)
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
    run = clean_run(recordings.HIGHWAY_FILE)
    state, pedal = run.output("state"), run.input("pedal")
    spins = np.flatnonzero(np.diff((state == SPIN_UP).astype(int)) == 1)
    assert np.count_nonzero(state == DISCONNECTED) * 0.02 > 60
    kick = [n for n in spins if pedal[n : n + 50].max() > 90]
    assert len(kick) == 1
    assert run.input("vehicle_speed")[kick[0]] > 100
    assert state[kick[0] + 60] == CONNECTED
    assert len(spins) >= 2  # the exit connects by speed
