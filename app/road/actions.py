"""Actions of the work area Road that belong to no single part, and those of Recordings."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action

MENU = "Road"
AREA = 2


def _part(name: str) -> Callable[[Any], None]:
    def run(window: Any) -> None:
        window.show_area(AREA)
        window.road.show_part(name)

    return run


def _shows(name: str) -> Callable[[Any], bool]:
    return lambda window: window.area == AREA and window.road.part == name


def _recordings(act: Callable[[Any], object]) -> Callable[[Any], None]:
    """Return a handler that shows the part Recordings first."""

    def run(window: Any) -> None:
        if window.area != AREA or window.road.part != "recordings":
            _part("recordings")(window)
        act(window.road.recordings)

    return run


ACTIONS: tuple[Action, ...] = (
    Action("road.recordings", "&Recordings", MENU, _part("recordings"), ("Ctrl+5",),
           "Look at what was driven, replayed through the tables.",
           checked=_shows("recordings")),
    Action("road.complaints", "&Complaints", MENU, _part("complaints"), ("Ctrl+6",),
           "List what drivers complained of, and what answers it.", checked=_shows("complaints")),
    Action("road.manoeuvres", "&Manoeuvres", MENU, _part("manoeuvres"), ("Ctrl+7",),
           "Drive desk manoeuvres with the open sets.", checked=_shows("manoeuvres")),
    Action("road.campaign", "Cam&paign", MENU, _part("campaign"), ("Ctrl+8",),
           "Drive many variants of a set through many manoeuvres.", checked=_shows("campaign")),
    Action("road.open", "&Open recordings…", f"-{MENU}", _recordings(lambda p: p.ask_open()),
           ("Ctrl+F3",), "Open one or several recordings of driving."),
)  # fmt: skip
