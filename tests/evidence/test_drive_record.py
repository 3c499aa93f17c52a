"""Drives kept in the record: tied to the set that was in the vehicle."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from calib_model.controller.constants import LARCH
from calib_model.core.calibration_set import CalibrationSet
from calib_model.core.canonical import digest
from calib_model.core.record import Drive, Remark
from calib_model.editing.change import apply, change_to_plain, record_change, values_change
from calib_model.errors import EditRefused
from calib_model.evidence import drives as drives_module
from calib_model.evidence.coverage import Coverage, coverage
from calib_model.evidence.drives import (
    add_drive,
    desk_drive,
    recorded_drive,
    remove_drive,
    set_in_vehicle,
)
from calib_model.evidence.grades import Grade, grades, visits_of
from calib_model.evidence.replay import Replay, replay
from calib_model.evidence.trust import Level
from calib_model.session.history import Entry
from calib_model.store import read_set_here, write_set
from tests.evidence.made_drives import sample, winter_round

BY = "calibrator B"


@pytest.fixture(scope="module")
def normal() -> CalibrationSet:
    return sample("normal")


@pytest.fixture(scope="module")
def along(normal: CalibrationSet) -> Replay:
    return replay(normal, winter_round(120.0), LARCH)


@pytest.fixture(scope="module")
def covered(along: Replay) -> dict[str, Coverage]:
    return coverage(along.content, along, along.ticks)


def recording(digest_: str = "", name: str = "round.csv", **more: Any) -> Any:
    about = {"sha256": "12" * 32, "start": "2026-02-03T08:00:00", **more}
    return SimpleNamespace(name=name, vehicle_set_digest=digest_, **about)


def test_a_drive_holds_what_was_used_and_with_which_values(
    along: Replay, covered: dict[str, Coverage]
) -> None:
    made = recorded_drive(along, covered, recording(along.digest), by=BY)
    assert (made.source, made.name, made.set_digest) == ("recording", "round.csv", along.digest)
    assert (made.seconds, made.date, made.by) == (120.0, "2026-02-03T08:00:00", BY)
    visits = visits_of(made)
    assert visits is not None
    assert not visits.stated
    one = covered["steering_limit"]
    mine = visits.tables["steering_limit"]
    assert len(mine.cells) == one.used.sum()
    assert mine.axes == (("steering_angle_abs", "deg"), ("vehicle_speed", "km/h"))
    table = along.content["steering_limit"]
    for place, (seconds, decided, value) in mine.cells.items():
        cell = tuple(
            int(np.flatnonzero(a.values == x)[0]) for a, x in zip(table.axes, place, strict=True)
        )
        assert seconds == pytest.approx(one.dwell[cell], abs=1e-3)
        assert decided == pytest.approx(one.decided[cell], abs=1e-3)
        assert value == table.values[cell]
    assert not visits.tables["actuator_rate"].chain


def test_the_grades_of_real_edits(
    normal: CalibrationSet, along: Replay, covered: dict[str, Coverage]
) -> None:
    # Four edits: one in a cell that decided, one in a cell never decided in, one out of reach,
    # and one made after the drive.
    decided = covered["steering_limit"].decided
    never = covered["lateral_limit"]
    assert never.used.any()
    assert not never.decided.any()
    deciding = tuple(int(i) for i in np.unravel_index(int(decided.argmax()), decided.shape))
    idle = tuple(int(i) for i in np.unravel_index(int(never.dwell.argmax()), never.dwell.shape))
    base = normal.replaced(
        {
            "steering_limit": _plus(normal, "steering_limit", deciding, -5),
            "lateral_limit": _plus(normal, "lateral_limit", idle, -5),
            "hill_torque": _plus(normal, "hill_torque", (5, 4), -5),
        }
    )
    made = recorded_drive(along, covered, recording(along.digest), by=BY)
    found = {c.table: c for c in grades(normal, base, [made]).cells}
    assert found["steering_limit"].grade is Grade.DRIVEN
    assert (found["lateral_limit"].grade, found["lateral_limit"].never_decided) == (
        Grade.NONE,
        True,
    )
    assert found["hill_torque"].grade is Grade.NONE
    later = normal.replaced({"steering_limit": _plus(normal, "steering_limit", deciding, 5)})
    (cell,) = grades(later, normal, [made]).cells
    assert cell.grade is Grade.VISITED


def _plus(content: CalibrationSet, id: str, cell: tuple[int, ...], amount: float) -> Any:
    values = content[id].values.copy()
    values[cell] += amount
    return content[id].with_values(values)


def test_a_recording_of_another_set_is_refused(along: Replay, covered: dict[str, Coverage]) -> None:
    with pytest.raises(EditRefused, match="another set"):
        recorded_drive(along, covered, recording("ab" * 32), by=BY, stated=True)
    with pytest.raises(EditRefused, match="does not say"):
        recorded_drive(along, covered, recording(""), by=BY)
    with pytest.raises(EditRefused, match="needs a name"):
        recorded_drive(along, covered, recording(along.digest), by=" ")
    stated = recorded_drive(along, covered, recording(""), by=BY, stated=True)
    visits = visits_of(stated)
    assert visits is not None
    assert visits.stated


def test_too_much_for_the_record_is_refused(
    along: Replay, covered: dict[str, Coverage], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(drives_module, "MOST_BYTES", 2000)
    with pytest.raises(EditRefused, match="too much"):
        recorded_drive(along, covered, recording(along.digest), by=BY)
    few = recorded_drive(along, covered, recording(along.digest), by=BY, tables=["ambient_factor"])
    visits = visits_of(few)
    assert visits is not None
    assert set(visits.tables) == {"ambient_factor"}


def test_the_same_recording_is_kept_once(
    normal: CalibrationSet, along: Replay, covered: dict[str, Coverage]
) -> None:
    made = recorded_drive(along, covered, recording(along.digest), by=BY)
    once = apply(normal, add_drive(normal, made))
    again = replace(made, id="another1", by="calibrator C")
    twice = apply(once, add_drive(once, again))
    assert [(d.id, d.by) for d in twice.record.drives] == [(made.id, "calibrator C")]
    other = replace(made, id="another2", set_digest="ab" * 32)
    assert len(apply(once, add_drive(once, other)).record.drives) == 2
    gone = apply(twice, remove_drive(twice.record.drives[0]))
    assert gone.record.drives == ()
    assert digest(gone) == digest(normal), "drives are record, not content"


def test_a_desk_drive_counts_as_desk(
    normal: CalibrationSet, along: Replay, covered: dict[str, Coverage]
) -> None:
    made = desk_drive(along, covered, "launch on snow", by=BY)
    assert (made.source, made.set_digest) == ("manoeuvre", along.digest)
    decided = covered["steering_limit"].decided
    cell = tuple(int(i) for i in np.unravel_index(int(decided.argmax()), decided.shape))
    base = normal.replaced({"steering_limit": _plus(normal, "steering_limit", cell, -5)})
    (found,) = grades(normal, base, [made]).cells
    assert found.grade is Grade.DESK


# -- which set was in the vehicle -----------------------------------------------------------


@pytest.fixture
def edited(normal: CalibrationSet) -> tuple[CalibrationSet, list[Entry]]:
    """The set after an edit, a remark and another edit, with their entries."""
    content, entries = normal, []
    for change in (
        _edit(content, 7.0),
        record_change(None, Remark(text="why?", author=BY), "Remark"),
        None,
    ):
        step = change if change is not None else _edit(content, 9.0)
        step = step.stamped(BY)
        content = apply(content, step)
        entries.append(Entry(change_to_plain(step), True))
    return content, entries


def _edit(content: CalibrationSet, value: float) -> Any:
    table = content["hill_torque"]
    values = table.values.copy()
    values[0, 0] = value
    return values_change(table, values, "Edit")


def test_the_set_in_the_vehicle_is_found(
    normal: CalibrationSet, edited: tuple[CalibrationSet, list[Entry]]
) -> None:
    content, entries = edited
    assert set_in_vehicle(digest(content), content, entries) == (
        content,
        "This very set was in the vehicle.",
    )
    found, words = set_in_vehicle(digest(normal), content, entries)
    assert found is not None
    assert digest(found) == digest(normal)
    assert "3 changes ago" in words
    between, words = set_in_vehicle(digest(apply(normal, _edit(normal, 7.0))), content, entries)
    assert between is not None
    assert "1 change ago" in words
    other = sample("low_grip")
    assert set_in_vehicle(digest(other)[:20], content, entries, [other])[0] is other
    none, words = set_in_vehicle("cd" * 32, content, entries, [other])
    assert none is None
    assert "None of the sets" in words
    assert set_in_vehicle("", content)[0] is None


def test_a_drive_comes_back_from_a_file(
    normal: CalibrationSet, along: Replay, covered: dict[str, Coverage], tmp_path: Any
) -> None:
    made = recorded_drive(along, covered, recording(along.digest), by=BY)
    path = tmp_path / "set.h5"
    write_set(path, apply(normal, add_drive(normal, made)))
    (back,) = read_set_here(path.read_bytes(), path).set.record.drives
    assert back == made
    assert isinstance(back, Drive)


def test_a_replay_that_does_not_match_the_vehicle_is_no_evidence(
    normal: CalibrationSet, along: Replay, covered: dict[str, Coverage]
) -> None:
    noise = np.random.default_rng(4).uniform(0, 400, along.ticks.time.size)
    for signal, refused in ((noise, True), (along.output("torque"), False)):
        ticks: Any = replace(along.ticks, signals={"torque": signal})
        heard = replay(normal, ticks, LARCH, digest_=along.digest)
        if refused:
            with pytest.raises(EditRefused, match="proves nothing"):
                recorded_drive(heard, covered, recording(along.digest), by=BY)
        else:
            made = recorded_drive(heard, covered, recording(along.digest), by=BY)
            visits = visits_of(made)
            assert visits is not None
            assert (visits.match, visits.doubts) == ("agrees", ())
    part = along.output("torque").copy()
    part[: part.size // 8] += 90.0
    odd: Any = replace(along.ticks, signals={"torque": part})
    there = replay(normal, odd, LARCH, digest_=along.digest)
    doubted = visits_of(recorded_drive(there, covered, recording(along.digest), by=BY))
    assert doubted is not None
    assert (doubted.match, len(doubted.doubts)) == (Level.PARTLY, 1)
    silent = visits_of(recorded_drive(along, covered, recording(along.digest), by=BY))
    assert silent is not None
    assert silent.match == Level.UNKNOWN
    assert silent.doubts == ("the replay could not be held against the vehicle",)
