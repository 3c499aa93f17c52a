"""What a part of Road is: what the page asks of it, and what it hears from it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QWidget

from app.desk import Desk
from app.proving import RunFile
from app.road.needs import ShownMoment
from app.road.rows import RowsView
from app.work_area import Pane, step_pane, to_widget


class RoadPart(QWidget):
    """One part of Road.  It takes the keyboard by ``setFocus``.

    Signals
    -------
    jumped
        The table in work is to be seen in Tune.
    moment_wanted : str, float
        Digest of a recording and seconds into it: that moment is to be seen in Recordings.
    part_wanted : str
        Another part is to be seen.
    complaint_wanted : str, str, float, object
        A complaint is to be raised: recording, its digest, seconds, ids of the tables that decided.

    Parameters
    ----------
    desk : Desk

    Attributes
    ----------
    shown_moment : callable
        Tells the moment that Recordings shows; None for none.
    run_wanted : callable
        Finds the file of an open recording by its digest; None if it is not open.
    """

    jumped = Signal()
    moment_wanted = Signal(str, float)
    part_wanted = Signal(str)
    complaint_wanted = Signal(str, str, float, object)

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.shown_moment: Callable[[], ShownMoment | None] = lambda: None
        self.run_wanted: Callable[[str], RunFile | None] = lambda _sha256: None

    def step_fault(self, by: int) -> None:
        """Go to the next (or previous) fault of what is shown."""
        self.desk.tell("Faults are listed in the part Recordings (Ctrl+5).")

    def list_shown(self) -> RowsView | None:
        """Return the list that is shown, whose rows can be gone to and copied; None for none."""
        return None

    def panes(self) -> Sequence[Pane]:
        """Return the panes that can be stepped through, in order."""
        return (Pane(self, lambda: to_widget(self)),)

    def next_pane(self, by: int) -> None:
        """Move the keyboard to the next (or previous) pane."""
        step_pane(self.panes(), by)
