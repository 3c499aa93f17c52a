"""Windows' rules for files, as far as they can be had on Linux: a fixture for tests.

What Windows lacks is missing (`fcntl`, `resource`, fork, modes, owners), and a file that anybody
holds open can be neither replaced nor renamed nor removed: CPython opens files there without
FILE_SHARE_DELETE (CreateFileW, Microsoft's documentation of the Win32 API, from memory), so that
each of these ends as PermissionError. Locks go by `msvcrt.locking`. Names that Windows does not
take are refused. Nothing here was compared with a Windows machine.
"""

from __future__ import annotations

import errno
import importlib
import os
import shutil
import sys
import types
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

HANDLES = Path("/proc/self/fd")
MISSING = ("fork", "forkpty", "fchmod", "fchown", "chown", "getuid", "geteuid", "sched_getaffinity",
           "O_DIRECTORY", "O_NONBLOCK", "O_NOFOLLOW", "openpty", "register_at_fork")  # fmt: skip
NOT_IN_NAMES = set('<>:"|?*') | {chr(n) for n in range(32)}
RESERVED = {"con", "prn", "aux", "nul"} | {f"{k}{n}" for k in ("com", "lpt") for n in range(1, 10)}
"""Names of devices, whatever follows their first point (Naming Files, from memory)."""


def is_held(path: Any) -> bool:
    """Whether this process holds a file open, by whatever name."""
    try:
        wanted = Path(os.fsdecode(path)).stat()
    except OSError:
        return False
    for handle in HANDLES.iterdir():
        try:
            found = handle.stat()
        except OSError:
            continue
        if (found.st_dev, found.st_ino) == (wanted.st_dev, wanted.st_ino):
            return True
    return False


def check_name(path: Any) -> None:
    """Refuse what Windows would not take as the name of a new file."""
    name = Path(os.fsdecode(path)).name
    if NOT_IN_NAMES & set(name) or name.endswith((" ", ".")):
        raise OSError(errno.EINVAL, "The name is not valid", os.fsdecode(path))
    if name.split(".")[0].strip().casefold() in RESERVED:
        raise PermissionError(errno.EACCES, "The name is a device's", os.fsdecode(path))


def fake_msvcrt() -> types.ModuleType:
    """The one function we use of it: a lock on bytes from where the handle stands."""
    fcntl = importlib.import_module("fcntl")
    module = types.ModuleType("msvcrt")

    def locking(handle: int, mode: int, count: int) -> None:
        assert mode in (1, 2)
        assert count > 0
        try:
            # flock is by open file, as Windows' locks are: a second handle of this very process
            # is refused too.
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise PermissionError(errno.EACCES, "held by another") from None

    module.locking, module.LK_LOCK, module.LK_NBLCK = locking, 1, 2  # type: ignore[attr-defined]
    return module


def lay_down(patch: pytest.MonkeyPatch) -> None:
    """Put the rules in force until the patch is undone."""
    patch.setitem(sys.modules, "msvcrt", fake_msvcrt())
    for name in ("fcntl", "resource"):
        patch.setitem(sys.modules, name, None)
    for name in MISSING:
        patch.delattr(os, name, raising=False)
    patch.setattr(shutil, "_use_fd_functions", False)  # nor is there a folder to work from

    def guarded(name: str, targets: int) -> Callable[..., Any]:
        real = getattr(os, name)

        def call(*paths: Any, **more: Any) -> Any:
            for path in paths[:targets]:
                if is_held(path):
                    raise PermissionError(errno.EACCES, "used by another process", str(path))
            return real(*paths, **more)

        return call

    for name, targets in (("replace", 2), ("rename", 2), ("unlink", 1), ("remove", 1)):
        patch.setattr(os, name, guarded(name, targets))
    real_open = os.open

    def open_(path: Any, flags: int, *more: Any, **named: Any) -> int:
        if Path(os.fsdecode(path)).is_dir():
            raise PermissionError(errno.EACCES, "a folder cannot be opened", str(path))
        if flags & os.O_CREAT:
            check_name(path)
        return real_open(path, flags, *more, **named)

    patch.setattr(os, "open", open_)


@pytest.fixture
def windows_rules(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows' rules for the time of a test."""
    lay_down(monkeypatch)
