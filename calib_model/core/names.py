"""Names of people: whether two are one person, and whether two only look alike.

`same_person` is what "somebody else" means everywhere: case, spacing, width and invisible
characters make no other person.  `looks_like` finds names that are two for the machine and one
for the eye, such as one with a Cyrillic ``а``.  It is a hint for people, not a proof: it knows the
letters of Greek, Cyrillic and Armenian that pass for Latin ones, and what passes for another
within Latin; other scripts, and names that differ by an accent, it does not know.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from itertools import combinations

MOST_ALIKE = 8
"""Spellings of one name that are held against each other; more are no team's."""

# The pairs are those of Unicode's security mechanisms (UTS #39, skeletons), as ICU 72 gives them.
_PASSES_FOR = {
    "A": "ΑА", "B": "ΒВ", "C": "ϹС", "E": "ΕЕ", "F": "Ϝ", "G": "Ԍ", "H": "ΗН", "J": "ͿЈ",
    "K": "ΚК", "M": "ΜϺМ", "N": "Ν", "O": "0ΟОՕ", "P": "ΡР", "R": "Ʀ", "S": "ЅՏ", "T": "ΤТ",
    "U": "Ս", "V": "Ѵ", "W": "Ԝ", "X": "ΧХ", "Y": "ΥϒУҮ", "Z": "Ζ",
    "a": "ɑαа", "b": "ƄЬ", "c": "ϲс", "d": "ԁ", "e": "еҽ", "f": "ք", "g": "ƍɡց", "h": "һհ",
    "i": "ıɩɪιіӏ", "j": "ϳј", "l": "1I|ƖǀΙІӀ", "n": "ոռ", "o": "οσоօ", "p": "ρϱр",
    "q": "ԛգզ", "r": "г", "s": "ƽѕ", "u": "ʋυս", "v": "νѵ", "w": "ɯѡԝա", "x": "х", "y": "ɣʏγуү",
}  # fmt: skip
_LATIN = str.maketrans(
    {sign: latin for latin, signs in _PASSES_FOR.items() for sign in signs}
    | {"æ": "ae", "ӕ": "ae", "Æ": "AE", "Ӕ": "AE", "œ": "oe", "Œ": "OE"}
)
# Marks that draw nothing and are no format characters: Unicode's Default_Ignorable_Code_Point.
_INVISIBLE = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u3164\uffa0") | frozenset(
    map(chr, (*range(0x180B, 0x1810), *range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0)))
)


def same_person(first: str, second: str) -> bool:
    """Whether two names are one, however they are spaced, capitalised or padded."""
    return _plain(first).casefold() == _plain(second).casefold()


def looks_like(first: str, second: str) -> bool:
    """Whether two names are two people for the machine, but look alike; see the module."""
    if same_person(first, second):
        return False
    # A capital I passes for l and for i's own capital: as written, and without capitals.
    return any(_drawn(write(first)) == _drawn(write(second)) for write in (str, str.lower))


def same_person_hint(first: str, second: str) -> str:
    """Return a sentence where two names look alike but are not one; empty otherwise."""
    if not looks_like(first, second):
        return ""
    return (
        f"The names {_spelt(first)} and {_spelt(second)} look alike, but are spelt with different "
        "characters: make sure that they are two people."
    )


def look_alike_hints(names: Iterable[str]) -> tuple[str, ...]:
    """Return `same_person_hint` of every two of some names, without repeats."""
    alike: dict[str, list[str]] = {}
    for name in dict.fromkeys(names):
        for drawn in {_drawn(name), _drawn(name.lower())}:
            alike.setdefault(drawn, []).append(name)
    hints = (
        same_person_hint(first, second)
        for mine in alike.values()
        for first, second in combinations(mine[:MOST_ALIKE], 2)
    )
    return tuple(dict.fromkeys(hint for hint in hints if hint))


def _plain(name: str) -> str:
    # Normalised before and after: taking a mark out can bring two others together.
    return unicodedata.normalize("NFKC", _visible(unicodedata.normalize("NFKC", name)))


def _visible(name: str) -> str:
    kept = (
        sign
        for sign in name
        if sign not in _INVISIBLE and (sign.isspace() or unicodedata.category(sign)[0] != "C")
    )
    return " ".join("".join(kept).split())


def _drawn(name: str) -> str:
    # Before NFKC too, which turns some look-alikes into letters that look otherwise (ϲ into ς).
    drawn = unicodedata.normalize("NFD", _visible(name)).translate(_LATIN)
    drawn = unicodedata.normalize("NFKD", drawn).translate(_LATIN)
    return unicodedata.normalize("NFC", drawn).casefold().replace("rn", "m").replace("vv", "w")


def _spelt(name: str) -> str:
    """Return a name in quotation marks, with what it is not written in Latin said by number."""
    odd = [f"U+{ord(sign):04X}" for sign in dict.fromkeys(name) if not sign.isascii()]
    return f"{name!r}" + (f" ({', '.join(odd[:8])})" if odd else "")
