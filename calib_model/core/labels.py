"""Names of stored numbers: 0 off, 1 interval, 2 slow, 3 fast.

An axis or a table whose numbers stand for states carries them.  The numbers stay the truth, for
the lookup, the rules and the file; what is shown and typed is the name.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from ..errors import ModelError
from ..foreign_text import plain_line
from .arrays import FloatArray, frozen
from .numbers import exact

MOST = 1_000
LONGEST = 60
_LIKE_NUMBER = re.compile(
    r"\s*[-+*/=.,\u2212\d]|(?:nan|[-+]?inf(?:inity)?|empty)\s*$", re.IGNORECASE
)

Given = Mapping[float, str] | Iterable[str] | str


@dataclass(frozen=True)
class Labels:
    """Names of some numbers, in the numbers' order; false where there are none.

    Parameters
    ----------
    pairs : tuple of (float, str)
        Physical value and its name, rising; finite numbers, different names (upper and lower
        case are the same), none that could be typed for a number.

    Raises
    ------
    ModelError
        If a name or a number is used twice, or one of them cannot be used.

    Examples
    --------
    >>> wiper = Labels.of("off, interval, slow, fast")
    >>> wiper.name(2), wiper.number("Fast"), str(wiper)
    ('slow', 3.0, '0 off, 1 interval, 2 slow, 3 fast')
    """

    pairs: tuple[tuple[float, str], ...] = ()

    def __post_init__(self) -> None:
        pairs = tuple((float(number) + 0.0, text) for number, text in self.pairs)
        if len(pairs) > MOST:
            raise ModelError(f"There are {len(pairs)} labels; at most {MOST} are kept.")
        for number, text in pairs:
            _require_usable(number, text)
        pairs = tuple(sorted(pairs))
        object.__setattr__(self, "pairs", pairs)
        _require_different([exact(number) for number, _ in pairs], "number", "label")
        _require_different([text.casefold() for _, text in pairs], "label", "number")

    @classmethod
    def of(cls, given: Given | Labels) -> Labels:
        """Make labels of what a script or a user gives.

        Parameters
        ----------
        given : mapping of number to name, iterable of names, or text
            Names alone belong to 0, 1, 2, ...; a text is ``off, slow, fast`` or
            ``0 off, 2 slow, 3 fast`` (``0=off`` does as well).

        Raises
        ------
        ModelError
            See the class.
        """
        if isinstance(given, Labels):
            return given
        if isinstance(given, str):
            given = _parsed(given)
        if isinstance(given, Mapping):
            return cls(tuple(given.items()))
        return cls(tuple((float(n), text) for n, text in enumerate(given)))

    def __bool__(self) -> bool:
        return bool(self.pairs)

    def __len__(self) -> int:
        return len(self.pairs)

    @cached_property
    def _names(self) -> dict[float, str]:
        return dict(self.pairs)

    @cached_property
    def _numbers(self) -> dict[str, float]:
        return {text.casefold(): number for number, text in self.pairs}

    def name(self, value: float) -> str:
        """Return the name of a number, to show in one line; empty if it has none."""
        return plain_line(self._names.get(float(value), "")) if self.pairs else ""

    def number(self, text: str) -> float | None:
        """Return the number that a name stands for (in any case of letters), or None."""
        return self._numbers.get(text.strip().casefold()) if self.pairs else None

    @property
    def numbers(self) -> FloatArray:
        """The numbers that have a name, rising, shape (n,)."""
        return frozen([number for number, _ in self.pairs])

    @property
    def names(self) -> tuple[str, ...]:
        """The names, in the order of their numbers."""
        return tuple(text for _, text in self.pairs)

    def __str__(self) -> str:
        return ", ".join(f"{exact(number)} {plain_line(text)}" for number, text in self.pairs)


def _require_usable(number: float, text: object) -> None:
    if not isinstance(text, str) or not text.strip():
        raise ModelError(f"The label of {exact(number)} is empty.", "Give it a name.")
    if not math.isfinite(number):
        raise ModelError(f"Label {text[:40]!r} has no finite number.", "Give it a stored number.")
    if text != text.strip() or len(text) > LONGEST or not text.isprintable():
        raise ModelError(
            f"{text[:60]!r} cannot be a label.",
            f"Use one line of up to {LONGEST} characters, without spaces around it.",
        )
    if "," in text or "=" in text or _LIKE_NUMBER.match(text):
        raise ModelError(
            f"{text!r} cannot be a label: typed into a cell it would read as a number or a sum.",
            "Begin it with a letter, and use no comma and no equals sign.",
        )


def _require_different(texts: list[str], what: str, other: str) -> None:
    seen: set[str] = set()
    for text in texts:
        if text in seen:
            raise ModelError(
                f"The {what} {text!r} is used twice.", f"Give each {other} a {what} of its own."
            )
        seen.add(text)


_PAIR = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+))(?:\s*=\s*|\s+)(\S.*)")


def _parsed(text: str) -> Mapping[float, str] | list[str]:
    parts = [part.strip() for part in text.split(",")]
    found = [_PAIR.fullmatch(part) for part in parts]
    if not any(found):
        return parts
    pairs = []
    for part, match in zip(parts, found, strict=True):
        if match is None:
            raise ModelError(
                f"{part[:40]!r} names no number, though other labels do.",
                "Write every one with its number, as 0 off, 1 slow, or none.",
            )
        pairs.append((float(match[1]), match[2].strip()))
    _require_different([exact(number) for number, _ in pairs], "number", "label")
    return dict(pairs)


NO_LABELS = Labels()
YES_NO = Labels(((0.0, "no"), (1.0, "yes")))
