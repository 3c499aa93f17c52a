"""Text for reading in a terminal: aligned columns, wrapped sentences, the caution."""

from __future__ import annotations

import re
import shutil
import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib_model.cautions import LINE
from calib_model.foreign_text import plain_line, plain_lines

if TYPE_CHECKING:
    from pathlib import Path

    from calib_model.core.calibration_set import CalibrationSet

LONGEST = 110
WIDEST_COLUMN = 32


def width() -> int:
    """Return the columns to fill: the terminal's, but a readable number."""
    return max(60, min(LONGEST, shutil.get_terminal_size((LONGEST, 40)).columns))


def caution() -> str:
    """Return the caution, wrapped."""
    return paragraph(LINE)


def paragraph(text: str) -> str:
    """Return sentences, wrapped."""
    return "\n".join(textwrap.wrap(text, width()))


def count(number: int, what: str) -> str:
    """Return a number with its noun: ``1 table``, ``42 tables``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def title(content: CalibrationSet, path: Path) -> str:
    """Return what a set is and where it came from."""
    revision = f", revision {content.revision}" if content.revision else ""
    return plain_line(f"{content.label}{revision} ({path.name})")


def listed(rows: Sequence[Sequence[str]]) -> str:
    """Return rows in aligned columns; the last column is wrapped, lines kept."""
    if not rows:
        return ""
    rows = [(*map(plain_line, row[:-1]), plain_lines(row[-1])) for row in rows]
    columns = len(rows[0])
    widths = [
        min(WIDEST_COLUMN, max(len(row[column]) for row in rows)) for column in range(columns - 1)
    ]
    indent = sum(widths) + 2 * len(widths)
    room = max(30, width() - indent)
    lines = []
    for row in rows:
        start = "  ".join(cell.ljust(w) for cell, w in zip(row[:-1], widths, strict=True))
        body = [line for part in row[-1].split("\n") for line in _wrapped(part, room)]
        if len(start) + 2 > indent:  # a very long id: its text goes below
            lines.append(start.rstrip())
            start = ""
        lines.append(f"{start.ljust(indent - 2)}  {body[0]}".rstrip())
        lines += [" " * indent + line for line in body[1:]]
    return "\n".join(lines)


def aligned(rows: Sequence[Sequence[str]]) -> list[str]:
    """Return rows of short cells, each column right-aligned."""
    rows = [tuple(map(plain_line, row)) for row in rows]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return [
        "  ".join(cell.rjust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]


def _wrapped(text: str, room: int) -> list[str]:
    # A number and its unit stay on one line.
    joined = re.sub(r"(?<=[0-9]) (?=\S)", "\xa0", text)
    lines = textwrap.wrap(joined, room, break_on_hyphens=False) or [""]
    return [line.replace("\xa0", " ") for line in lines]
