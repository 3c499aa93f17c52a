"""Road as one of the window's work areas."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import cast

from app.needs import ROAD
from app.road.page import RoadPage
from app.work_area import Window


def make(window: Window) -> RoadPage:
    """Return the page, which brings its plots."""
    page = RoadPage(window.desk, window.jobs, window.memory)
    page.part_changed.connect(lambda _name: window.refresh_soon())
    return page


def open_recordings(window: Window, paths: Iterable[Path]) -> None:
    """Open recordings of driving, and show them."""
    page = show_part(window, "recordings")
    page.recordings.open(paths)


def show_part(window: Window, name: str) -> RoadPage:
    """Return the page, having shown one of its parts."""
    page = page_of(window)
    if window.area != ROAD:
        window.show_area(ROAD)
    if page.part != name:
        page.show_part(name)
    return page


def page_of(window: Window) -> RoadPage:
    """Return the window's page of Road."""
    return cast("RoadPage", window.areas.page(ROAD))
