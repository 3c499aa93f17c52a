"""What the file system keeps beside a file's content, carried over to the file that replaces it."""

from __future__ import annotations

import os
import stat
from contextlib import suppress
from pathlib import Path


def carry_over(old: Path, found: os.stat_result, handle: int) -> None:
    """Give a new file the owner, the mode and the extended attributes of the one it replaces.

    Access lists are extended attributes.  What the system does not let this user set (another's
    ownership, a security label) is left as the system set it.

    Parameters
    ----------
    old : Path
    found : os.stat_result
        Of the old file.
    handle : int
        Of the new file.

    Raises
    ------
    OSError
        If the mode cannot be set: the new file may not be open to more people than the old one.
    """
    if hasattr(os, "fchown"):
        mine = os.fstat(handle)
        if (mine.st_uid, mine.st_gid) != (found.st_uid, found.st_gid):
            try:
                os.fchown(handle, found.st_uid, found.st_gid)
            except OSError:
                with suppress(OSError):
                    os.fchown(handle, -1, found.st_gid)
    if hasattr(os, "listxattr"):  # Linux
        with suppress(OSError):
            for name in os.listxattr(old):
                with suppress(OSError):
                    os.setxattr(handle, name, os.getxattr(old, name))
    if hasattr(os, "fchmod"):
        os.fchmod(handle, stat.S_IMODE(found.st_mode))
