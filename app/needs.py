"""What work areas ask of the window, which they do not import."""

from __future__ import annotations

from typing import Protocol

TUNE, COMPARE, ROAD, RELEASE = "tune", "compare", "road", "release"
"""Ids of the work areas."""


class Memory(Protocol):
    """What remembers texts from one start to the next (`app.shell.settings.Settings`)."""

    author: str

    def remembered(self, key: str) -> str:
        """Return a text; empty if there is none."""

    def remember(self, key: str, text: str) -> None:
        """Keep a text."""
