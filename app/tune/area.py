"""Tune as one of the window's work areas."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from app.needs import TUNE
from app.work_area import Window

if TYPE_CHECKING:
    from app.tune.page import TunePage


def make(window: Window) -> TunePage:
    """Return the page, which brings its plots."""
    from app.tune.page import TunePage

    page = TunePage(window.desk)
    page.strip.remember_in(window.memory)
    return page


def page_of(window: Window) -> TunePage:
    """Return the window's page of Tune."""
    return cast("TunePage", window.areas.page(TUNE))
