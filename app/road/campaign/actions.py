"""Actions of the part Campaign."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, with_document
from app.road.showing import in_part

MENU = "Road/Campaign"


def _here(act: Callable[[Any], object]) -> Callable[[Any], None]:
    return in_part("campaign", act)


ACTIONS: tuple[Action, ...] = (
    Action("road.run_campaign", "Run the campai&gn", f"-{MENU}", _here(lambda p: p.run()),
           ("Ctrl+Shift+F12",), "Drive every combination of manoeuvres, sets and variations.",
           with_document, icon="play"),
    Action("road.distributions", "Distrib&utions", MENU, _here(lambda p: p.show_tab(0)), (),
           "Show how the estimates of the campaign spread."),
    Action("road.worst", "&Worst cases", MENU, _here(lambda p: p.show_tab(1)), (),
           "List the worst runs of the campaign; Enter drives one again."),
    Action("road.open_campaign", "Open the results of a campaign…", MENU,
           _here(lambda p: p.ask_open()), (), "Show the results of an earlier campaign.",
           icon="folder-open"),
)  # fmt: skip
