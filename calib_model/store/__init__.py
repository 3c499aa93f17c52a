"""Set files: reading in a process of its own, atomic saving, journal and recovery.

Names are imported when first used: the reading process must not import the model, nor a
program that only opens a file the writer.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .atomic import write_whole
    from .history import HistoryColumns
    from .journal import Journal, SavePoint
    from .reading import FileStamp, Reading, StoredSet, open_file, read_set, read_set_here
    from .recovery import Leftover, Relation, list_leftovers
    from .writing import Saved, has_changed, image_of, write_set

_HOMES = {
    "HistoryColumns": "history",
    "Journal": "journal",
    "SavePoint": "journal",
    "Leftover": "recovery",
    "Relation": "recovery",
    "list_leftovers": "recovery",
    "FileStamp": "reading",
    "Reading": "reading",
    "StoredSet": "reading",
    "open_file": "reading",
    "read_set": "reading",
    "read_set_here": "reading",
    "Saved": "writing",
    "has_changed": "writing",
    "image_of": "writing",
    "write_set": "writing",
    "write_whole": "atomic",
}

__all__ = [
    "FileStamp",
    "HistoryColumns",
    "Journal",
    "Leftover",
    "Reading",
    "Relation",
    "SavePoint",
    "Saved",
    "StoredSet",
    "has_changed",
    "image_of",
    "list_leftovers",
    "open_file",
    "read_set",
    "read_set_here",
    "write_set",
    "write_whole",
]


def __getattr__(name: str) -> Any:
    home = _HOMES.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{home}"), name)
