"""A disk in mind: what a power cut could leave of what this process wrote, worst first.

Every call that changes a folder is recorded.  A state after a cut is made from the calls so far by
the rules that file systems keep (fsync(2), and what ext4 adds to it; from memory):

- a file's content is on the disk up to its last fsync; what was written since need not be;
- a name is on the disk once its folder was flushed (``strict``, as POSIX has it); ext4 keeps names
  in order, and every fsync brings all before it (``in_order``), or all names are there though the
  content they lead to is not (``names_only``).
"""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import pytest

WAYS = ("strict", "in_order", "names_only", "all")


class Step(NamedTuple):
    """One call: what it did, in which folders, and to which file or name."""

    kind: str
    folders: tuple[str, ...] = ()
    file: int = -1
    names: tuple[str, ...] = ()
    place: int = 0
    data: bytes = b""


class RecordedDisk:
    """Records what is done below a folder, until the test's patches are undone."""

    def __init__(self, root: Path, patch: pytest.MonkeyPatch) -> None:
        self.root = str(root)
        self.steps: list[Step] = []
        self._lock = threading.RLock()
        self._files = 0
        self._names: dict[str, int] = {}
        self._open: dict[int, tuple[int, str, bool]] = {}
        self._places: dict[int, int] = {}
        self._sizes: dict[int, int] = {}
        for name in ("open", "write", "ftruncate", "fsync", "dup", "close", "replace", "rename",
                     "link", "unlink", "mkdir", "rmdir"):  # fmt: skip
            patch.setattr(os, name, self._recorded(name, getattr(os, name)))
        # These do not go through `os`.
        patch.setattr(Path, "write_bytes", _write_bytes)
        patch.setattr(
            Path, "write_text",
            lambda path, text, encoding="utf-8": _write_bytes(path, text.encode(encoding)),
        )  # fmt: skip

    def _recorded(self, name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        note = getattr(self, f"_on_{name}")

        def call(first: Any, *rest: Any, **named: Any) -> Any:
            ours = first in self._open if isinstance(first, int) else self._below(first)
            if not ours:
                return real(first, *rest, **named)
            with self._lock:  # a call and its record are one
                first = first if isinstance(first, int) else str(first)
                new = name == "open" and not Path(first).exists()
                result = real(first, *rest, **named)
                note(result, new, first, *map(_plain, rest))
            return result

        return call

    def _below(self, path: object) -> bool:
        return isinstance(path, str | Path) and f"{path}/".startswith(f"{self.root}/")

    def _add(self, kind: str, *paths: str, **more: Any) -> None:
        folders = tuple(str(Path(path).parent) for path in paths)
        self.steps.append(Step(kind, folders, names=paths, **more))

    def _on_open(self, handle: int, new: bool, path: str, flags: int, *_mode: Any) -> None:
        if new:
            self._files += 1
            self._names[path] = self._files
            self._sizes[self._files] = 0
            self._add("create", path, file=self._files)
        self._open[handle] = (self._names.get(path, -1), path, bool(flags & os.O_APPEND))
        self._places[handle] = 0
        if flags & os.O_TRUNC and not new:
            self.steps.append(Step("cut", file=self._names[path]))

    def _on_write(self, count: int, _new: bool, handle: int, data: Any) -> None:
        file, _, at_end = self._open[handle]
        place = self._sizes[file] if at_end else self._places[handle]
        self.steps.append(Step("write", file=file, place=place, data=bytes(data)[:count]))
        self._places[handle] = place + count
        self._sizes[file] = max(self._sizes[file], place + count)

    def _on_ftruncate(self, _result: None, _new: bool, handle: int, size: int) -> None:
        file = self._open[handle][0]
        self.steps.append(Step("cut", file=file, place=size))
        self._sizes[file] = size

    def _on_fsync(self, _result: None, _new: bool, handle: int) -> None:
        file, path, _ = self._open[handle]
        self.steps.append(Step("fsync", file=file, names=(path,)))

    def _on_dup(self, copy: int, _new: bool, handle: int) -> None:
        self._open[copy] = self._open[handle]
        self._places[copy] = self._places[handle]

    def _on_close(self, _result: None, _new: bool, handle: int) -> None:
        del self._open[handle]

    def _on_rename(self, _result: None, _new: bool, old: str, new: str) -> None:
        if old in self._names:
            self._names[new] = self._names.pop(old)
        self._add("rename", old, new)

    _on_replace = _on_rename

    def _on_link(self, _result: None, _new: bool, old: str, new: str) -> None:
        self._names[new] = self._names[old]
        self._add("link", old, new)

    def _on_unlink(self, _result: None, _new: bool, path: str) -> None:
        self._names.pop(path, None)
        self._add("unlink", path)

    def _on_mkdir(self, _result: None, _new: bool, path: str, *_mode: Any) -> None:
        self._add("mkdir", path)

    def _on_rmdir(self, _result: None, _new: bool, path: str) -> None:
        self._add("rmdir", path)

    # -- after a cut ---------------------------------------------------------------------------

    def state(
        self, steps: list[Step], way: str
    ) -> tuple[dict[str, int], set[str], dict[int, bytes]]:
        """Return the names of files, the folders, and the contents that a cut leaves."""
        last = max((n for n, step in enumerate(steps) if step.kind == "fsync"), default=-1)
        content: dict[int, bytearray] = {}
        flushed: dict[int, bytes] = {}
        flushes: dict[str, int] = {}
        for number, step in enumerate(steps):
            if step.kind == "write":
                held = content.setdefault(step.file, bytearray())
                held[step.place : step.place + len(step.data)] = step.data
            elif step.kind == "cut":
                del content.setdefault(step.file, bytearray())[step.place :]
            elif step.kind == "fsync":
                flushes[step.names[0]] = number
                flushed[step.file] = bytes(content.get(step.file, b""))
        names: dict[str, int] = {}
        folders = {self.root}
        for number, step in enumerate(steps):
            there = {
                "strict": all(flushes.get(folder, -1) > number for folder in step.folders),
                "in_order": number <= last,
            }.get(way, True)
            if step.names and step.kind != "fsync" and there:
                _rename(names, folders, step)
        kept = {n: bytes(c) for n, c in content.items()} if way == "all" else flushed
        return names, folders, kept

    def lay_out(self, steps: list[Step], way: str) -> None:
        """Make what a cut leaves, in the place of the folder."""
        names, folders, content = self.state(steps, way)
        shutil.rmtree(self.root, ignore_errors=True)
        for folder in sorted(folders):
            Path(folder).mkdir(parents=True, exist_ok=True)
        for path, file in names.items():
            if Path(path).parent.is_dir():  # else its folder is gone, and it with that
                Path(path).write_bytes(content.get(file, b""))


def _rename(names: dict[str, int], folders: set[str], step: Step) -> None:
    first, *others = step.names
    if step.kind == "create":
        names[first] = step.file
    elif step.kind == "mkdir":
        folders.add(first)
    elif step.kind == "rmdir":
        folders.discard(first)
    elif step.kind == "unlink":
        names.pop(first, None)
    elif first in names:  # link, rename
        names[others[0]] = names[first] if step.kind == "link" else names.pop(first)


def _plain(value: Any) -> Any:
    return str(value) if isinstance(value, Path) else value


def _write_bytes(path: Path, data: bytes) -> int:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o666)
    try:
        return os.write(handle, data)
    finally:
        os.close(handle)
