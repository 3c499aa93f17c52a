"""The work area Road: recordings, complaints, desk manoeuvres and campaigns, one part at a time."""

from __future__ import annotations

import importlib
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.cautions import LINE
from app.desk import Desk
from app.needs import JobsLike, Memory

from . import ready
from .needs import ShownMoment

LOW = 420
"""Below this height the line of cautions is left out; the Help menu still has them."""
PARTS = {
    "recordings": ("Recordings", "app.road.recordings.panel", "RecordingsPanel"),
    "complaints": ("Complaints", "app.road.complaints.panel", "ComplaintsPanel"),
    "manoeuvres": ("Manoeuvres", "app.road.manoeuvres.panel", "ManoeuvresPanel"),
    "campaign": ("Campaign", "app.road.campaign.panel", "CampaignPanel"),
}
"""The parts by name: what the button says, and the class that is made when it is first shown."""


class RoadPage(QWidget):
    """A row of buttons and the part that one of them chose.

    A part is a widget made of ``(desk, jobs, memory)``.  It takes the keyboard by ``setFocus``.
    Where it has these signals they are joined here: ``jumped`` (the table in work is to be seen
    in Tune), ``moment_wanted`` (digest of a recording, seconds: show that moment) and
    ``part_wanted`` (name of another part).  A part with an attribute ``shown_moment`` is given
    what tells the moment that Recordings shows.

    Signals
    -------
    jumped
        The table in work is to be seen in Tune.
    part_changed : str
        Another part is shown.

    Parameters
    ----------
    desk : Desk
    jobs : JobsLike
    memory : Memory
        Remembers mappings and folders.
    """

    jumped = Signal()
    part_changed = Signal(str)

    def __init__(
        self, desk: Desk, jobs: JobsLike, memory: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.desk, self.jobs, self.memory = desk, jobs, memory
        self._made: dict[str, Any] = {}
        self.part = "recordings"
        self.buttons: dict[str, QToolButton] = {}
        self._group = QButtonGroup(self)
        row = QHBoxLayout()
        row.setContentsMargins(6, 4, 6, 4)
        row.setSpacing(4)
        for number, (name, (title, _module, _class)) in enumerate(PARTS.items()):
            button = QToolButton()
            button.setText(title)
            button.setCheckable(True)
            button.setAutoRaise(True)
            button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
            button.setToolTip(f"Shows the part {title} of Road (Ctrl+{number + 5}).")
            button.setAccessibleName(f"{title}, part of Road")
            # Large enough for a gloved hand on a touch pad.
            height = button.fontMetrics().height()
            button.setMinimumSize(8 * height, 2 * height)
            button.clicked.connect(lambda _checked=False, name=name: self.show_part(name))
            self._group.addButton(button)
            self.buttons[name] = button
            row.addWidget(button)
        row.addStretch(1)
        self.stack = QStackedWidget()
        self.caution = QLabel(LINE)
        self.caution.setWordWrap(True)
        self.caution.setIndent(8)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 2)
        column.setSpacing(0)
        column.addLayout(row)
        column.addWidget(self.stack, 1)
        column.addWidget(self.caution)
        self.buttons[self.part].setChecked(True)
        self.destroyed.connect(ready.stop)

    # -- parts -----------------------------------------------------------------------------------

    @property
    def recordings(self) -> Any:
        """The part Recordings."""
        return self.part_named("recordings")

    @property
    def complaints(self) -> Any:
        """The part Complaints."""
        return self.part_named("complaints")

    @property
    def manoeuvres(self) -> Any:
        """The part Manoeuvres."""
        return self.part_named("manoeuvres")

    @property
    def campaign(self) -> Any:
        """The part Campaign."""
        return self.part_named("campaign")

    def part_named(self, name: str) -> Any:
        """Return a part, made when it is first asked for."""
        if name not in self._made:
            _title, module, kind = PARTS[name]
            # Late: a part brings its plots with it.
            part = getattr(importlib.import_module(module), kind)(self.desk, self.jobs, self.memory)
            self._made[name] = part
            self.stack.addWidget(part)
            self._join(part)
        return self._made[name]

    def _join(self, part: Any) -> None:
        for signal, slot in (
            ("jumped", self.jumped.emit),
            ("moment_wanted", self.show_moment),
            ("part_wanted", self.show_part),
            ("complaint_wanted", self.raise_complaint),
        ):
            if hasattr(part, signal):
                getattr(part, signal).connect(slot)
        if hasattr(part, "shown_moment"):
            part.shown_moment = self._shown_moment

    def _shown_moment(self) -> ShownMoment | None:
        """Return the moment that Recordings shows; None for none."""
        made = self._made.get("recordings")
        return made.moment_shown if made is not None else None

    def show_part(self, name: str) -> None:
        """Show a part and give it the keyboard."""
        part = self.part_named(name)
        self.part = name
        self.buttons[name].setChecked(True)
        self._bring_up(part)
        self.part_changed.emit(name)
        part.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _bring_up(self, part: QWidget) -> None:
        """Show a part, and let it alone ask for room: a hidden one needs none."""
        for made in self._made.values():
            policy = QSizePolicy.Policy.Preferred if made is part else QSizePolicy.Policy.Ignored
            made.setSizePolicy(policy, policy)
        self.stack.setCurrentWidget(part)

    def show_moment(self, sha256: str, moment: float) -> None:
        """Show a moment of a recording that is open, by the recording's digest and seconds."""
        self.show_part("recordings")
        self.recordings.go_to(sha256, moment)

    def raise_complaint(self, recording: str, sha256: str, moment: float, tables: object) -> None:
        """Hand a moment of a recording over to a new complaint."""
        self.show_part("complaints")
        if hasattr(self.complaints, "raise_at"):
            self.complaints.raise_at(recording, sha256, moment, tables)

    # -- what the window asks --------------------------------------------------------------------

    def step_table(self, by: int) -> None:
        """Work on the next (or previous) table of the set, as the keys of the menus say."""
        document = self.desk.current
        table = self.desk.table
        if document is None or table is None:
            return
        ids = list(document.content.tables)
        place = ids.index(table.id) + by
        if 0 <= place < len(ids):
            self.desk.open_table(ids[place])
            self.desk.tell(f"The table in work is {ids[place]}.")
        else:
            self.desk.tell(f"This is the {'last' if by > 0 else 'first'} table of the set.")

    def step_finding(self, by: int) -> None:
        """Go to the next (or previous) fault of the recording that is shown."""
        part = self.part_named(self.part)
        if hasattr(part, "step_fault"):
            part.step_fault(by)
        else:
            self.desk.tell("Faults are listed in the part Recordings (Ctrl+5).")

    def find_tables(self) -> None:
        """Say where tables are found."""
        self.desk.tell("Tables are found in Tune (Ctrl+1), or by name with Ctrl+K.")

    def apply_remedy(self, number: int) -> None:
        """Say where remedies are."""
        self.desk.tell("Remedies are offered in Tune, next to the findings.")

    def next_pane(self, by: int) -> None:
        """Move the keyboard to the next (or previous) pane of the part."""
        part = self.part_named(self.part)
        if hasattr(part, "next_pane"):
            part.next_pane(by)
        else:
            part.setFocus(Qt.FocusReason.ShortcutFocusReason)

    # -- sizes, keyboard -------------------------------------------------------------------------

    def heightForWidth(self, width: int) -> int:
        """Ask for no more than is needed: a scrolling area gives what this answers."""
        return self.minimumSizeHint().height()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave out what can be missed where there is little room."""
        super().resizeEvent(event)
        low = self.height() < LOW
        self.caution.setVisible(not low)
        for button in self.buttons.values():
            height = button.fontMetrics().height()
            button.setMinimumHeight(round((1.5 if low else 2.0) * height))

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the part that is shown."""
        super().focusInEvent(event)
        self.part_named(self.part).setFocus(Qt.FocusReason.ShortcutFocusReason)

    def showEvent(self, event: QShowEvent) -> None:
        """Make the part when it is first shown, and have the lookup compiled meanwhile."""
        super().showEvent(event)
        self._bring_up(self.part_named(self.part))
        ready.start()
