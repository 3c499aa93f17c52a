"""Actions of the part Complaints."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, with_document
from app.road.showing import in_part

from .papers import Paper

MENU = "Road"


def _write(paper: Paper) -> Callable[[Any], None]:
    return in_part("complaints", lambda panel: panel.write(paper))


ACTIONS: tuple[Action, ...] = (
    Action("complaints.summary", "Write the day's &summary…", f"-{MENU}",
           _write(Paper.DAY), (),
           "Complaints, edits, drives and trials of today as a page.", with_document),
    Action("complaints.change_note", "Write the change &note…", MENU,
           _write(Paper.CHANGES), (),
           "What changed since the last sign-off, why, and for which complaint.", with_document),
)  # fmt: skip
