"""Actions of the part Complaints."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from app.action import Action, with_document
from app.road.showing import in_part

from .papers import Paper
from .possible import can

MENU = "Road/Complaints"


def _write(paper: Paper) -> Callable[[Any], None]:
    return in_part("complaints", lambda panel: panel.write(paper))


def _step(name: str, text: str, tip: str, icon: str, menu: str = MENU) -> Action:
    """Return the row of a step; letters that the list takes as keys stand in its text."""
    run = in_part("complaints", lambda panel: panel.act(name))
    return Action(f"complaints.{name}", text, menu, run, (), tip, can(name), icon=icon)


STEPS: tuple[Action, ...] = (
    _step("new", "&New complaint (N)", "Raise a complaint; from Recordings it comes with its "
          "moment.", "message-square-plus", f"-{MENU}"),
    _step("answer", "&Answer (A)", "Name the change that answers the complaint.", "reply"),
    _step("prove", "&Prove (P)", "Name the run that shows that the complaint is gone.",
          "badge-check"),
    _step("moment", "&Go to the moment (Enter)", "Show the recording at the moment of the "
          "complaint.", "crosshair", f"-{MENU}"),
    _step("table", "Open the deciding &table (T)", "Open the first of the complaint's tables in "
          "Tune; 1 to 9 open the others.", "table-2"),
    _step("drop", "Set asi&de (D)", "Set the complaint aside for a reason, or take it up again.",
          "archive", f"-{MENU}"),
    _step("remove", "&Remove (Del)", "Take the complaint out of the record; this can be undone.",
          "trash-2"),
)  # fmt: skip
"""What can be done with a complaint."""

ACTIONS: tuple[Action, ...] = (
    *STEPS,
    Action("complaints.summary", "Write the day's &summary…", f"-{MENU}",
           _write(Paper.DAY), (),
           "Complaints, edits, drives and trials of today as a page.", with_document),
    Action("complaints.change_note", "Write the change n&ote…", MENU,
           _write(Paper.CHANGES), (),
           "What changed since the last sign-off, why, and for which complaint.", with_document),
)  # fmt: skip
