"""Handlers of actions that belong to a part of Road: the part is shown first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

AREA = 2
"""The number of the work area Road."""


def shows(name: str) -> Callable[[Any], None]:
    """Return a handler that shows a part."""

    def run(window: Any) -> None:
        if window.area != AREA:
            window.show_area(AREA)
        if window.road.part != name:
            window.road.show_part(name)

    return run


def in_part(name: str, act: Callable[[Any], object]) -> Callable[[Any], None]:
    """Return a handler that shows a part and then acts on it."""
    show = shows(name)

    def run(window: Any) -> None:
        show(window)
        act(window.road.part_named(name))

    return run
