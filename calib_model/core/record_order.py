"""The order of a record's items, made from what they say and never from where they stand.

The order in a file carries no signature.  So items stand by their time and then their id, and
sign-offs as each names the one before it, whatever order they were given in.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from functools import lru_cache
from typing import TYPE_CHECKING, TypeVar

from .times import moment_of, stamp

if TYPE_CHECKING:
    from .record_items import Item, SignOff

    AnItem = TypeVar("AnItem", bound=Item)


def in_time(items: Iterable[AnItem]) -> tuple[AnItem, ...]:
    """Return items by their time, then by their id; those without a time come first."""
    return tuple(sorted(items, key=lambda item: (time_key(item.time), item.id)))  # type: ignore[union-attr]


@lru_cache(maxsize=50_000)  # an edit of one item orders all of its kind again
def time_key(text: str) -> str:
    """Return a text that sorts as the time does; empty for a text that is no time."""
    moment = moment_of(text)
    if moment is None:
        return ""
    return f"{stamp(moment)}{moment.microsecond:06d}"


def in_chain(sign_offs: Iterable[SignOff]) -> tuple[SignOff, ...]:
    """Return sign-offs so that each follows the one whose digest it names.

    Where they form no chain, what hangs together comes first and the rest by its text:
    verification refuses them, and says the same whatever order they were given in.
    """
    rest = sorted(sign_offs, key=lambda one: (one.statement, one.signature, one.id))
    following: dict[str, list[SignOff]] = {}
    for one in rest:
        following.setdefault(_link(one.statement)[0], []).append(one)
    chain: list[SignOff] = []
    before = ""
    while len(following.get(before, ())) == 1:
        (one,) = following.pop(before)
        chain.append(one)
        before = _link(one.statement)[1]
    placed = {one.id for one in chain}
    return (*chain, *(one for one in rest if one.id not in placed))


@lru_cache(maxsize=64)
def _link(statement: str) -> tuple[str, str]:
    """Return which digest a statement names as that before it, and its own."""
    own = hashlib.sha256(statement.encode("utf-8", "surrogatepass")).hexdigest()
    try:
        plain = json.loads(statement)
        before = plain.get("previous") if isinstance(plain, dict) else None
    except (ValueError, RecursionError):
        before = None
    return (before if isinstance(before, str) else "damaged"), own
