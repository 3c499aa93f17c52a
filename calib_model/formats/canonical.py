"""Canonical text: what the digest is of, exact to the last digit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..exchange.canonical_reader import read_canonical
from ..exchange.release_files import text_bytes
from ..store import write_whole
from .registry import Format, Part

if TYPE_CHECKING:
    from ..core.calibration_set import CalibrationSet
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Write the text; a mark stands in comment lines before it."""
    write_whole(path, text_bytes(outgoing.content, outgoing.mark))


def read(path: Path) -> CalibrationSet:
    """Read it back; see `calib_model.exchange.canonical_reader`."""
    return read_canonical(path)


FORMAT = Format(
    "text",
    "Canonical text",
    "canonical text, which `bitepoint import` reads back",
    (".txt",),
    frozenset({Part.VALUES, Part.RULES}),
    write,
    read,
)
