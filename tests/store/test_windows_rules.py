"""Saving, journal and locks where Windows' rules hold; see `tests.windows_rules`."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import h5py  # noqa: F401  # not to be loaded while the rules are in force
import pytest

from calib_model.errors import SaveFailed
from calib_model.signoff.keys import load_key, make_key
from calib_model.store import atomic, child, read_set, read_set_here, write_set
from calib_model.store.places import FolderLock, recovery_root
from calib_model.store.source import Unreadable, read_bytes
from calib_model.vehicle.executors import cores
from tests.store.making import small_set
from tests.store.test_store_journal import Desk, recovered
from tests.windows_rules import check_name, is_held, windows_rules  # noqa: F401

pytestmark = [
    pytest.mark.usefixtures("windows_rules"),
    pytest.mark.skipif(sys.platform != "linux", reason="the rules are laid down by Linux's means"),
]
NEW = small_set().described(revision="8")


@pytest.fixture(autouse=True)
def copied_backups(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(atomic, "LINKS", False)  # it is False where the system is Windows


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "larch.h5"
    write_set(made, small_set())
    return made


def beside(path: Path) -> set[str]:
    return {p.name for p in path.parent.iterdir()} - {"bitepoint-config", "bitepoint-state"}


def test_the_rules_are_in_force(path: Path) -> None:
    with pytest.raises(ImportError):
        import fcntl  # noqa: F401
    with path.open("rb"), pytest.raises(PermissionError):
        path.unlink()
    path.with_name("other").write_bytes(b"")
    with path.open("rb"), pytest.raises(PermissionError):
        path.with_name("other").replace(path)
    with pytest.raises(PermissionError):
        os.open(path.parent, os.O_RDONLY)
    for name in ("nul.h5", "Aux", "com1.txt", "a?.h5", "end."):
        with pytest.raises(OSError, match="name"):
            check_name(path.with_name(name))
    assert not is_held(path)


def test_a_set_is_saved_over_and_its_backup_kept(path: Path) -> None:
    old = path.read_bytes()
    for revision in ("8", "9"):
        write_set(path, NEW.described(revision=revision))
        assert read_set(path).set.revision == revision
    assert read_set(path.with_name("larch.h5.bak")).set.revision == "8"
    assert old != path.read_bytes()
    assert beside(path) == {"larch.h5", "larch.h5.bak"}


def test_a_set_that_another_program_holds_is_not_saved_and_not_harmed(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    paused: list[float] = []
    monkeypatch.setattr(atomic.time, "sleep", paused.append)
    old = path.read_bytes()
    with path.open("rb"), pytest.raises(SaveFailed, match="held by another program"):
        write_set(path, NEW)
    assert paused == list(atomic.RETRIES)  # it was waited for
    assert path.read_bytes() == old
    # Nothing hidden either: a second name of a file that is held could not be removed again.
    assert beside(path) <= {"larch.h5", "larch.h5.bak"}
    write_set(path, NEW)
    assert read_set(path).set == NEW


def test_a_set_that_is_let_go_meanwhile_is_saved(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    holder = path.open("rb")
    paused: list[float] = []

    def pause(seconds: float) -> None:
        paused.append(seconds)
        if len(paused) == 3:
            holder.close()

    monkeypatch.setattr(atomic.time, "sleep", pause)
    write_set(path, NEW)
    assert len(paused) == 3
    assert read_set(path).set == NEW
    assert beside(path) == {"larch.h5", "larch.h5.bak"}


def test_a_backup_that_is_held_stops_the_save_and_leaves_all_as_it_was(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(atomic.time, "sleep", lambda seconds: None)
    write_set(path, NEW)
    backup = path.with_name("larch.h5.bak")
    old, older = path.read_bytes(), backup.read_bytes()
    with backup.open("rb"), pytest.raises(SaveFailed, match="held by another program"):
        write_set(path, NEW.described(revision="9"))
    assert (path.read_bytes(), backup.read_bytes()) == (old, older)
    assert beside(path) == {"larch.h5", "larch.h5.bak"}


def folders(count: int) -> bool:
    """Wait until there are so many recovery folders: one goes once the next is on the disk."""
    end = time.monotonic() + 20
    while len(list(recovery_root().iterdir())) != count:
        if time.monotonic() > end:
            return False
        time.sleep(0.01)
    return True


def test_edits_survive_a_crash_and_a_clean_close_leaves_nothing(tmp_path: Path) -> None:
    desk = Desk(tmp_path / "larch.h5")
    desk.edit(0.25)
    desk.save()  # the journal starts anew: its folder is replaced
    assert desk.journal.folder is None
    assert folders(0)
    desk.edit(0.5)
    point, content = desk.journal.save_point(), desk.content
    desk.edit(0.75)  # while the save is under way
    saved = write_set(desk.path, content, desk.stored.history, journal=point)
    point.saved(desk.path, saved, content)
    desk.stamp = saved.file_stamp
    assert folders(1)
    desk.edit(0.125)
    desk.crash()
    found, _ = recovered(desk.path)
    assert found == desk.content
    other = Desk(tmp_path / "other.h5")
    other.edit(0.5)
    folder = other.journal.folder
    assert folder is not None
    other.journal.close()
    assert not folder.exists()


def test_one_holds_a_recovery_folder_at_a_time(tmp_path: Path) -> None:
    first = FolderLock(tmp_path)
    with pytest.raises(BlockingIOError):
        FolderLock(tmp_path)
    first.release()
    FolderLock(tmp_path).release()


def test_reading_does_without_the_limits_that_are_not_there(path: Path) -> None:
    child.limit_resources()  # says nothing: the guard's bounds and the time limit remain
    header, buffers = child._columns_of(path)
    assert "error" not in header
    assert len(buffers) == len(header["columns"])
    assert read_set_here(path.read_bytes(), path).set == small_set()
    assert cores() == (os.cpu_count() or 1)


def test_a_folder_is_called_a_folder_not_a_lack_of_permission(tmp_path: Path) -> None:
    with pytest.raises(Unreadable) as told:
        read_bytes(tmp_path)
    assert "it is a folder, not a plain file" in told.value.problem


def test_keys_are_made_and_read(tmp_path: Path) -> None:
    public = make_key(tmp_path / "key", "four plain words here", "reviewer")
    assert load_key(tmp_path / "key", "four plain words here").public.fingerprint == (
        public.fingerprint
    )
