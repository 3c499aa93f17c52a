"""A small ext4 disk that can lose its power.

The cut is the one that the kernel has for testing file systems: `FS_IOC_SHUTDOWN` without flushing
the log.  From that call on nothing reaches the disk, and what was only in memory is gone when the
disk is mounted again (Linux, Documentation of ext4's ioctls: ``EXT4_IOC_SHUTDOWN``; from memory).
"""

from __future__ import annotations

import os
import shutil
import struct
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FS_IOC_SHUTDOWN = 0x8004587D  # _IOR('X', 125, __u32)
NO_LOG_FLUSH = 2
MIB = 32
TOOLS = ("mkfs.ext4", "mount", "umount")


class NoDisk(Exception):
    """This machine lets nobody mount a disk; says why."""


class SmallDisk:
    """An image file, mounted at a folder."""

    def __init__(self, folder: Path) -> None:
        self._image = folder / "disk.img"
        self.root = folder / "disk"
        self.root.mkdir()
        self.mounted = False

    def fresh(self) -> None:
        """Begin with an empty disk."""
        self.leave()
        self._image.unlink(missing_ok=True)
        with self._image.open("wb") as file:
            file.truncate(MIB << 20)
        _run("mkfs.ext4", "-q", "-F", "-m", "0", str(self._image))
        self.mount()

    def mount(self) -> None:
        """Mount it; what its log holds is brought in order."""
        _run("mount", "-t", "ext4", "-o", "loop", str(self._image), str(self.root))
        self.mounted = True

    def cut(self) -> None:
        """Cut the power."""
        import fcntl

        handle = os.open(self.root, os.O_RDONLY)
        try:
            fcntl.ioctl(handle, FS_IOC_SHUTDOWN, struct.pack("I", NO_LOG_FLUSH))
        finally:
            os.close(handle)

    def leave(self, *, lazily: bool = False) -> None:
        """Unmount it; lazily, when the last file in it is closed."""
        if self.mounted:
            _run("umount", *(["--lazy"] if lazily else []), str(self.root))
            self.mounted = False


@contextmanager
def small_disk(folder: Path) -> Iterator[SmallDisk]:
    """Have a small disk.

    Raises
    ------
    NoDisk
    """
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        raise NoDisk("mounting a disk needs root")
    missing = [tool for tool in TOOLS if shutil.which(tool) is None]
    if missing:
        raise NoDisk(f"{', '.join(missing)} is not installed")
    disk = SmallDisk(folder)
    try:
        disk.fresh()
    except subprocess.CalledProcessError as error:
        raise NoDisk(f"mounting was refused: {error.stderr.strip()}") from None
    try:
        yield disk
    finally:
        disk.leave(lazily=True)  # a test that failed may hold files


def _run(*command: str) -> None:
    subprocess.run(command, check=True, capture_output=True, text=True, stdin=subprocess.DEVNULL)
