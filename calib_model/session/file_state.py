"""How a document's file was, and whether it may be written to."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ..store import FileStamp


@dataclass(frozen=True)
class FileState:
    """How a document's file was when it was opened or last saved.

    Parameters
    ----------
    stamp : FileStamp or None
        None to let the next save replace whatever is there.
    records : tuple of (kind, plain data)
        Remarks, waivers, decisions and sign-offs; carried over as they are.
    """

    stamp: FileStamp | None
    records: tuple[tuple[str, Mapping[str, Any]], ...] = ()


def is_read_only(path: Path) -> bool:
    """Tell whether a file, or the folder that a save needs, may not be written to."""
    try:
        mode = path.stat().st_mode
    except OSError:
        return False
    return not (mode & 0o222 and os.access(path, os.W_OK) and os.access(path.parent, os.W_OK))
