"""Compare as one of the window's work areas."""

from __future__ import annotations

from typing import cast

from app.compare.page import ComparePage
from app.needs import COMPARE
from app.work_area import Window


def make(window: Window) -> ComparePage:
    """Return the page, which brings its plots."""
    return ComparePage(window.desk, window.jobs)


def page_of(window: Window) -> ComparePage:
    """Return the window's page of Compare."""
    return cast("ComparePage", window.areas.page(COMPARE))
