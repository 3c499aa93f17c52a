"""Edits are recorded between saves and found again after a crash."""

from __future__ import annotations

import errno
import json
import os
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from calib_model.editing.change import (
    apply,
    change_from_plain,
    change_to_plain,
    remove_table,
)
from calib_model.store import (
    HistoryColumns,
    Journal,
    Relation,
    list_leftovers,
    read_set,
    recovery,
    write_set,
)
from calib_model.store.journal_file import line_of, read_journal
from calib_model.store.places import JOURNAL, recovery_root
from tests.store.crashing import read_at_once
from tests.store.desk import Desk, edit, recovered
from tests.store.making import entries, small_set


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    monkeypatch.setattr(recovery, "read_set", read_at_once)
    made = Desk(tmp_path / "larch.h5")
    yield made
    made.crash()


def test_nothing_is_written_before_the_first_edit(desk: Desk) -> None:
    assert not recovery_root().exists()
    assert desk.journal.folder is None
    desk.edit(10.0)
    assert desk.journal.folder is not None


def test_edits_are_found_after_a_crash(desk: Desk) -> None:
    before = desk.path.read_bytes()
    for value in (10.0, 30.0, 40.0):
        desk.edit(value)
    removal = remove_table(desk.content, "cube")
    desk.content = apply(desk.content, removal)
    desk.journal.append(change_to_plain(removal))
    desk.crash()
    (leftover,) = list_leftovers()
    assert (leftover.path, leftover.edits, leftover.damaged) == (desk.path, 4, False)
    assert abs(leftover.when.timestamp() - time.time()) < 60
    leftover.release()
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)
    assert desk.path.read_bytes() == before


