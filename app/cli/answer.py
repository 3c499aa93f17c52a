"""What a verb answers: an exit status and a text, or one line saying why it could not."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any, NoReturn

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
    """Return a text on one line."""
    return " ".join(text.split())


def json_text(plain: Any) -> str:
    """Return plain data as JSON: ASCII, so that no encoding can spoil it; null for NaN."""
    return json.dumps(_finite(plain), indent=1, ensure_ascii=True, allow_nan=False) + "\n"


def _finite(plain: Any) -> Any:
    if isinstance(plain, float):
        return plain if math.isfinite(plain) else None
    if isinstance(plain, dict):
        return {key: _finite(value) for key, value in plain.items()}
    if isinstance(plain, list | tuple):
        return [_finite(value) for value in plain]
    return plain
