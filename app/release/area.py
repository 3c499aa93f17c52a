"""Release as one of the window's work areas."""

from __future__ import annotations

from typing import cast

from app.needs import RELEASE
from app.release.page import ReleasePage
from app.work_area import Window


def make(window: Window) -> ReleasePage:
    """Return the page, which brings its plots."""
    page = ReleasePage(window.desk, window.jobs, window.memory)
    page.went_back.connect(lambda: window.go_back(RELEASE))
    page.save_wanted.connect(window.files.save)
    page.open_wanted.connect(window.files.open)
    return page


def page_of(window: Window) -> ReleasePage:
    """Return the window's page of Release."""
    return cast("ReleasePage", window.areas.page(RELEASE))