def test_history_and_stamp_come_with_the_recovered_state(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(recovery, "read_set", read_set)  # in a process, as outside the tests
    desk.edit(10.0)
    desk.crash()
    (leftover,) = list_leftovers()
    base, _, _ = leftover.load()
    assert list(base.history.entries()) == entries(1)
    assert base.file_stamp == desk.stamp
    leftover.release()


def test_the_journal_of_a_running_process_is_left_alone(desk: Desk) -> None:
    desk.edit(10.0)
    assert list_leftovers() == []
    assert desk.journal.folder is not None
    assert desk.journal.folder.exists()


def test_a_clean_close_leaves_nothing(desk: Desk) -> None:
    desk.edit(10.0)
    desk.journal.close()
    assert list_leftovers() == []
    assert list(recovery_root().iterdir()) == []


def test_after_a_save_the_journal_starts_anew(desk: Desk) -> None:
    desk.edit(10.0)
    desk.save()
    assert desk.journal.folder is None
    assert list(recovery_root().iterdir()) == []
    desk.edit(30.0)
    desk.crash()
    (leftover,) = list_leftovers()
    assert leftover.edits == 1
    leftover.release()
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_a_crash_between_replacing_and_noting_it_loses_nothing(desk: Desk) -> None:
    desk.edit(10.0)
    point = desk.journal.save_point()
    write_set(desk.path, desk.content, desk.stored.history, journal=point)
    desk.crash()
    assert list_leftovers() == []  # the file has it all


def test_edits_made_while_saving_are_kept(desk: Desk) -> None:
    desk.edit(10.0)
    point, saved_content = desk.journal.save_point(), desk.content
    desk.edit(30.0)  # while the image is made
    saved = write_set(desk.path, saved_content, desk.stored.history, journal=point)
    desk.edit(40.0)  # after the marker
    folder = desk.journal.folder
    point.saved(desk.path, saved, saved_content)
    assert desk.journal.folder not in (None, folder)
    desk.edit(50.0)
    desk.crash()
    (leftover,) = list_leftovers()
    assert leftover.edits == 3
    leftover.release()
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_a_crash_with_edits_after_the_marker_starts_from_the_new_file(desk: Desk) -> None:
    desk.edit(10.0)
    point, saved_content = desk.journal.save_point(), desk.content
    desk.edit(30.0)
    write_set(desk.path, saved_content, desk.stored.history, journal=point)
    desk.crash()
    (leftover,) = list_leftovers()
    base, changes, relation = leftover.load()
    assert (base.set, len(changes), relation) == (saved_content, 1, Relation.SAVED)
    assert base.file_stamp == read_set(desk.path).file_stamp
    leftover.release()


def test_a_save_is_seen_where_the_file_system_tells_no_difference(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Coarse times, numbers used again, equal sizes: the stamp of before says little after a save.
    first = desk.stamp

    class Blind:
        @staticmethod
        def of(_: os.stat_result) -> tuple[int, int, int]:
            return first.size, first.mtime_ns, first.inode

    desk.edit(10.0)
    point, saved_content = desk.journal.save_point(), desk.content
    desk.edit(30.0)
    write_set(desk.path, saved_content, desk.stored.history, journal=point)
    desk.crash()
    monkeypatch.setattr(recovery, "Stamp", Blind)
    (leftover,) = list_leftovers()
    base, changes, relation = leftover.load()
    assert (base.set, len(changes), relation) == (saved_content, 1, Relation.SAVED)
    leftover.release()


def test_a_save_that_failed_changes_nothing_for_recovery(desk: Desk) -> None:
    desk.edit(10.0)
    desk.journal.saving("0" * 64)
    desk.edit(30.0)
    desk.crash()
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_an_original_that_another_program_changed_is_not_saved_over(desk: Desk) -> None:
    from calib_model.errors import FileChanged

    desk.edit(10.0)
    write_set(desk.path, small_set().described(revision="theirs"))
    theirs = desk.path.read_bytes()
    desk.crash()
    (leftover,) = list_leftovers()
    base, changes, relation = leftover.load()
    assert relation is Relation.CHANGED
    assert len(changes) == 1
    with pytest.raises(FileChanged):
        write_set(desk.path, desk.content, expected_stamp=base.file_stamp)
    assert desk.path.read_bytes() == theirs
    leftover.release()
    assert recovered(desk.path) == (desk.content, Relation.CHANGED)


def test_edits_survive_their_original(desk: Desk) -> None:
    desk.edit(10.0)
    desk.path.unlink()
    desk.crash()
    assert recovered(desk.path) == (desk.content, Relation.MISSING)


def test_a_set_that_was_never_saved_is_recovered_too(tmp_path: Path) -> None:
    journal = Journal.start(None, None, small_set(), HistoryColumns())
    content, change = edit(small_set(), 10.0)
    journal.append(change_to_plain(change))
    journal._release()
    (leftover,) = list_leftovers()
    base, changes, relation = leftover.load()
    assert leftover.path is None
    assert relation is Relation.UNTITLED
    assert apply(base.set, change_from_plain(changes[0])) == content
    leftover.discard()
    assert list_leftovers() == []


def test_what_is_taken_over_goes_on_in_the_same_journal(desk: Desk) -> None:
    desk.edit(10.0)
    desk.crash()
    (leftover,) = list_leftovers()
    base, changes, _ = leftover.load()
    journal = leftover.adopt(base)
    assert list_leftovers() == []  # in use again
    content = base.set
    for change in changes:
        content = apply(content, change_from_plain(change))
    content, change = edit(content, 60.0)
    journal.append(change_to_plain(change))
    journal._release()
    assert recovered(desk.path) == (content, Relation.UNCHANGED)
    (leftover,) = list_leftovers()
    base, _, _ = leftover.load()
    journal = leftover.adopt(base)
    point = journal.save_point()
    saved = write_set(desk.path, content, expected_stamp=base.file_stamp, journal=point)
    point.saved(desk.path, saved, content)
    assert list(recovery_root().iterdir()) == []
    journal.close()


@pytest.mark.parametrize("spoil", ["cut", "flip", "noise", "zeros"])
def test_a_damaged_end_costs_the_last_edit_only(desk: Desk, spoil: str) -> None:
    desk.edit(10.0)
    desk.edit(30.0)
    wanted = desk.content
    desk.edit(40.0)
    folder = desk.journal.folder
    assert folder is not None
    desk.crash()
    path = folder / JOURNAL
    data = bytearray(path.read_bytes())
    last = bytes(data).rstrip().rfind(b"\n") + 1
    if spoil == "cut":
        del data[last + 20 :]
    elif spoil == "flip":
        data[last + 40] ^= 1
    else:
        data[last:] = b"\0" * 100 if spoil == "zeros" else b"{]\xff\n{}\n"
    path.write_bytes(data)
    (leftover,) = list_leftovers()
    assert (leftover.edits, leftover.damaged) == (2, True)
    base, _, _ = leftover.load()
    journal = leftover.adopt(base)  # what follows is written behind the last whole record
    _, change = edit(wanted, 70.0)
    journal.append(change_to_plain(change))
    journal._release()
    content, _ = recovered(desk.path)
    assert float(content["tick"].values) == 70.0
    assert not read_journal(path).damaged


def test_every_flipped_bit_of_a_journal_is_noticed(tmp_path: Path) -> None:
    """CRC-32 finds every single-bit error (its standard property, IEEE 802.3; from memory)."""
    path = tmp_path / "journal.jsonl"
    records = [{"n": n, "kind": "edit", "change": {"title": "µ", "edits": []}} for n in (1, 2)]
    lines = b"".join(map(line_of, records))
    for bit in range(len(lines) * 8):
        data = bytearray(lines)
        data[bit // 8] ^= 1 << bit % 8
        path.write_bytes(data)
        found = read_journal(path)
        assert found.damaged
        assert found.records == records[: len(found.records)]
    path.write_bytes(lines)
    assert read_journal(path).records == records


def test_repeated_or_missing_records_end_the_journal(tmp_path: Path) -> None:
    path = tmp_path / "journal.jsonl"
    one, two, three = (line_of({"n": n, "kind": "edit", "change": {}}) for n in (1, 2, 3))
    for lines, count in ((one + two + two, 2), (one + three, 1), (two, 0), (one + b"\n" + two, 1)):
        path.write_bytes(lines)
        assert (len(read_journal(path).records), read_journal(path).damaged) == (count, True)


def test_a_full_disk_does_not_stop_anybody_from_editing(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk.edit(10.0)
    real = os.write
    with monkeypatch.context() as patch:

        def full(handle: int, data: bytes) -> int:
            real(handle, bytes(data)[: len(data) // 2])
            raise OSError(errno.ENOSPC, "No space left on device")

        patch.setattr(os, "write", full)
        desk.edit(30.0)
        assert "not being recorded" in desk.journal.problem
        patch.setattr(os, "write", lambda handle, data: real(handle, bytes(data)[:7]))
        desk.edit(40.0)
        assert "not being recorded" in desk.journal.problem
    desk.edit(50.0)  # room again: nothing is missing
    assert desk.journal.problem == ""
    desk.crash()
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_a_state_folder_that_cannot_be_made_does_not_stop_anybody_either(
    desk: Desk, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    blocker = tmp_path / "blocker"
    blocker.write_text("a file where a folder should be")
    with monkeypatch.context() as patch:
        patch.setenv("BITEPOINT_STATE_DIR", str(blocker))
        desk.edit(10.0)
        assert "not being recorded" in desk.journal.problem
        assert list_leftovers() == []
    desk.edit(30.0)
    assert desk.journal.problem == ""
    desk.crash()
    assert recovered(desk.path) == (desk.content, Relation.UNCHANGED)


def test_a_changed_original_is_not_taken_for_the_base(desk: Desk) -> None:
    """The base copy comes from the file only while nobody else wrote to it."""
    wanted = small_set()
    write_set(desk.path, wanted.described(revision="theirs"))
    desk.edit(10.0)
    desk.crash()
    content, relation = recovered(desk.path)
    assert (content, relation) == (desk.content, Relation.CHANGED)
    assert content.revision == "7"


def test_half_a_recovery_folder_is_tidied_up_when_old(tmp_path: Path) -> None:
    root = recovery_root()
    old, new, odd = (root / name for name in ("old", "new", "odd"))
    for folder in (old, new, odd):
        folder.mkdir(parents=True)
        (folder / "base.h5").write_bytes(b"half")
    (odd / "about.json").write_text(json.dumps(["no", "object"]))
    for folder in (old, odd):
        os.utime(folder, (1, 1))
    assert list_leftovers() == []
    assert not old.exists()
    assert not odd.exists()
    assert new.exists()  # perhaps being made this moment


def test_an_edit_waits_for_no_disk(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.edit(10.0)
    done = threading.Event()
    in_time: list[bool] = []
    monkeypatch.setattr(os, "fsync", lambda handle: in_time.append(done.wait(20)))
    for value in range(20):
        desk.edit(20.0 + value)
    done.set()  # an edit that waited for the disk would have waited in vain, and for 20 s
    desk.journal.save_point().saving("0" * 64)
    assert in_time
    assert all(in_time)
