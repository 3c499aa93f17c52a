"""Texts that a spreadsheet must not take for formulas, and back without loss.

A spreadsheet computes a cell that begins with ``= + - @`` (in full width too, and after spaces or
characters that cannot be seen).  Where a cell begins is for the program that reads to say: one
that parts at semicolons begins one inside ``a;=1+1``, whatever quotes stand around the field.  So
every place where a cell may begin is guarded, with an apostrophe, the spreadsheets' own sign for a
text.  A text that has an apostrophe at such a place gets a second one: taking one away at each of
them (`unguarded`) gives back the text as it was.
"""

from __future__ import annotations

import re

DELIMITERS = ",;|\t\r\n"
"""What programs part lines and cells at, one by one; a space is none that is chosen unasked."""


SIGNS = (
    "=+-@"
    "\u207a\u207c\u208a\u208c\u2a74\u2a75\u2a76\ufb29"
    "\ufe62\ufe63\ufe66\ufe6b\uff0b\uff0d\uff1d\uff20"
)
"""The four signs and all that become one of them where widths are evened out (Unicode's NFKC)."""
UNSEEN = r"[\s\"\x00-\x20\x7f-\xa0\xad\u061c\u180e\u200b-\u200f\u2028-\u202f\u205f-\u206f\ufeff]"
"""What may stand before the sign: spaces, control and format characters, quotes."""

_START = rf"(?:^|(?<=[{DELIMITERS}]))"
_GUARD = re.compile(rf"{_START}(?='|{UNSEEN}*[{re.escape(SIGNS)}])")
_UNGUARD = re.compile(rf"{_START}'")


def guarded(text: str) -> str:
    """Return a text that no spreadsheet computes any part of."""
    return _GUARD.sub("'", text)


def unguarded(text: str) -> str:
    """Return the text that `guarded` was given."""
    return _UNGUARD.sub("", text)
