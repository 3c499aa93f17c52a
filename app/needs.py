"""What work areas ask of the window, which they do not import."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

TUNE, COMPARE, ROAD, RELEASE = "tune", "compare", "road", "release"
"""Ids of the work areas."""


class ControlLike(Protocol):
    """What a running job may say and ask (`app.shell.jobs.Control`)."""

    def progress(self, fraction: float, text: str = "") -> None:
        """Tell how far the work is; raises if the user gave up."""

    def check(self) -> None:
        """Raise if the user gave up."""

    def on_cancel(self, stop: Callable[[], None]) -> None:
        """Have `stop` called when the user gives up."""


class JobsLike(Protocol):
    """What starts work in the background (`app.shell.jobs.Jobs`)."""

    def start(self, title: str, function: Callable[..., Any], *arguments: Any, **how: Any) -> Any:
        """Run ``function(control, *arguments)`` in a thread; ``done`` gets the result."""


class Memory(Protocol):
    """What remembers texts from one start to the next (`app.shell.settings.Settings`)."""

    author: str

    def remembered(self, key: str) -> str:
        """Return a text; empty if there is none."""

    def remember(self, key: str, text: str) -> None:
        """Keep a text."""
