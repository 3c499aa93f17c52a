"""Whatever fails while saving, the old file is whole and nothing is left beside it."""

from __future__ import annotations

import errno
import os
import stat
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from calib_model.errors import FileChanged, SaveFailed
from calib_model.store import (
    HistoryColumns,
    atomic,
    has_changed,
    read_set,
    read_set_here,
    write_set,
)
from calib_model.store.attributes import carry_over
from tests.store.making import small_set

NEW = small_set().described(revision="8")


@pytest.fixture
def saved(tmp_path: Path) -> Path:
    path = tmp_path / "larch.h5"
    write_set(path, small_set())
    return path


def beside(path: Path) -> set[str]:
    return {p.name for p in path.parent.iterdir()} - {"bitepoint-config", "bitepoint-state"}


def test_one_backup_is_kept(saved: Path) -> None:
    old = saved.read_bytes()
    write_set(saved, NEW)
    backup = saved.with_name("larch.h5.bak")
    assert backup.read_bytes() == old
    write_set(saved, NEW.described(revision="9"))
    assert read_set(backup).set.revision == "8"
    assert beside(saved) == {"larch.h5", "larch.h5.bak"}
    write_set(saved.with_name("other.h5"), NEW, backup=False)
    assert beside(saved) == {"larch.h5", "larch.h5.bak", "other.h5"}


def test_what_a_killed_save_left_is_tidied_up_later(saved: Path) -> None:
    stale = [saved.with_name(f".larch.h5.0a1b2c3d{end}") for end in (".saving", ".bak")]
    fresh = saved.with_name(".larch.h5.ffffffff.saving")
    other = saved.with_name(".other.h5.0a1b2c3d.saving")
    for path in (*stale, fresh, other):
        path.write_bytes(b"half")
    for path in (*stale, other):
        os.utime(path, (1, 1))
    write_set(saved, NEW)
    assert beside(saved) == {"larch.h5", "larch.h5.bak", fresh.name, other.name}


def test_the_mode_of_the_file_is_kept(saved: Path) -> None:
    saved.chmod(0o640)
    write_set(saved, NEW)
    assert stat.S_IMODE(saved.stat().st_mode) == 0o640


def test_the_extended_attributes_of_the_file_are_kept(saved: Path) -> None:
    """Among them access lists, `system.posix_acl_access` (acl(5), xattr(7); from memory)."""
    if not hasattr(os, "setxattr"):
        pytest.skip("only Linux has them in the standard library")
    os.setxattr(saved, "user.origin", b"a winter's trip")
    everybody = 0xFFFFFFFF
    entries = [(0x01, 6, everybody), (0x02, 6, 12345), (0x04, 4, everybody)]
    entries += [(0x10, 6, everybody), (0x20, 0, everybody)]
    access = struct.pack("<I", 2) + b"".join(struct.pack("<HHI", *entry) for entry in entries)
    os.setxattr(saved, "system.posix_acl_access", access)
    mode = saved.stat().st_mode
    write_set(saved, NEW)
    assert os.getxattr(saved, "user.origin") == b"a winter's trip"
    assert os.getxattr(saved, "system.posix_acl_access") == access
    assert saved.stat().st_mode == mode


def test_the_owner_of_the_file_is_kept(saved: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    given: list[tuple[int, int]] = []

    def fchown(handle: int, owner: int, group: int) -> None:
        given.append((owner, group))
        if owner != -1:  # nobody but root may give a file away
            raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "fchown", fchown, raising=False)
    found = list(saved.stat())
    found[4:6] = 12345, 54321
    with saved.open("rb") as file:
        carry_over(saved, os.stat_result(found), file.fileno())
    assert given == [(12345, 54321), (-1, 54321)]


def test_another_name_of_the_file_keeps_the_old_content(saved: Path) -> None:
    """A hard link cannot be kept by who never writes into the live file."""
    old = saved.read_bytes()
    other = saved.with_name("other name.h5")
    other.hardlink_to(saved)
    write_set(saved, NEW)
    assert other.read_bytes() == old
    assert read_set(saved).set == NEW


