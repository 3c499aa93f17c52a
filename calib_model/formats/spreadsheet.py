"""A spreadsheet: every table as a grid, with all that its content says (`exchange.spreadsheet`)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..bringing.understanding import set_of
from ..exchange.spreadsheet import write_spreadsheet
from .registry import Format, Part

if TYPE_CHECKING:
    from ..core.calibration_set import CalibrationSet
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Write the set; a mark is in the sheet of what the set is."""
    write_spreadsheet(outgoing.content, path, outgoing.status)


def read(path: Path) -> CalibrationSet:
    """Read a spreadsheet back, this or another; refuses what is doubtful."""
    return set_of([path])


FORMAT = Format(
    "spreadsheet",
    "Spreadsheet (XLSX)",
    "grids by function group, with rules, roles and storage",
    (".xlsx",),
    frozenset({Part.VALUES, Part.RULES, Part.NAME, Part.DESCRIPTION}),
    write,
    read,
)
