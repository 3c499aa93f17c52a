"""Names with the wildcards ``*`` and ``?``."""

from __future__ import annotations

from collections.abc import Iterable


def fits(pattern: str, text: str) -> bool:
    """Whether a text is what a pattern means: ``*`` any run of characters, ``?`` one.

    Notes
    -----
    Brackets mean themselves, since ids may hold them.  Takes a time in proportion to the product
    of the lengths at most, so that a stranger's pattern of many stars cannot take for ever.
    """
    p = t = 0
    star, mark = -1, 0
    while t < len(text):
        if p < len(pattern) and pattern[p] == "*":
            star, mark = p, t
            p += 1
        elif p < len(pattern) and pattern[p] in ("?", text[t]):
            p, t = p + 1, t + 1
        elif star >= 0:
            mark += 1
            p, t = star + 1, mark
        else:
            return False
    return not pattern[p:].strip("*")


def any_fits(patterns: Iterable[str], text: str) -> bool:
    """Whether a text is what one of several patterns means."""
    return any(fits(pattern, text) for pattern in patterns)
