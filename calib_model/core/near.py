"""Words that were meant: the nearest to one that is not known."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

MOST_LISTED = 60


def nearest(word: str, known: Iterable[str], what: str) -> str:
    """Return the remedy for a word that is not known: what was meant, or what there is.

    Parameters
    ----------
    word : str
    known : iterable of str
    what : str
        What the known words are, in the plural.
    """
    words = [one for one in known if one]
    plain = word[:60].strip().lower().replace(" ", "_").replace("-", "_")
    near = difflib.get_close_matches(plain, words, 2, cutoff=0.6)
    if near:
        return f"Did you mean {' or '.join(near)}?"
    if not words:
        return f"There are no {what}."
    more = f" and {len(words) - MOST_LISTED} more" if len(words) > MOST_LISTED else ""
    return f"Known {what}: {', '.join(words[:MOST_LISTED])}{more}."
