"""Tune as one of the window's work areas."""

from __future__ import annotations

from typing import cast

from app.needs import TUNE
from app.tune.page import TunePage
from app.work_area import Window


def make(window: Window) -> TunePage:
    """Return the page, which brings its plots."""
    page = TunePage(window.desk)
    page.strip.remember_in(window.memory)
    return page


def page_of(window: Window) -> TunePage:
    """Return the window's page of Tune."""
    return cast("TunePage", window.areas.page(TUNE))
