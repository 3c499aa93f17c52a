"""What the words of a name stand for: concepts, by a vocabulary that is a file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType

from ..core.text_file import read_text

_CUT = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[A-Z]+")
MOST_KEPT = 20_000
MOST = 1 << 20  # bytes
_LONGEST = 3
"""Pieces of a name that are one word together, such as low, mu, time."""


@dataclass(frozen=True)
class Heard:
    """What was understood of a name.

    Parameters
    ----------
    concepts : mapping of concept to float
        How surely each was understood: 1 for a word, less for an abbreviation.
    unknown : tuple of str
        Pieces that stand for nothing.
    """

    concepts: Mapping[str, float]
    unknown: tuple[str, ...]


@dataclass(frozen=True)
class Vocabulary:
    """Words by the concept they stand for.

    Parameters
    ----------
    concepts : mapping of concept to tuple of str
    noise : frozenset of str
    """

    concepts: Mapping[str, tuple[str, ...]]
    noise: frozenset[str]

    @cached_property
    def index(self) -> Mapping[str, str]:
        """Concept by word."""
        return {word: concept for concept, words in self.concepts.items() for word in words}

    @cached_property
    def _guesses(self) -> dict[str, list[tuple[str, float]]]:
        """What was guessed of pieces before: names of a set share most of theirs."""
        return {}

    def hear(self, name: str) -> Heard:
        """Return what a name says.

        Parameters
        ----------
        name : str
            An id, a name, or both with a blank between them.
        """
        pieces = [piece.lower() for piece in _CUT.findall(name)]
        found: dict[str, float] = {}
        unknown: list[str] = []
        place = 0
        while place < len(pieces):
            for length in range(min(_LONGEST, len(pieces) - place), 0, -1):
                part = pieces[place : place + length]
                # Written together, or cut where the vocabulary does not cut.
                concept = self.index.get("_".join(part)) or self.index.get("".join(part))
                if concept:
                    found[concept] = 1.0
                    break
            else:
                length = 1
                self._guess(pieces[place], found, unknown)
            place += length
        return Heard(MappingProxyType(found), tuple(unknown))

    def _guess(self, piece: str, found: dict[str, float], unknown: list[str]) -> None:
        if piece in self.noise or len(piece) == 1:
            return
        heard = self._guesses.get(piece)
        if heard is None:
            heard = self._abbreviated(piece) or self._compound(piece)
            if len(self._guesses) < MOST_KEPT:
                self._guesses[piece] = heard
        for concept, surely in heard:
            found[concept] = max(found.get(concept, 0.0), surely)
        if not heard:
            unknown.append(piece)

    def _abbreviated(self, piece: str) -> list[tuple[str, float]]:
        """Take a piece as the beginning of a word, or as a word without its vowels."""
        if len(piece) < 3:
            return []
        begins = {c for word, c in self.index.items() if word.startswith(piece)}
        if len(begins) == 1:
            return [(begins.pop(), 0.8)]
        bare = _bare(piece)
        if len(bare) < 3 or bare != piece:
            return []
        likely = {c for word, c in self.index.items() if _bare(word) == bare} or {
            c for word, c in self.index.items() if _bare(word).startswith(bare)
        }
        return [(likely.pop(), 0.7)] if len(likely) == 1 else []

    def _compound(self, piece: str) -> list[tuple[str, float]]:
        """Take a piece as two words written together."""
        for cut in range(len(piece) - 2, 1, -1):
            parts = []
            for part in (piece[:cut], piece[cut:]):
                concept = self.index.get(part) if len(part) >= 3 else None
                if concept is None and len(part) >= 3:
                    guessed = self._abbreviated(part)
                    concept = guessed[0][0] if guessed else None
                if concept is None and part not in self.noise:
                    break
                parts += [concept] if concept else []
            else:
                if parts:
                    return [(concept, 0.7) for concept in parts]
        return []


def _bare(word: str) -> str:
    return word[:1] + re.sub("[aeiou_]", "", word[1:])


@lru_cache(maxsize=1)
def vocabulary() -> Vocabulary:
    """Return the vocabulary that ships (`vocabulary.toml`)."""
    plain = tomllib.loads(read_text(Path(__file__).with_name("vocabulary.toml"), "it", MOST))
    concepts = {concept: tuple(words) for concept, words in plain["concepts"].items()}
    return Vocabulary(MappingProxyType(concepts), frozenset(plain["noise"]["words"]))
