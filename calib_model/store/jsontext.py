"""JSON texts within a file: compact, bounded, and JSON even where a number is not finite.

JSON has no infinity.  Where a plain value holds one (a rule without a lower end, say) it is
written as ``{"number": "-inf"}``.
"""

from __future__ import annotations

import json
import math
from typing import Any

from ..errors import ModelError

_KEY = "number"


def json_text(plain: Any) -> str:
    """Return the compact JSON text of plain data."""
    try:
        return _dumped(plain)
    except ValueError:  # a number that is not finite: rare, so not looked for beforehand
        return _dumped(_wrapped(plain))


def json_value(text: str, limit: int) -> Any:
    """Parse JSON text.

    Parameters
    ----------
    text : str
    limit : int
        Longest text accepted.

    Raises
    ------
    ModelError
        If it is too long, too deeply nested or no JSON.
    """
    if len(text) > limit:
        raise ModelError(f"A text is longer than {limit} characters.", "Shorten it.")
    try:
        return _DECODER.decode(text)
    except (ValueError, RecursionError):
        raise ModelError("A text is not the JSON it should be.") from None


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
