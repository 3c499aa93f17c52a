"""Numbers as people type and copy them, read but never guessed.

``1,234`` is one and a bit on one desk and over a thousand on the next, a silent factor of 1000 on
a clutch torque; so a comma is read as a decimal mark only where there is no doubt, and thousands
separators are refused.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from ..errors import EditRefused

# A number with at most one decimal mark; what stands for the mark is told apart afterwards.
_NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
# What could as well be a whole number with its thousands set apart.
_LIKE_GROUPS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_GROUPS = re.compile(r"[+-]?[0-9]{1,3}(?:(?:[,.'\u2019 _][0-9]{3})+)(?:[.,][0-9]*)?")
_MINUS = str.maketrans({"\u2212": "-", "\xa0": " ", "\u202f": " ", "\u2009": " "})

AMBIGUOUS = "could be a decimal comma or a thousands separator"


class NumberRefused(EditRefused):
    """A text that is not read as a number; `ambiguous` if naming the decimal mark would help."""

    def __init__(self, problem: str, remedy: str = "", *, ambiguous: bool = False) -> None:
        self.ambiguous = ambiguous
        super().__init__(problem, remedy)


def parse_number(text: str, decimal: str | None = None) -> float:
    """Read one number.

    Parameters
    ----------
    text : str
        With a decimal point, or a decimal comma where that is beyond doubt (``12,5``);
        ``nan`` for a cell that is not filled.
    decimal : ``"."``, ``","`` or None
        The decimal mark, if it is known.

    Returns
    -------
    float

    Raises
    ------
    NumberRefused
        If the text is no number, out of range, or ambiguous.
    """
    cell = cleaned(text)
    mark = decimal or decimal_mark([cell])
    why = why_not(cell, mark)
    if why:
        raise NumberRefused(
            f"{text.strip()[:40]!r} {why}.",
            "Write it without thousands separators and with a decimal point.",
            ambiguous=why == AMBIGUOUS,
        )
    return value_of(cell)


def cleaned(text: str) -> str:
    """Return a cell's text without the spaces around it, with a plain minus sign."""
    return text.translate(_MINUS).strip()


def looks_numeric(cell: str) -> bool:
    """Whether a text may be meant for a number, thousands marks included."""
    return bool(_NUMBER.fullmatch(cell) or _GROUPS.fullmatch(cell))


def is_unfilled(cell: str) -> bool:
    """Whether a text says that there is no value."""
    return cell.lower() == "nan"


def decimal_mark(cells: Iterable[str]) -> str | None:
    """Tell the decimal mark of some cells; None if they leave a doubt."""
    points = commas = certain_comma = False
    for cell in cells:
        points = points or "." in cell
        if "," in cell:
            commas = True
            certain_comma = certain_comma or bool(
                _NUMBER.fullmatch(cell) and not _LIKE_GROUPS.fullmatch(cell)
            )
    if not commas:
        return "."
    return "," if certain_comma and not points else None


def why_not(cell: str, mark: str | None) -> str:
    """Say why a cell is not read as a number; empty if it is."""
    if not cell:
        return "is empty"
    if is_unfilled(cell):
        return ""
    if not _NUMBER.fullmatch(cell):
        return "has thousands separators" if _GROUPS.fullmatch(cell) else "is not a number"
    if mark is None and ("," in cell or "." in cell):
        return AMBIGUOUS if "," in cell else "has a point where other cells have commas"
    if mark == "." and "," in cell:
        return "has a comma where the decimal mark is a point"
    if mark == "," and "." in cell:
        return "has a point where the decimal mark is a comma"
    return "" if math.isfinite(value_of(cell)) else "is too large"


def value_of(cell: str) -> float:
    """Return the number of a text for which `why_not` gave no reason."""
    return float(cell.replace(",", "."))
