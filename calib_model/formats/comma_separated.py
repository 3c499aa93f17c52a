"""CSV: every cell in a row of its own (`calib_model.exchange.csv_tables` has the layout)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from ..bringing.understanding import set_of
from ..exchange.csv_tables import write_csv
from .registry import Format, Part

if TYPE_CHECKING:
    from ..core.calibration_set import CalibrationSet
    from .outgoing import Outgoing


def write(outgoing: Outgoing, path: Path) -> None:
    """Write the cells; a mark is a column, and a trial has the values before its changes too."""
    before = outgoing.earlier()[0] if outgoing.trial is not None else None
    write_csv(outgoing.content, path, outgoing.status, before)


def read(path: Path) -> CalibrationSet:
    """Read CSV back as `calib_model.bringing` understands it; refuses what is doubtful."""
    return set_of([path])


FORMAT = Format(
    "csv",
    "CSV",
    "one row per cell (RFC 4180, UTF-8)",
    (".csv",),
    frozenset({Part.VALUES}),
    write,
    read,
)
