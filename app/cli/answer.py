"""What a verb answers: an exit status and a text, or one line saying why it could not."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any, NoReturn

from calib_model.foreign_text import plain_line

GOOD, DIFFERENT, NOT_DONE = 0, 1, 2
"""Exit status: sound or same; findings or differences; could not be done."""


@dataclass(frozen=True)
class Answer:
    """An exit status, and what to print on standard output."""

    status: int
    text: str


class CannotDo(Exception):
    """The verb could not be done; the text is one line with the reason and the remedy."""


def refuse(problem: str, remedy: str) -> NoReturn:
    """Give up with one line."""
    raise CannotDo(f"{problem} {remedy}")


def one_line(text: str) -> str:
    """Return a text on one line, with nothing in it that steers a terminal."""
    return plain_line(" ".join(text.split()))


def json_text(lists: dict[str, list[dict[str, Any]]]) -> str:
    """Return lists of entries as one JSON object, an entry a line.

    ASCII, so that no encoding can spoil it; null for NaN and infinity.
    """
    parts = []
    for key, entries in lists.items():
        lines = ",\n  ".join(_dumped(entry) for entry in entries)
        parts.append(f" {json.dumps(key)}: [" + (f"\n  {lines}\n ]" if lines else "]"))
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _dumped(entry: dict[str, Any]) -> str:
    try:
        return json.dumps(entry, allow_nan=False)
    except ValueError:  # rare, so the search for what is not finite is paid for only then
        return json.dumps(_finite(entry), allow_nan=False)


def _finite(plain: Any) -> Any:
    if isinstance(plain, float):
        return plain if math.isfinite(plain) else None
    if isinstance(plain, dict):
        return {key: _finite(value) for key, value in plain.items()}
    if isinstance(plain, list | tuple):
        return [_finite(value) for value in plain]
    return plain
