"""One checked reader of plain data: what a person wrote as TOML, with the key of each value.

A `Given` is a value, the file it stands in and its key there. Its methods return what was asked for
or raise a `FileProblem` with the file, the key, what is wrong and the remedy.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Never

from calib_model.errors import FileProblem

MOST_TEXT = 2000
"""Characters of a text."""
MOST_NAMED = 12
"""Possible names that a remedy lists where none is near."""


def read_toml(text: str, file: Path | str, remedy: str = "Mend the text there.") -> Given:
    """Return the whole of a TOML text.

    Raises
    ------
    FileProblem
        With line and column where the parser tells them.
    """
    try:
        data = tomllib.loads(text)
        repr(data)  # fails here, not in a message, on hexadecimal numbers too long to be shown
        return Given(data, file)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at (.*)\)$", str(error))
        said = re.sub(r"\s*\(at .*\)$", "", str(error))
        raise FileProblem(
            file, place[1] if place else "", f"This is not valid TOML: {said}.", remedy
        ) from None
    except ValueError:  # Python reads whole numbers of up to 4,300 digits
        problem = "This is not valid TOML: a number has too many digits."
        raise FileProblem(file, "", problem, "Shorten it.") from None
    except RecursionError:
        problem = "This is not valid TOML: brackets are nested too deeply."
        raise FileProblem(file, "", problem, "Write lists and braces plainly.") from None


def nearest(word: object, words: Collection[str]) -> str:
    """Return a remedy for a word that is none of some: the one that was meant, or what there is."""
    near = difflib.get_close_matches(str(word), words, 1)
    if near:
        return f"Did you mean {near[0]}?"
    some = list(words)[:MOST_NAMED]
    return f"Use one of: {', '.join(some)}{', ...' if len(words) > len(some) else ''}."


@dataclass(frozen=True)
class Given:
    """A value that a file gives.

    Parameters
    ----------
    data : object
        Dicts, lists, texts, numbers.
    file : path-like
    key : str
        Where in the file, such as ``manoeuvre[0].driver.pedal``; empty for the whole.
    """

    data: Any
    file: Path | str
    key: str = ""

    def refuse(self, problem: str, remedy: str) -> Never:
        """Raise what is wrong with the value."""
        raise FileProblem(self.file, self.key, problem, remedy)

    # -- tables and lists ------------------------------------------------------------------

    def table(self, *needed: str) -> Mapping[str, Given]:
        """Return the values of a table by key; each of `needed` is among them."""
        if not isinstance(self.data, Mapping):
            remedy = f"Begin it with a line [{self.key}], or write {{ key = value }}."
            self.refuse("This is no section.", remedy)
        dot = "." if self.key else ""
        made = {k: Given(v, self.file, f"{self.key}{dot}{k}") for k, v in self.data.items()}
        for key in needed:
            if key not in made:
                place = f"{self.key}{dot}{key}"
                raise FileProblem(self.file, place, "It is missing.", f"Add {key}.")
        return made

    def known(
        self, keys: Collection[str], *needed: str, what: str = "setting"
    ) -> Mapping[str, Given]:
        """Return the values of a table that has no other keys; `what` says what a key is."""
        made = self.table()
        for key, value in made.items():
            if key not in keys:
                value.refuse(f"There is no such {what}.", nearest(key, keys))
        return self.table(*needed) if needed else made

    def listed(self, example: str = '["one", "two"]', most: int | None = None) -> Iterator[Given]:
        """Return the entries of a list, each with its place from 0."""
        if not isinstance(self.data, list | tuple):
            self.refuse("This is no list.", f"Write it as {example}.")
        if most is not None and len(self.data) > most:
            self.refuse(f"It has more than {most:,} entries.", "Give fewer.")
        return (Given(v, self.file, f"{self.key}[{n}]") for n, v in enumerate(self.data))

    # -- values ----------------------------------------------------------------------------

    def text(self, most: int = MOST_TEXT) -> str:
        """Return a text of at most some characters."""
        if not isinstance(self.data, str):
            self.refuse(f"{self.data!r:.60} is no text.", "Put it in quotation marks.")
        if len(self.data) > most:
            self.refuse(f"It has more than {most:,} characters.", "Shorten it.")
        return self.data

    def choice(self, words: Collection[str], what: str = "choice") -> str:
        """Return one of some words; `what` says what they are."""
        if not isinstance(self.data, str) or self.data not in words:
            self.refuse(f"{self.data!r:.60} is no {what}.", nearest(self.data, words))
        return self.data

    def flag(self) -> bool:
        """Return true or false."""
        if not isinstance(self.data, bool):
            self.refuse("It is neither true nor false.", "Write true or false.")
        return self.data

    def number(self, low: float | None = None, high: float | None = None) -> float:
        """Return a number, from `low` to `high` where they are given; else any, NaN too."""
        remedy = "Write it like 12.5, without a unit."
        if low is not None and high is not None:
            remedy = f"Give {low:g} to {high:g}."
        if isinstance(self.data, bool) or not isinstance(self.data, int | float):
            self.refuse(f"{self.data!r:.60} is no number.", remedy)
        # Compared as it stands: a whole number may be too large for a float.
        if low is not None and high is not None and not low <= self.data <= high:
            self.refuse(f"{self.data!r:.20} cannot be.", remedy)
        try:
            return float(self.data)
        except OverflowError:
            self.refuse("The number is too large.", remedy)
