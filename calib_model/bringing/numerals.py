"""How a file writes numbers: its decimal mark and thousands mark, found out or in doubt."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

MARKS = (".", ",")
SPACES = (
    " \N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}'\N{RIGHT SINGLE QUOTATION MARK}"
)
_SIGNS = str.maketrans({"\N{MINUS SIGN}": "-", **dict.fromkeys(SPACES, " ")})
_PLAIN = re.compile(r"[+-]?[0-9]+(?:[eE][+-]?[0-9]+)?")
_ONE = re.compile(r"[+-]?[0-9]*([.,])([0-9]*)(?:[eE][+-]?[0-9]+)?")
_LIKE_GROUPS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
_GROUPED = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:([., ])[0-9]{3})(?:\1[0-9]{3})*(?:([.,])[0-9]+)?")
_MARKED = re.compile(rf",[0-9]|[0-9],|[0-9][{SPACES}][0-9]|\.[0-9]{{3}}\.")
"""What a number with a comma or with marks between thousands must have somewhere."""
_UNFILLED = frozenset(("nan", "n/a", "na", "#n/a", "null"))
_INFINITE = {"inf": float("inf"), "+inf": float("inf"), "-inf": float("-inf")}


@dataclass(frozen=True)
class Numerals:
    """How numbers are written.

    Parameters
    ----------
    decimal : ``"."`` or ``","``
    thousands : str
        ``"."``, ``","``, a space (for any kind of space or apostrophe), or empty for none.
    doubt : str
        A text that could be read in two ways, if nothing else tells which; else empty.
    """

    decimal: str = "."
    thousands: str = ""
    doubt: str = ""

    @property
    def plain(self) -> bool:
        """Whether they are written as programs write them."""
        return self.decimal == "." and not self.thousands

    def read(self, text: str) -> float | None:
        """Return the number that a text is; NaN for a word that stands for none, None for text."""
        plain = text.strip().translate(_SIGNS)
        if not plain.isascii() or "_" in plain:
            return None
        if plain[-1:].isalpha() or plain[-1:] == "/":
            lowered = plain.lower()
            if lowered in _UNFILLED:
                return float("nan")
            return _INFINITE.get(lowered)
        if self.thousands and self.thousands in plain:
            found = _GROUPED.fullmatch(plain)
            if found is None or found[1] != self.thousands or found[2] not in (None, self.decimal):
                return None
            plain = plain.replace(self.thousands, "")
        if self.decimal == ",":
            if "." in plain:
                return None
            plain = plain.replace(",", ".")
        try:
            return float(plain) + 0.0
        except ValueError:
            return None

    @property
    def words(self) -> str:
        """Say it in words."""
        mark = "decimal point" if self.decimal == "." else "decimal comma"
        names = {"": "", ".": ", points between thousands", ",": ", commas between thousands"}
        return mark + names.get(self.thousands, ", spaces between thousands")


def numerals_of(texts: Iterable[str], *, semicolons: bool = False) -> Numerals:
    """Find out how some texts write numbers; those that are no numbers say nothing.

    Parameters
    ----------
    texts : iterable of str
    semicolons : bool
        Whether semicolons stand between them, as in countries with a decimal comma: a point then
        may stand between thousands.

    Examples
    --------
    >>> numerals_of(["1,5", "1.250"])
    Numerals(decimal=',', thousands='.', doubt='')
    >>> numerals_of(["1,250", "12"]).doubt
    '1,250'
    """
    listed = texts if isinstance(texts, list) else list(texts)
    if not semicolons and not _MARKED.search("\n".join(listed)):
        return Numerals()
    certain: set[str] = set()
    grouping: set[str] = set()
    unclear: dict[str, str] = {}
    for text in listed:
        plain = text.strip().translate(_SIGNS)
        if not plain[-1:].isdigit() and plain[-1:] not in MARKS:
            continue
        if _PLAIN.fullmatch(plain):
            continue
        if _LIKE_GROUPS.fullmatch(plain):
            unclear.setdefault("," if "," in plain else ".", text.strip())
            continue
        found = _ONE.fullmatch(plain)
        if found:
            if any(map(str.isdigit, plain)):
                certain.add(found[1])
            continue
        found = _GROUPED.fullmatch(plain)
        if found:
            grouping.add(found[1])
            if found[2]:
                certain.add(found[2])
    if len(certain) == 2:
        return Numerals(
            doubt=next(iter(unclear.values()), "one number with a comma, one with a point")
        )
    if grouping & certain:
        return Numerals(doubt="points and commas in both parts")
    if certain or grouping & set(MARKS):
        mark = next(iter(certain), "") or ("," if "." in grouping else ".")
        other = "," if mark == "." else "."
        rest = sorted(grouping | ({other} & unclear.keys()))
        return Numerals(mark, rest[0] if rest else "")
    spaces = " " if " " in grouping else ""
    if "," in unclear:
        return Numerals(",", spaces, unclear["," if "." not in unclear else "."])
    if "." in unclear and semicolons:
        return Numerals(".", spaces, unclear["."])
    return Numerals(".", spaces)
