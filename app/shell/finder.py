"""What the palette finds: entries narrowed as one types, the likeliest first.

An own row list: searching 30,000 lower-cased texts takes some milliseconds, a sort-filter proxy
takes hundreds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, chain

SHOWN = 200
"""Rows offered at most: nobody reads more, and the view stays light."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One thing that can be reached.

    Parameters
    ----------
    text, detail : str
        Name, and what it is (a menu and key, or a set).
    run : callable
    id : str
        Names it from one start to the next: an action's id, a table's, a path.
    search : str
        What else it is found by.
    enabled : bool
    """

    text: str
    detail: str
    run: Callable[[], None]
    id: str = ""
    search: str = ""
    enabled: bool = True


def searched(title: str, id: str, rest: str = "") -> str:
    """Return the text that is searched for one thing: a line each for title, id and the rest.

    The rest begins with a space, so that a line that begins with what was typed is title or id.
    """
    title, id, rest = (" ".join(part.split()) for part in (title, id, rest))
    return f"{title}\n{id}\n {rest}".lower()


@dataclass(frozen=True, slots=True)
class Group:
    """Many things that can be reached, made into entries only when they are shown.

    Parameters
    ----------
    texts : list of str
        What is searched, see `searched`.
    ids : list of str
    make : callable
        Returns the entry of a number.
    """

    texts: list[str]
    ids: list[str]
    make: Callable[[int], Entry]

    @classmethod
    def of(cls, entries: Iterable[Entry]) -> Group:
        """Return the group of entries at hand."""
        listed = list(entries)
        return cls(
            [searched(entry.text, entry.id, entry.search) for entry in listed],
            [entry.id for entry in listed],
            listed.__getitem__,
        )


class Finder:
    """Narrows entries as one types; words may come in any order.

    Parameters
    ----------
    groups : sequence of Group
        In the order to offer them.
    recent : sequence of str
        Ids of what was used last, newest first: offered first among what suits as well.
    """

    def __init__(self, groups: Sequence[Group], recent: Sequence[str] = ()) -> None:
        self._groups = groups
        self._starts = list(accumulate((len(group.texts) for group in groups), initial=0))
        self._texts = list(chain.from_iterable(group.texts for group in groups))
        self._recent = _places(chain.from_iterable(group.ids for group in groups), recent)
        self._last = ""
        self._kept: list[int] = list(range(len(self._texts)))

    def _entry(self, number: int) -> Entry:
        place = bisect_right(self._starts, number) - 1
        return self._groups[place].make(number - self._starts[place])

    def find(self, typed: str, most: int = SHOWN) -> list[Entry]:
        """Return entries that hold every typed word, best first, `most` of them.

        `count` says how many there are.
        """
        typed = " ".join(typed.lower().split())
        # A longer text can only narrow what its beginning left.
        if typed.startswith(self._last):
            kept: Iterable[int] = self._kept
        else:
            kept = range(len(self._texts))
        texts = self._texts
        words = typed.split()
        for word in words:
            kept = [i for i in kept if word in texts[i]]
        self._last, self._kept = typed, list(kept)
        return [self._entry(i) for i in self._best(typed, words, most)]

    @property
    def count(self) -> int:
        """How many entries hold every typed word."""
        return len(self._kept)

    def _best(self, typed: str, words: list[str], most: int) -> list[int]:
        """The most likely first: each way of suiting is tried in turn until there are enough."""
        recent = self._recent
        left = (
            sorted(self._kept, key=lambda i: recent.get(i, len(recent))) if recent else self._kept
        )
        best: list[int] = []
        for suits in _ways(typed, words):
            if len(best) >= most:
                break
            taken = set(best)
            texts = self._texts
            best += [i for i in left if i not in taken and suits(texts[i])]
        return best[:most]


def _ways(typed: str, words: list[str]) -> Iterable[Callable[[str], bool]]:
    """How a text may suit what was typed, the best way first."""
    if words:
        whole, line = f"{typed}\n", f"\n{typed}"
        yield lambda text: text.startswith(whole) or f"{line}\n" in text
        yield lambda text: text.startswith(typed)
        yield lambda text: line in text
        yield lambda text: _begin_words(words, text[: text.index("\n")])
        yield lambda text: typed in text[: text.index("\n")]
    yield lambda text: True


def _begin_words(typed: list[str], title: str) -> bool:
    return all(title.startswith(word) or f" {word}" in title for word in typed)


def _places(ids: Iterable[str], recent: Sequence[str]) -> dict[int, int]:
    """Numbers of what was used lately, with their order."""
    order = {id: place for place, id in enumerate(recent)}
    return {number: order[id] for number, id in enumerate(ids) if id in order} if order else {}
