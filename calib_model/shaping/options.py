"""What one option of a shaping tool is: name, unit, bounds, default and help, said once."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from ..core.numbers import exact
from ..errors import EditRefused

Kind = Literal[
    "number",
    "whole",
    "flag",
    "choice",
    "text",
    "numbers",
    "axis",
    "axes",
    "table",
    "tables",
    "names",
]
LISTS: frozenset[Kind] = frozenset({"axes", "tables", "names"})
"""Kinds that are given several times on the command line, and that no form asks for as such."""


@dataclass(frozen=True)
class Option:
    """One thing that a shaping tool is asked for.

    Parameters
    ----------
    name : str
        The parameter of the tool's function; with dashes the option on the command line, and the
        key of the form's field.
    label : str
        In a form.
    help : str
        In a few words, without a full stop.
    kind : str
        What is given; see `Kind`.
    default : Any
        What counts where nothing is given; None for nothing.
    unit : str
        ``value`` for the table's unit, ``axis`` for that of the chosen axis, else a unit.
    least, most : float
        Bounds of a number.
    above : bool
        Whether the least itself is out of bounds.
    choices : tuple of (value, words)
    or_number : bool
        Whether a number within the bounds may be given in place of a choice.
    size : int
        How many numbers; 0 for any.
    off : str
        How a flag that is on by default is taken away on the command line.
    spellings : tuple of str
        Further spellings on the command line: those of before, which scripts may use.
    """

    name: str
    label: str
    help: str
    kind: Kind
    default: Any = None
    unit: str = ""
    least: float = -math.inf
    most: float = math.inf
    above: bool = False
    choices: tuple[tuple[Any, str], ...] = ()
    or_number: bool = False
    size: int = 0
    off: str = ""
    spellings: tuple[str, ...] = ()

    @property
    def bounds(self) -> str:
        """The bounds in words, such as ``above 0`` or ``2 or more``; empty for none."""
        low = "" if self.least == -math.inf else exact(self.least)
        if low and self.most < math.inf:
            return f"{low} to {exact(self.most)}"
        if low:
            return f"above {low}" if self.above else f"{low} or more"
        return ""

    def check(self, number: float) -> float | int:
        """Return a number within the bounds, as a whole one where such is asked for.

        Raises
        ------
        EditRefused
            Naming the bounds.
        """
        low = number > self.least if self.above else number >= self.least
        whole = self.kind != "whole" or float(number).is_integer()
        if not (math.isfinite(number) and low and number <= self.most and whole):
            what = "a whole number" if self.kind == "whole" else "a number"
            raise EditRefused(
                f"{self.label}: {exact(number)} cannot be used.",
                f"Give {what} {self.bounds}".rstrip() + ".",
            )
        return int(number) if self.kind == "whole" else number
