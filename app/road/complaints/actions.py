"""Actions of the part Complaints."""

from __future__ import annotations

from typing import Any

from app.action import Action, with_document

from .papers import Paper

MENU = "Road"
AREA = 2


def _write(window: Any, paper: Paper) -> None:
    window.show_area(AREA)
    window.road.show_part("complaints")
    window.road.complaints.write(paper)


ACTIONS: tuple[Action, ...] = (
    Action("complaints.summary", "Write the day's &summary…", f"-{MENU}",
           lambda w: _write(w, Paper.DAY), (),
           "Complaints, edits, drives and trials of today as a page.", with_document),
    Action("complaints.change_note", "Write the change &note…", MENU,
           lambda w: _write(w, Paper.CHANGES), (),
           "What changed since the last sign-off, why, and for which complaint.", with_document),
)  # fmt: skip