def test_a_link_is_followed_to_its_file(saved: Path) -> None:
    link = saved.parent / "links" / "current.h5"
    link.parent.mkdir()
    link.symlink_to(saved)
    write_set(link, NEW)
    assert link.is_symlink()
    assert read_set(saved).set.revision == "8"
    assert list(link.parent.iterdir()) == [link]


def test_an_open_reader_keeps_the_old_content(saved: Path) -> None:
    old = saved.read_bytes()
    with saved.open("rb") as reader:
        write_set(saved, NEW)
        assert reader.read() == old


def test_a_file_that_another_program_changed_is_left_alone(saved: Path) -> None:
    stamp = read_set(saved).file_stamp
    write_set(saved, NEW)  # stands for the other program
    theirs = saved.read_bytes()
    with pytest.raises(FileChanged, match="Another program changed it"):
        write_set(saved, small_set().described(revision="mine"), expected_stamp=stamp)
    assert saved.read_bytes() == theirs
    assert has_changed(saved, stamp)


def test_a_touch_or_a_copy_back_is_no_change(saved: Path) -> None:
    stamp = read_set(saved).file_stamp
    data = saved.read_bytes()
    os.utime(saved, ns=(1, 1))
    assert not has_changed(saved, stamp)
    saved.unlink()
    saved.write_bytes(data)
    assert not has_changed(saved, stamp)
    write_set(saved, NEW, expected_stamp=stamp)
    assert read_set(saved).set == NEW


def test_a_file_that_is_gone_is_saved_anew(saved: Path) -> None:
    stamp = read_set(saved).file_stamp
    saved.unlink()
    write_set(saved, NEW, expected_stamp=stamp)
    assert read_set(saved).set == NEW


