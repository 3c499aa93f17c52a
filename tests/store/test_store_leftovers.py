"""What a power cut left of a recovery folder: the edits are offered, whatever else is missing."""

from __future__ import annotations

import errno
import json
import os
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from calib_model.core.calibration_set import CalibrationSet
from calib_model.editing.change import change_to_plain
from calib_model.errors import FileProblem
from calib_model.store import Relation, list_leftovers, recovery, write_set
from calib_model.store.journal_file import line_of, read_journal
from calib_model.store.places import ABOUT, BASE, JOURNAL, recovery_root
from tests.store.crashing import read_at_once
from tests.store.desk import Desk, edit, recovered


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setattr(recovery, "read_set", read_at_once)
    made = Desk(tmp_path / "larch.h5")
    yield made
    made.crash()


def crashed(desk: Desk) -> Path:
    """Two edits, the end, and a day gone by."""
    desk.edit(10.0)
    desk.edit(30.0)
    folder = desk.journal.folder
    assert folder is not None
    desk.crash()
    age(folder)
    return folder


def age(folder: Path) -> None:
    """Make it a day old, so that it is tidied away if it counts as half of one."""
    os.utime(folder, (time.time() - 86400, time.time() - 86400))


def without_about(folder: Path) -> None:
    """As an older version wrote it: nothing of the file in the first record."""
    records = read_journal(folder / JOURNAL).records
    plain = [{k: r[k] for k in ("n", "kind", "change")} for r in records]
    (folder / JOURNAL).write_bytes(b"".join(map(line_of, plain)))


@pytest.mark.parametrize("left", [b"", b"\0" * 300, None], ids=["empty", "zeros", "gone"])
def test_a_lost_note_of_the_file_costs_nothing(desk: Desk, left: bytes | None) -> None:
    folder = crashed(desk)
    (folder / ABOUT).unlink()
    if left is not None:
        (folder / ABOUT).write_bytes(left)
    age(folder)
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_the_note_is_written_again_when_the_edits_are_taken_over(desk: Desk) -> None:
    folder = crashed(desk)
    (folder / ABOUT).write_bytes(b"")
    (leftover,) = list_leftovers(desk.path)
    base, _, _ = leftover.load()
    leftover.adopt(base)._release()
    assert json.loads((folder / ABOUT).read_bytes())["path"] == str(desk.path)
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_without_any_note_base_and_journal_do(desk: Desk) -> None:
    folder = crashed(desk)
    without_about(folder)
    (folder / ABOUT).write_bytes(b"")
    age(folder)
    (leftover,) = list_leftovers()
    assert (leftover.path, leftover.edits, leftover.relation) == (None, 2, Relation.UNKNOWN)
    base, _, _ = leftover.load()
    journal = leftover.adopt(base)  # and goes on
    desk.content, change = edit(desk.content, 50.0)
    journal.append(change_to_plain(change))
    journal._release()
    content, relation = recovered(None)
    assert (content, relation) == (desk.content, Relation.UNKNOWN)


def test_a_lost_base_is_read_from_the_file_while_that_is_the_state(desk: Desk) -> None:
    folder = crashed(desk)
    (folder / BASE).write_bytes(b"")
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_edits_without_a_state_are_kept_and_said_to_be(desk: Desk) -> None:
    folder = crashed(desk)
    (folder / BASE).unlink()
    write_set(desk.path, desk.content.described(revision="theirs"))
    age(folder)
    (leftover,) = list_leftovers()
    with pytest.raises(FileProblem):
        leftover.load()
    leftover.release()
    assert (folder / JOURNAL).exists()


def test_edits_behind_damage_are_not_tidied_away(desk: Desk) -> None:
    folder = crashed(desk)
    data = bytearray((folder / JOURNAL).read_bytes())
    data[30] ^= 1
    (folder / JOURNAL).write_bytes(data)
    age(folder)
    assert list_leftovers() == []  # they cannot be made without the first
    assert (folder / JOURNAL).read_bytes() == data
    (folder / ABOUT).unlink()
    age(folder)
    assert list_leftovers() == []
    assert (folder / JOURNAL).read_bytes() == data


