"""What the reading process hands on: blocks of columns, and remarks on what was odd."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

MOST_TOLD = 5


class Refused(Exception):
    """A file cannot be read; carries place, problem and remedy."""

    def __init__(self, place: str, problem: str, remedy: str) -> None:
        self.place, self.problem, self.remedy = place, problem, remedy
        super().__init__(place, problem, remedy)


class Block(NamedTuple):
    """Some rows of some columns.

    Parameters
    ----------
    at : float
        Share of the file that is read.
    columns : mapping of number to (values, rows)
        Values of shape (rows,): a masked array where rows are empty.
    """

    at: float
    columns: Mapping[int, tuple[Any, int]]


@dataclass
class Remarks:
    """What was odd, in few words however often it came."""

    cells: int = 0
    examples: list[str] = field(default_factory=list)
    damage: dict[str, int] = field(default_factory=dict)
    others: list[str] = field(default_factory=list)

    def text_cell(self, column: str, line: int, text: str) -> None:
        """Note a cell that is no number."""
        self.cells += 1
        if len(self.examples) < MOST_TOLD:
            self.examples.append(f"line {line}, column {column!r}: {text[:30]!r}")

    def damaged(self, count: int, what: str) -> None:
        """Note rows that cannot be read."""
        if len(self.damage) < MOST_TOLD or what in self.damage:
            self.damage[what] = self.damage.get(what, 0) + count
        else:
            last = next(reversed(self.damage))
            self.damage[last] += count

    def words(self) -> list[str]:
        """Return a sentence per kind."""
        lines = list(self.others)
        if self.cells:
            lines.append(
                f"{self.cells} cells hold text instead of a number and are masked "
                f"({'; '.join(self.examples)})."
            )
        return lines
