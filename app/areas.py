"""The table of work areas: one row each, from which switcher, menus and keys are made."""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module

from app.needs import COMPARE, RELEASE, ROAD, TUNE
from app.work_area import Window, WorkArea


@dataclass(frozen=True)
class Area:
    """One work area.

    Parameters
    ----------
    id : str
        Permanent; settings and actions refer to it.
    name : str
        As it is shown.
    menu_text : str
        The name with its mnemonic.
    key : str
        Key sequence in portable text.
    about : str
        What it is for, in one sentence.
    icon : str
        Name of its icon.
    home : str
        Module whose ``make(window)`` returns the page; imported when the area is first shown,
        because it brings the plots.
    """

    id: str
    name: str
    menu_text: str
    key: str
    about: str
    icon: str
    home: str

    def make(self, window: Window) -> WorkArea:
        """Return the area's page."""
        page: WorkArea = import_module(self.home).make(window)
        return page


AREAS = (
    Area(TUNE, "Tune", "T&une", "Ctrl+1", "Shape tables.", "sliders-horizontal", "app.tune.area"),
    Area(COMPARE, "Compare", "&Compare", "Ctrl+2", "Two sets side by side.", "columns-2",
         "app.compare.area"),
    Area(ROAD, "Road", "R&oad", "Ctrl+3", "Recordings, complaints and desk manoeuvres.",
         "route", "app.road.area"),
    Area(RELEASE, "Release", "&Release", "Ctrl+4",
         "Findings, waivers, decisions, sign-off, export.", "signature", "app.release.area"),
)  # fmt: skip
"""Every work area, in the order of the switcher."""
