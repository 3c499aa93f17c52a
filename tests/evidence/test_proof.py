"""A proof is a run of the very set that comes to where the complaint was heard."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import calib_model
from calib_model.controller.constants import LARCH
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.record import Complaint, Standing
from calib_model.errors import EditRefused
from calib_model.evidence.mapping import suggest
from calib_model.evidence.proof import AROUND, proof
from calib_model.evidence.reading import read_recording
from calib_model.evidence.recording import Recording
from calib_model.evidence.replay import Replay, replay
from calib_model.evidence.ticks import Ticks, on_ticks

SAMPLES = Path(__file__).resolve().parents[2] / "sample_sets"
ROUND = SAMPLES / "larch_snow_round.csv"


@pytest.fixture(scope="module")
def recording() -> Recording:
    """The shipped round; it carries the digest of the normal set."""
    return read_recording(ROUND)


@pytest.fixture(scope="module")
def ticks(recording: Recording) -> Ticks:
    return on_ticks(recording, suggest(recording), LARCH)


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return calib_model.open_set(SAMPLES / "larch_normal.h5")


@pytest.fixture(scope="module")
def driven(normal: CalibrationSet, ticks: Ticks) -> Replay:
    return replay(normal, ticks, LARCH)


def complaint(**more: object) -> Complaint:
    made = Complaint(
        number="C-1", note="spins", by="Ada", recording="old.csv", sha256="00", moment=20.0,
        tables=("pre_engage_torque",), standing=Standing.ANSWERED, answer="raised",
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]


def proved(made: Complaint, driven: Replay, recording: Recording, **more: object) -> Complaint:
    change = proof(made, driven, recording, **more)  # type: ignore[arg-type]
    (edit,) = change.edits
    after = edit.after  # type: ignore[union-attr]
    assert isinstance(after, Complaint)
    return after


def deciding(driven: Replay, id: str) -> np.ndarray:
    mask = driven.decided(id)
    assert mask is not None
    return np.flatnonzero(mask & driven.valid)


def test_a_run_of_the_very_set_proves(driven: Replay, recording: Recording) -> None:
    after = proved(complaint(), driven, recording, note="gone")
    assert (after.standing, after.proof_recording) == (Standing.PROVED, "larch_snow_round.csv")
    first = float(driven.ticks.time[deciding(driven, "pre_engage_torque")[0]])
    assert after.proof_moment == first, "where it first comes to the region"
    assert after.proof_note == ("gone old.csv could not be replayed to compare with.")


@pytest.mark.parametrize("moment", [-1.0, 1e9, float("nan"), float("inf")])
def test_a_moment_that_is_not_in_it_is_refused(
    driven: Replay, recording: Recording, moment: float
) -> None:
    with pytest.raises(EditRefused, match=r"is not a proof, because .* is not in it"):
        proof(complaint(), driven, recording, moment=moment)


def test_a_moment_away_from_the_region_is_refused(driven: Replay, recording: Recording) -> None:
    time = driven.ticks.time
    near = time[deciding(driven, "pre_engage_torque")]
    away = [t for t in time[driven.valid] if np.abs(near - t).min() > AROUND + 1]
    if not away:
        pytest.fail("the round has no such moment; choose another table")
    with pytest.raises(EditRefused, match="does not come within 10 s"):
        proof(complaint(), driven, recording, moment=float(away[0]))


def test_a_run_of_another_set_is_refused(
    normal: CalibrationSet, ticks: Ticks, recording: Recording
) -> None:
    raised = normal["pre_engage_torque"]
    other = replay(
        calib_model.edit(normal, raised.id, np.minimum(raised.values + 10.0, 500.0)), ticks, LARCH
    )
    with pytest.raises(EditRefused, match="because another set was in the vehicle"):
        proof(complaint(), other, recording)


def test_without_a_digest_the_controllers_own_signals_have_to_agree(
    driven: Replay, recording: Recording, normal: CalibrationSet, ticks: Ticks
) -> None:
    silent = replace(recording, vehicle_set_digest="")
    after = proved(complaint(), driven, silent)
    assert "known by the replay, which agrees" in after.proof_note
    bare = replay(normal, replace(ticks, signals={}), LARCH)
    with pytest.raises(EditRefused, match="does not say which set was in the vehicle"):
        proof(complaint(), bare, silent)


def test_the_region_is_that_of_the_complaints_own_moment(
    driven: Replay, recording: Recording
) -> None:
    ticks = deciding(driven, "pre_engage_torque")
    middle = int(ticks[len(ticks) // 2])
    made = complaint(moment=float(driven.ticks.time[middle]))
    after = proved(made, driven, recording, heard=driven)
    assert after.proof_note == ""
    found = int(np.argmin(np.abs(driven.ticks.time - after.proof_moment)))
    for mine in driven.points("pre_engage_torque"):
        assert np.isfinite(mine[found])
    # A run that never comes there: the same drive, 100 degrees colder.
    cold = driven.ticks.inputs.copy()
    from calib_model.controller.inputs import INPUT_INDEX

    cold[:, INPUT_INDEX["ambient_temperature"]] -= 100.0
    arctic = replay(driven.content, replace(driven.ticks, inputs=cold), LARCH)
    with pytest.raises(EditRefused, match="does not come to where it was heard"):
        proof(made, driven, recording, heard=arctic)
