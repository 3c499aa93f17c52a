"""A set file (HDF5): everything that a set has.  It is opened, not imported."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..exchange.release_files import marked_set
from ..session.recovery import columns_of
from ..store import write_set
from .registry import Format, Part

if TYPE_CHECKING:
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Write the set; a mark is in its description, a trial in its record."""
    marked = marked_set(outgoing.content, outgoing.mark, outgoing.trial)
    history = columns_of(outgoing.history)
    write_set(path, marked, history, records=outgoing.records, backup=False)


FORMAT = Format(
    "h5",
    "Set file (HDF5)",
    "a set file, with history and sign-offs",
    (".h5",),
    frozenset(Part),
    write,
)
