"""Pages of the guide: Markdown files that name actions by id, so that no key in them grows old."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ASSETS = Path(__file__).resolve().parents[2] / "assets"
PAGES = ASSETS / "guide"
SCHEME = "act"
"""Scheme of the links that run an action: ``act:edit.undo``."""
_ACTION = re.compile(r"\{([a-z_]+\.[a-z0-9_]+)\}")


@dataclass(frozen=True)
class GuidePage:
    """One page.

    Parameters
    ----------
    title : str
        What one wants to do.
    words : str
        Further words it is found by.
    picture : Path
    text : str
        Markdown; ``{id}`` stands for an action.
    """

    title: str
    words: str
    picture: Path
    text: str

    @property
    def actions(self) -> tuple[str, ...]:
        """Ids of the actions it names, in order."""
        return tuple(_ACTION.findall(self.text))

    def markdown(self, describe: Callable[[str], tuple[str, str]]) -> str:
        """Return the text with each action as a link and its keys.

        Parameters
        ----------
        describe : callable
            Returns name and keys of an action.
        """

        def link(found: re.Match[str]) -> str:
            name, keys = describe(found[1])
            return f"[{name}]({SCHEME}:{found[1]})" + (f" ({keys})" if keys else "")

        return _ACTION.sub(link, self.text)


@cache
def pages() -> tuple[GuidePage, ...]:
    """Return every page, in the order of the files' names."""
    return tuple(_page(path) for path in sorted(PAGES.glob("*.md")))


def _page(path: Path) -> GuidePage:
    title, words, picture, text = path.read_text("utf-8").split("\n", 3)
    heads = (("# ", title), ("words: ", words), ("picture: ", picture))
    for head, line in heads:
        if not line.startswith(head):
            raise ValueError(f"{path.name}: a line that begins with {head!r} is missing")
    return GuidePage(
        title[2:], words.removeprefix("words: "), ASSETS / picture.removeprefix("picture: "), text
    )


def find_pages(listed: Sequence[GuidePage], typed: str) -> list[GuidePage]:
    """Return the pages that hold every typed word: by title first, by text last."""
    words = typed.lower().split()

    def rank(page: GuidePage) -> int:
        heads = f"{page.title} {page.words}"
        fields = (page.title, heads, f"{heads} {page.text}")
        for place, field in enumerate(fields):
            if all(word in field.lower() for word in words):
                return place
        return len(fields)

    ranks = {page: rank(page) for page in listed}
    return sorted((page for page in listed if ranks[page] < 3), key=ranks.__getitem__)
