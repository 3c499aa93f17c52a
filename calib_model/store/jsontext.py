"""JSON texts within a file: compact, bounded, and JSON even where a number is not finite.

JSON has no infinity.  Where a plain value holds one (a rule without a lower end, say) it is
written as ``{"number": "-inf"}``.
"""

from __future__ import annotations

import json
import math
from typing import Any

from ..errors import ModelError
from .layout import MOST_JSON_PARTS

_KEY = "number"


def json_text(plain: Any) -> str:
    """Return the compact JSON text of plain data."""
    try:
        return _dumped(plain)
    except ValueError:  # a number that is not finite: rare, so not looked for beforehand
        return _dumped(_wrapped(plain))


class JsonBudget:
    """How many objects the JSON texts of one file may still make.

    Parameters
    ----------
    parts : int
        Brackets, commas and colons; counted before a text is parsed.
    """

    def __init__(self, parts: int = MOST_JSON_PARTS) -> None:
        self.left = parts

    def take(self, text: str) -> None:
        """Use up what a text needs; raise ModelError if it is not there."""
        self.left -= sum(text.count(sign) for sign in "[{,:")
        if self.left < 0:
            raise ModelError(
                f"Its JSON texts hold more than {MOST_JSON_PARTS} values.",
                "Restore the file from a backup.",
            )


def json_value(text: str, limit: int, budget: JsonBudget | None = None) -> Any:
    """Parse JSON text.

    Parameters
    ----------
    text : str
    limit : int
        Longest text accepted.
    budget : JsonBudget, optional
        Shared by the texts of a file; one of its own by default.

    Raises
    ------
    ModelError
        If it is too long, too large, too deeply nested, no JSON, or holds half of a character.
    """
    if len(text) > limit:
        raise ModelError(f"A text is longer than {limit} characters.", "Shorten it.")
    (budget or JsonBudget()).take(text)
    try:
        value = _DECODER.decode(text)
        if "\\u" in text:  # an escape may be half of a character, which nothing can show or keep
            json.dumps(value, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        raise ModelError("A text is not the JSON it should be.") from None
    return value


def _dumped(plain: Any) -> str:
    return json.dumps(plain, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _wrapped(plain: Any) -> Any:
    if isinstance(plain, float) and not math.isfinite(plain):
        return {_KEY: repr(plain)}
    if isinstance(plain, dict):
        return {key: _wrapped(value) for key, value in plain.items()}
    return [_wrapped(value) for value in plain] if isinstance(plain, list | tuple) else plain


def _unwrapped(value: dict[str, Any]) -> Any:
    if value.keys() == {_KEY} and value[_KEY] in ("inf", "-inf", "nan"):
        return float(value[_KEY])
    return value


_DECODER = json.JSONDecoder(object_hook=_unwrapped)  # to make one costs more than most texts