def test_a_journal_that_cannot_be_read_is_left_alone(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = crashed(desk)
    (folder / ABOUT).unlink()
    age(folder)

    def broken(path: Path) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as patch:
        patch.setattr("calib_model.store.recovery.read_journal", broken)
        assert list_leftovers() == []
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


# -- what is flushed, and when ---------------------------------------------------------------


class Disk:
    """Notes what is flushed; can refuse or hold up every flush."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.flushed: set[int] = set()
        self.answer: Callable[[], object] = lambda: None
        patch.setattr(os, "fsync", self._fsync)

    def _fsync(self, handle: int) -> None:
        self.answer()
        self.flushed.add(os.fstat(handle).st_ino)


@pytest.fixture
def disk(monkeypatch: pytest.MonkeyPatch) -> Disk:
    return Disk(monkeypatch)


def until(condition: Callable[[], Any]) -> None:
    end = time.monotonic() + 20
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_files_and_folders_are_flushed_before_an_edit_counts_as_kept(
    desk: Desk, disk: Disk
) -> None:
    desk.edit(10.0)
    until(lambda: desk.journal.on_disk == 1)
    folder = desk.journal.folder
    assert folder is not None
    wanted = [folder / JOURNAL, folder / BASE, folder / ABOUT, folder, folder.parent]
    wanted += [recovery_root().parent, recovery_root().parent.parent]  # both were made for it
    assert {path.stat().st_ino for path in wanted} <= disk.flushed


def test_an_edit_that_was_not_flushed_does_not_count(desk: Desk, disk: Disk) -> None:
    refused = threading.Event()

    def broken() -> None:
        refused.set()
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    disk.answer = broken
    desk.edit(10.0)
    assert refused.wait(20)
    assert desk.journal.on_disk == 0
    disk.answer = lambda: None
    desk.edit(30.0)
    until(lambda: desk.journal.on_disk == 2)
    folder = desk.journal.folder
    assert folder is not None
    assert folder.stat().st_ino in disk.flushed


def test_the_folder_before_a_save_stays_until_the_next_is_flushed(desk: Desk, disk: Disk) -> None:
    desk.edit(10.0)
    old = desk.journal.folder
    assert old is not None
    until(lambda: desk.journal.on_disk == 1)
    point, content = desk.journal.save_point(), desk.content
    desk.edit(30.0)  # while it is saved
    saved = write_set(desk.path, content, desk.stored.history, journal=point)
    going_on = threading.Event()
    disk.answer = lambda: going_on.wait(20)
    point.saved(desk.path, saved, content)
    assert desk.journal.folder != old
    assert (old / JOURNAL).exists()
    assert list_leftovers() == []  # neither is anybody else's
    going_on.set()
    until(lambda: not old.exists())


def test_half_a_new_folder_does_not_stand_for_the_one_before_it(desk: Desk) -> None:
    """The power goes after a save, with the next folder made but nothing in it."""
    desk.edit(10.0)
    old = desk.journal.folder
    assert old is not None
    point, content = desk.journal.save_point(), desk.content
    desk.edit(30.0)
    kept = {path.name: path.read_bytes() for path in old.iterdir()}
    saved = write_set(desk.path, content, desk.stored.history, journal=point)
    kept[JOURNAL] = (old / JOURNAL).read_bytes()
    point.saved(desk.path, saved, content)
    new = desk.journal.folder
    assert new not in (None, old)
    desk.crash()
    old.mkdir(exist_ok=True)
    for name, data in kept.items():
        (old / name).write_bytes(data)
    whole = (new / JOURNAL).read_bytes()  # type: ignore[operator]
    (new / JOURNAL).write_bytes(b"")  # type: ignore[operator]
    assert recovered(desk.path) == (desk.content, Relation.SAVED)
    (new / JOURNAL).write_bytes(whole)  # type: ignore[operator]
    (new / BASE).write_bytes(b"")  # type: ignore[operator]
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)
    assert not old.exists()  # the new one can do without it


def test_edits_that_waited_for_room_are_carried_over_a_save(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.edit(10.0)
    point, content = desk.journal.save_point(), desk.content
    real = os.write
    with monkeypatch.context() as patch:

        def full(handle: int, data: bytes) -> int:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

        patch.setattr(os, "write", full)
        desk.edit(30.0)
        patch.setattr(os, "write", real)
    assert desk.journal.problem
    saved = write_set(desk.path, content, desk.stored.history)
    point.saved(desk.path, saved, content)
    assert desk.journal.problem == ""
    desk.crash()
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_content_is_compared(desk: Desk) -> None:
    """The base is the state the edits began with, or nothing is brought back."""
    folder = crashed(desk)
    other: CalibrationSet = desk.content.described(revision="other")
    write_set(folder / BASE, other, backup=False)
    desk.path.unlink()
    (leftover,) = list_leftovers(desk.path)
    with pytest.raises(FileProblem, match="not the state the edits began with"):
        leftover.load()
    leftover.release()