def test_a_change_while_the_image_is_made_is_noticed(
    saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stamp = read_set(saved).file_stamp
    back = atomic._read_back

    def meanwhile(temporary: Path) -> bytes:
        saved.write_bytes(b"theirs")
        return back(temporary)

    monkeypatch.setattr(atomic, "_read_back", meanwhile)
    with pytest.raises(FileChanged):
        write_set(saved, NEW, expected_stamp=stamp)
    assert saved.read_bytes() == b"theirs"
    assert beside(saved) == {"larch.h5"}


def test_a_read_only_file_is_left_alone(saved: Path) -> None:
    saved.chmod(0o444)
    with pytest.raises(SaveFailed, match=r"read-only.*another name"):
        write_set(saved, NEW)
    assert read_set(saved).set == small_set()


def test_a_missing_folder_and_a_folder_in_place_of_the_file_are_named(tmp_path: Path) -> None:
    with pytest.raises(SaveFailed, match="folder does not exist"):
        write_set(tmp_path / "gone" / "larch.h5", NEW)
    (tmp_path / "folder.h5").mkdir()
    with pytest.raises(SaveFailed, match="not a regular file"):
        write_set(tmp_path / "folder.h5", NEW)
    with pytest.raises(SaveFailed, match="name is too long"):
        write_set(tmp_path / ("x" * 300 + ".h5"), NEW)


def test_saving_can_be_called_off_until_the_last_step(saved: Path) -> None:
    with pytest.raises(SaveFailed, match="called off"):
        write_set(saved, NEW, cancelled=lambda: True)
    assert read_set(saved).set == small_set()
    assert beside(saved) == {"larch.h5"}


def test_what_the_disk_gives_back_is_compared(saved: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    back = atomic._read_back
    monkeypatch.setattr(atomic, "_read_back", lambda p: back(p)[:-1] + b"?")
    with pytest.raises(SaveFailed, match="not what was written"):
        write_set(saved, NEW)
    assert read_set(saved).set == small_set()
    assert beside(saved) == {"larch.h5"}


def test_a_file_held_for_a_moment_is_waited_for(
    saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows refuses to replace a file that another program holds (from memory)."""
    real, refusals = os.replace, iter([PermissionError(errno.EACCES, "held")] * 4)

    def held(source: Any, target: Any, **more: Any) -> None:
        for refusal in refusals:
            raise refusal
        real(source, target, **more)

    monkeypatch.setattr(os, "replace", held)
    monkeypatch.setattr(atomic.time, "sleep", lambda seconds: None)
    write_set(saved, NEW)
    monkeypatch.undo()
    assert read_set(saved).set == NEW


def test_what_was_written_is_on_the_disk_before_it_takes_the_place_of_the_old(
    saved: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else a power cut could leave a new name with no data (POSIX fsync; rename orders nothing)."""
    done: list[tuple[str, str]] = []
    handles: dict[int, str] = {}

    def told(name: str) -> Callable[..., Any]:
        real = getattr(os, name)

        def call(first: Any, *rest: Any, **more: Any) -> Any:
            result = real(first, *rest, **more)
            if name == "open":
                handles[result] = os.fspath(first)
            done.append((name, handles.get(first, "") if isinstance(first, int) else str(first)))
            return result

        return call

    for name in ("open", "write", "fsync", "replace"):
        monkeypatch.setattr(os, name, told(name))
    write_set(saved, NEW)
    monkeypatch.undo()
    (new,) = {where for what, where in done if what == "write" and ".saving" in where}
    written = max(n for n, one in enumerate(done) if one == ("write", new))
    placed = done.index(("replace", new))
    assert written < done.index(("fsync", new)) < placed
    if os.name == "posix":  # elsewhere a folder cannot be synced
        assert ("fsync", str(saved.parent)) in done[placed:]


# -- every fault ---------------------------------------------------------------------------

CALLS = ("open", "write", "fsync", "replace", "link", "read", "fchmod", "stat", "close")


class Faults:
    """Lets the nth call that touches the folder fail, as a full or broken disk would."""

    def __init__(self, patch: pytest.MonkeyPatch, folder: Path) -> None:
        self.folder = str(folder)
        self.calls: list[str] = []
        self.fail_at = -1
        self.error = OSError(errno.EIO, "fault")
        self.handles: set[int] = set()
        for name in CALLS:
            patch.setattr(os, name, self._wrapped(name, getattr(os, name)))

    def _wrapped(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*args: Any, **named: Any) -> Any:
            first = args[0] if args else None
            ours = (
                first in self.handles
                if isinstance(first, int)
                else str(first).startswith(self.folder)
            )
            if not ours:
                return real(*args, **named)
            self.calls.append(name)
            if name == "close":
                self.handles.discard(first)
            if len(self.calls) - 1 == self.fail_at:
                if name == "close":
                    real(*args, **named)
                raise self.error
            result = real(*args, **named)
            if name == "open":
                self.handles.add(result)
            return result

        return call


def run_with_fault(faults: Faults, path: Path, number: int, code: int) -> Exception | None:
    faults.calls.clear()
    faults.handles.clear()
    faults.fail_at, faults.error = number, OSError(code, os.strerror(code))
    try:
        write_set(path, NEW, HistoryColumns())
    except SaveFailed as error:
        return error
    finally:
        faults.fail_at = -1
    return None


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO, errno.EACCES, errno.EROFS])
def test_after_every_fault_the_file_is_old_or_new_and_whole(
    saved: Path, monkeypatch: pytest.MonkeyPatch, code: int
) -> None:
    import h5py  # noqa: F401  # not to be imported under faults

    monkeypatch.setattr(atomic, "RETRIES", ())
    old = saved.read_bytes()
    with monkeypatch.context() as patch:
        faults = Faults(patch, saved.parent)
        assert run_with_fault(faults, saved, -1, code) is None
        calls = list(faults.calls)
    assert {"open", "write", "fsync", "replace", "link", "read"} <= set(calls), calls
    failed = 0
    for number, name in enumerate(calls):
        saved.write_bytes(old)
        with monkeypatch.context() as patch:
            faults = Faults(patch, saved.parent)
            error = run_with_fault(faults, saved, number, code)
        now = saved.read_bytes()
        if error is None or now != old:
            assert read_set_here(now, saved).set == NEW, (number, name)
        else:
            failed += 1
            assert isinstance(error, SaveFailed)
            assert error.remedy, (number, name)
            assert (code != errno.ENOSPC) or "full" in str(error)
        assert beside(saved) <= {"larch.h5", "larch.h5.bak"}, (number, name, beside(saved))
    assert failed >= 8, (failed, calls)
