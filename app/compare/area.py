"""Compare as one of the window's work areas."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from app.needs import COMPARE
from app.work_area import Window

if TYPE_CHECKING:
    from app.compare.page import ComparePage


def make(window: Window) -> ComparePage:
    """Return the page, which brings its plots."""
    from app.compare.page import ComparePage

    return ComparePage(window.desk, window.jobs)


def page_of(window: Window) -> ComparePage:
    """Return the window's page of Compare."""
    return cast("ComparePage", window.areas.page(COMPARE))
