"""Handlers of actions that belong to a part of Road: the part is shown first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.needs import ROAD
from app.road.area import page_of, show_part
from app.road.page import RoadPage
from app.work_area import Window


def shows(name: str) -> Callable[[Window], None]:
    """Return a handler that shows a part."""

    def run(window: Window) -> None:
        show_part(window, name)

    return run


def is_shown(name: str) -> Callable[[Window], bool]:
    """Return what tells whether a part is shown."""
    return lambda window: window.area == ROAD and page_of(window).part == name


def in_part(name: str, act: Callable[[Any], object]) -> Callable[[Window], None]:
    """Return a handler that shows a part and then acts on it."""

    def run(window: Window) -> None:
        act(show_part(window, name).part_named(name))

    return run


def on_road(act: Callable[[RoadPage], object]) -> Callable[[Window], None]:
    """Return a handler that acts on the part of Road that is shown."""

    def run(window: Window) -> None:
        if window.area == ROAD:
            act(page_of(window))
        else:
            window.desk.tell("This acts on the lists of Road (Ctrl+3).")

    return run
