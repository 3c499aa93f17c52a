"""What a user types for a value: a number, a label, or a little arithmetic.

=============  ===========================================================
typed          means
=============  ===========================================================
``60``         the value 60 (``-5`` too is a value)
``slow``       the number that the label stands for
``nan``        no value
``+5``         5 more than the cell holds; ``+-5`` is 5 less
``*1.1 /2``    the cell's value times 1.1, by 2
``+3% -3%``    3 % more or less than the cell holds
``=2*30``      the value of a sum, with ``+ - * / ( )``
``=x-5``       the same, where ``x`` is what the cell holds
=============  ===========================================================

The grammar is this and no more; nothing is ever evaluated as a program.  Numbers are read as
`calib_model.core.typed_number` reads them: what could be a decimal comma or a thousands mark is
refused.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NoReturn

import numpy as np

from ..core.arrays import BoolArray, FloatArray
from ..core.labels import NO_LABELS, Labels
from ..core.numbers import short
from ..core.table import Table
from ..core.typed_number import parse_number
from ..errors import EditRefused
from .blocks import changed_cells

LONGEST = 200
DEEPEST = 20
_SIGNS = str.maketrans({"\u2212": "-", "\u00d7": "*", "\u00f7": "/", "\u00b7": "*"})
_TOKEN = re.compile(r"\s*([0-9.,]+(?:[eE][+-]?[0-9]+)?|[-+*/()%]|[xX](?![A-Za-z0-9_]))")
_PERCENT = re.compile(r"([+-])\s*([0-9.,]+(?:[eE][+-]?[0-9]+)?)\s*%")
EXAMPLES = "Type a number, or *1.1, +5, +3%, =2*30, =x-5 (x is what the cell holds)."


@dataclass(frozen=True)
class CellEntry:
    """What was typed, understood.

    Parameters
    ----------
    kind : str
        ``value`` (`amount` is the value), ``add``, ``times``, ``by`` (divide), ``percent``, or
        ``sum`` (`parts` is the sum, with the cell's value in it).
    amount : float
    parts : tuple
        A sum as nested tuples ``(sign, left, right)`` of numbers and ``"x"``.
    text : str
        As it was typed.
    """

    kind: str
    amount: float = 0.0
    parts: object = ()
    text: str = ""

    @property
    def is_relative(self) -> bool:
        """Whether the outcome depends on what the cell holds."""
        return self.kind != "value"

    def of(self, old: FloatArray) -> FloatArray:
        """Return the new values for old ones, any shape; NaN where a relative entry finds NaN.

        Raises
        ------
        EditRefused
            If a sum divides by zero.
        """
        match self.kind:
            case "value":
                return np.full_like(old, self.amount)
            case "add":
                return np.asarray(old + self.amount)
            case "times":
                return np.asarray(old * self.amount)
            case "by":
                return np.asarray(old / self.amount)
            case "percent":
                return np.asarray(old * (100.0 + self.amount) / 100.0)
        return np.asarray(_evaluated(self.parts, old) + np.zeros_like(old))

    def values(self, table: Table, selection: BoolArray) -> FloatArray:
        """Return the table's whole array of values with the entry in the selected cells.

        Raises
        ------
        EditRefused
            If a value gets too large, a sum divides by zero, or a relative entry finds nothing
            but empty cells.
        """
        old = table.values[selection]
        if self.is_relative and old.size and np.isnan(old).all():
            which = "The cell is" if old.size == 1 else "The cells are"
            raise EditRefused(
                f"{which} empty: there is nothing to reckon {self.text!r} from.", "Type a value."
            )
        return changed_cells(table, selection, self.of)

    def title(self, where: str, table: Table) -> str:
        """Say what is done to the cells that `where` names: ``Scale 4 cells by 1.1``."""
        amount = short(abs(self.amount))
        match self.kind:
            case "value":
                return f"Set {where} to {table.said(self.amount)}"
            case "add":
                by = f"{amount} {table.said(1.0).partition(' ')[2]}" if not table.labels else amount
                return f"{'Raise' if self.amount >= 0 else 'Lower'} {where} by {by}".rstrip()
            case "times":
                return f"Scale {where} by {short(self.amount)}"
            case "by":
                return f"Divide {where} by {short(self.amount)}"
            case "percent":
                verb = "Raise" if self.amount >= 0 else "Lower"
                return f"{verb} {where} by {amount} % of what is there"
        return f"Set {where} to {self.text.lstrip('= ')}"


def parse_entry(text: str, labels: Labels = NO_LABELS) -> CellEntry:
    """Understand what was typed for a value.

    Parameters
    ----------
    text : str
    labels : Labels
        Of the table or axis.

    Raises
    ------
    EditRefused
        If it is none of the above; the text says why, with what could be typed.

    Examples
    --------
    >>> import numpy as np
    >>> held = np.array([100.0, 200.0])
    >>> for typed in ("60", "+5", "*1.1", "-3%", "=2*30", "=x/2-1"):
    ...     print(typed, parse_entry(typed).of(held))
    60 [60. 60.]
    +5 [105. 205.]
    *1.1 [110. 220.]
    -3% [ 97. 194.]
    =2*30 [60. 60.]
    =x/2-1 [49. 99.]
    """
    typed = text.strip()
    plain = typed.translate(_SIGNS)
    number = labels.number(typed)
    if number is not None:
        return CellEntry("value", number, text=typed)
    if len(plain) > LONGEST:
        raise EditRefused(f"{typed[:40]!r}... is too long for a value.", EXAMPLES)
    percent = _PERCENT.fullmatch(plain)
    if percent:
        amount = parse_number(percent[2])
        return CellEntry("percent", -amount if percent[1] == "-" else amount, text=typed)
    if plain.startswith("="):
        return _sum(plain[1:], typed)
    if plain[:1] in ("+", "*", "/"):
        kind = {"+": "add", "*": "times", "/": "by"}[plain[0]]
        found = _sum(plain[1:], typed)
        if found.kind != "value":
            raise EditRefused(f"{typed!r} needs a number after its sign.", EXAMPLES)
        if kind == "by" and found.amount == 0:
            raise EditRefused(f"{typed!r} divides by zero.", EXAMPLES)
        return CellEntry(kind, found.amount, text=typed)
    try:
        return CellEntry("value", parse_number(typed), text=typed)
    except EditRefused as problem:
        if labels:
            raise EditRefused(
                f"{typed[:40]!r} is no label here.", f"The labels are {labels}."
            ) from None
        if problem.problem.endswith("is not a number."):
            raise EditRefused(problem.problem, EXAMPLES) from None
        raise


def _sum(plain: str, typed: str) -> CellEntry:
    parts = _Parser(plain, typed).parsed()
    if _has_x(parts):
        return CellEntry("sum", parts=parts, text=typed)
    value = float(_evaluated(parts, np.zeros(())))
    if not np.isfinite(value):
        raise EditRefused(f"{typed!r} is too large for a number.", EXAMPLES)
    return CellEntry("value", value, text=typed)


class _Parser:
    """Sums by recursive descent: sum, product, sign, atom."""

    def __init__(self, plain: str, typed: str) -> None:
        self.typed = typed
        self.tokens: list[str] = []
        place, plain = 0, plain.rstrip()
        while place < len(plain):
            match = _TOKEN.match(plain, place)
            if match is None:
                self.refuse(f"{plain[place:].strip()[:20]!r} has no place in a sum")
            self.tokens.append(match[1])
            place = match.end()
        self.at = 0
        self.depth = 0

    def refuse(self, why: str) -> NoReturn:
        raise EditRefused(f"{self.typed[:60]!r} is not understood: {why}.", EXAMPLES)

    def parsed(self) -> object:
        found = self.sum()
        if self.at < len(self.tokens):
            self.refuse(f"{self.tokens[self.at]!r} is not expected after what stands before it")
        return found

    def next_is(self, *signs: str) -> str:
        """Take the next token if it is one of these signs."""
        if self.at < len(self.tokens) and self.tokens[self.at] in signs:
            self.at += 1
            return self.tokens[self.at - 1]
        return ""

    def sum(self) -> object:
        found = self.product()
        while sign := self.next_is("+", "-"):
            found = (sign, found, self.product())
        return found

    def product(self) -> object:
        found = self.signed()
        while sign := self.next_is("*", "/"):
            found = (sign, found, self.signed())
        return found

    def signed(self) -> object:
        self.depth += 1
        if self.depth > DEEPEST:
            self.refuse("it has too many brackets and signs")
        found: object
        if self.next_is("-"):
            found = ("-", 0.0, self.signed())
        else:
            found = self.signed() if self.next_is("+") else self.atom()
        self.depth -= 1
        return found

    def atom(self) -> object:
        found: object
        if self.next_is("("):
            found = self.sum()
            if not self.next_is(")"):
                self.refuse("a bracket is not closed")
        elif self.at >= len(self.tokens):
            self.refuse("a number is missing at its end")
        else:
            token = self.tokens[self.at]
            self.at += 1
            if token in ("x", "X"):
                found = "x"
            elif token[0] in "0123456789.,":
                found = parse_number(token)
            else:
                self.refuse(f"a number is missing before {token!r}")
        return ("/", found, 100.0) if self.next_is("%") else found


def _has_x(parts: object) -> bool:
    return parts == "x" or (isinstance(parts, tuple) and any(map(_has_x, parts[1:])))


def _evaluated(parts: object, x: FloatArray) -> FloatArray:
    if isinstance(parts, tuple):
        sign, left, right = parts[0], _evaluated(parts[1], x), _evaluated(parts[2], x)
        if sign == "/" and (right == 0).any():
            raise EditRefused("The sum divides by zero.", EXAMPLES)
        with np.errstate(over="ignore", invalid="ignore"):
            match sign:
                case "+":
                    return np.asarray(left + right)
                case "-":
                    return np.asarray(left - right)
                case "*":
                    return np.asarray(left * right)
            return np.asarray(left / right)
    return x if parts == "x" else np.asarray(parts, dtype=np.float64)
