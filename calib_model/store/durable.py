"""Ask the system to put onto the disk what was written, so that a power cut cannot take it.

A file is safe when its content, its name in the folder, and each new folder's name in the one
above were all flushed: a flushed file whose name was not may be gone, and a name whose content was
not may lead to an empty file.
"""

from __future__ import annotations

import os
from pathlib import Path


def sync_handle(handle: int) -> bool:
    """Flush an open file; tell whether the system says that it did."""
    try:
        os.fsync(handle)
    except OSError:  # a disk that cannot sync still holds what was written until power fails
        return False
    return True


def sync_file(path: Path) -> bool:
    """Flush a file by its name; tell whether the system says that it did."""
    try:
        handle = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    except OSError:
        return False
    try:
        return sync_handle(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Make names in a folder durable; where folders cannot be synced the system sees to it."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:  # Windows
        return
    try:
        sync_handle(handle)  # refused by some file systems, which keep names in order themselves
    finally:
        os.close(handle)


def make_folders(folder: Path) -> list[Path]:
    """Make a folder and those above it that are missing.

    Returns
    -------
    list of Path
        The folders that hold a new name, to be given to `sync_folder`.

    Raises
    ------
    OSError
    """
    missing = []
    place = folder
    while not place.exists() and place != place.parent:
        missing.append(place)
        place = place.parent
    folder.mkdir(parents=True, exist_ok=True)
    return [new.parent for new in missing]
