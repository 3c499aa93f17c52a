"""The recording's own signals against the replay: residual, tolerance, verdict."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib_model.controller.constants import LARCH
from calib_model.core.calibration_set import CalibrationSet
from calib_model.evidence.replay import Replay, replay
from calib_model.evidence.trust import FLOORS, LEEWAY, RELATIVE, Level, _apart, same_digest, trust
from tests.evidence.made_drives import TICK, sample, winter_round


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return sample("normal")


@pytest.fixture(scope="module")
def along(normal: CalibrationSet) -> Replay:
    return replay(normal, winter_round(60.0), LARCH)


def with_signals(along: Replay, **signals: Any) -> Replay:
    """The same replay of a recording that also holds these signals."""
    ticks: Any = replace(along.ticks, signals=signals)
    return replay(along.content, ticks, LARCH, digest_=along.digest)


def as_sent(values: np.ndarray, step: float) -> np.ndarray:
    """A signal as a vehicle sends it: rounded to its raster."""
    return np.round(values / step) * step


def test_the_set_that_was_in_the_vehicle_agrees(along: Replay) -> None:
    made = with_signals(
        along,
        torque=as_sent(along.output("torque"), 0.5),
        current=as_sent(along.output("current"), 0.01),
        steering_limit=as_sent(along.tables["steering_limit"], 0.5),
    )
    found = trust(made, along.digest)
    assert (found.level, found.same_set, found.counts) == (Level.AGREES, True, True)
    assert {r.signal for r in found.residuals} == {"torque", "current", "steering_limit"}
    by_name = {r.signal: r for r in found.residuals}
    assert by_name["torque"].rms <= 0.5 / np.sqrt(12) * 1.5, "rounding to 0.5 N.m"
    assert abs(by_name["torque"].largest) <= 0.25 + 1e-9
    assert by_name["steering_limit"].table == "steering_limit"
    assert by_name["steering_limit"].unit == "N.m"
    assert "agrees with" in found.words


def test_a_residual_is_what_numpy_says(along: Replay) -> None:
    # Outside check: the definitions, in numpy.
    rng = np.random.default_rng(3)
    measured = along.output("torque") + rng.normal(1.0, 4.0, along.ticks.time.size)
    measured[100:300] = np.nan
    (found,) = trust(with_signals(along, torque=measured), along.digest).residuals
    less = (measured - along.output("torque"))[~np.isnan(measured)]
    assert found.rms == pytest.approx(np.sqrt(np.mean(less**2)))
    assert found.bias == pytest.approx(less.mean())
    assert abs(found.largest) == pytest.approx(np.abs(less).max())
    assert found.seconds == pytest.approx(less.size * TICK)
    span = np.nanmax(measured) - np.nanmin(measured)
    assert found.tolerance == pytest.approx(max(FLOORS["N.m"], RELATIVE * span))


def test_a_signal_sent_late_agrees_but_not_one_that_is_much_later(along: Replay) -> None:
    torque = along.output("torque")
    late = np.concatenate([torque[:1].repeat(LEEWAY), torque[:-LEEWAY]])
    (found,) = trust(with_signals(along, torque=late), along.digest).residuals
    assert (found.within, found.level) == (1.0, Level.AGREES)
    assert found.rms > 0, "the residual itself is told as it is"
    later = np.concatenate([torque[:1].repeat(25), torque[:-25]])
    (found,) = trust(with_signals(along, torque=later), along.digest).residuals
    assert found.level is not Level.AGREES


def test_wrong_constants_are_found_out(along: Replay, normal: CalibrationSet) -> None:
    # A vehicle with 10 faces in its clutch, replayed with 12.
    there = replay(normal, along.ticks, replace(LARCH, faces=10))
    made = with_signals(along, torque=there.output("torque"), clamp=there.output("clamp"))
    found = trust(made, along.digest)
    assert found.level in (Level.FAILS, Level.PARTLY)
    assert found.residuals[0].signal == "clamp", "the worst comes first"
    assert "clamp" in found.words


def test_agreement_in_part_is_no_ground_for_a_comparison(along: Replay) -> None:
    torque = along.output("torque").copy()
    part = int(0.12 * torque.size)
    torque[:part] += 90.0  # off for an eighth of the drive
    found = trust(with_signals(along, torque=torque), along.digest)
    assert (found.level, found.counts) == (Level.PARTLY, False)
    assert "agrees in part" in found.words
    assert found.residuals[0].within == pytest.approx(0.88, abs=0.01)


def test_noise_that_hides_everything_fails(along: Replay) -> None:
    rng = np.random.default_rng(1)
    noise = rng.uniform(0, 400, along.ticks.time.size)
    found = trust(with_signals(along, torque=noise), along.digest)
    assert (found.level, found.counts) == (Level.FAILS, False)
    assert "does not agree with the vehicle" in found.words
    assert "constants" in found.words, "says where to look"


def test_another_set_was_in_the_vehicle(along: Replay) -> None:
    made = with_signals(along, torque=along.output("torque"))
    found = trust(made, "ab" * 32)
    assert (found.level, found.same_set, found.counts) == (Level.OTHER_SET, False, False)
    assert "not the one that was in the vehicle" in found.words


def test_a_recording_that_does_not_say_is_no_evidence(along: Replay) -> None:
    found = trust(with_signals(along, torque=along.output("torque")), "")
    assert (found.level, found.same_set, found.counts) == (Level.AGREES, None, False)
    assert "does not say which set" in found.words


def test_without_own_signals_nothing_is_known(along: Replay) -> None:
    for signals in ({}, {"cabin_light": np.zeros(along.ticks.time.size)}):
        found = trust(with_signals(along, **signals), along.digest)
        assert (found.level, found.counts, found.residuals) == (Level.UNKNOWN, False, ())
    short = np.full(along.ticks.time.size, np.nan)
    short[:20] = 1.0
    found = trust(with_signals(along, torque=short), along.digest)
    assert found.level is Level.UNKNOWN
    assert "too short" in found.residuals[0].words


def test_a_signal_that_is_nowhere_known_is_told_so(along: Replay) -> None:
    gone = np.full(along.ticks.time.size, np.nan)
    (found,) = trust(with_signals(along, torque=gone), along.digest).residuals
    assert (found.seconds, found.level) == (0.0, Level.UNKNOWN)


@pytest.mark.parametrize(
    ("written", "answer"),
    [("", None), ("  ", None), ("full", True), ("FULL", True), ("first 16", True),
     ("sha256:full", True), ("first 15", False), ("other", False)],
)  # fmt: skip
def test_digests_as_recordings_write_them(written: str, answer: bool | None, along: Replay) -> None:
    full = along.digest
    text = {
        "full": full, "FULL": full.upper(), "first 16": full[:16], "first 15": full[:15],
        "sha256:full": f"sha256:{full}", "other": "0" * 64,
    }.get(written, written)  # fmt: skip
    assert same_digest(text, full) is answer


@settings(max_examples=40)
@given(st.data())
def test_the_leeway_reaches_two_ticks_and_never_over_a_gap(data: st.DataObject) -> None:
    size = data.draw(st.integers(1, 12))
    number = st.integers(-5, 5).map(float)
    measured = np.array(data.draw(st.lists(number, min_size=size, max_size=size)))
    computed = np.array(data.draw(st.lists(number, min_size=size, max_size=size)))
    both = np.array(data.draw(st.lists(st.booleans(), min_size=size, max_size=size)))
    found = _apart(measured, computed, both)
    for k in np.flatnonzero(both):
        near = [
            computed[j] for j in range(max(0, k - LEEWAY), min(size, k + LEEWAY + 1)) if both[j]
        ]
        expected = max(min(near) - measured[k], measured[k] - max(near), 0.0)
        assert found[k] == expected
