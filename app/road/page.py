"""The work area Road: recordings, complaints, desk manoeuvres and campaigns, one part at a time."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING, cast

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent, QGuiApplication, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QHBoxLayout,
    QSizePolicy,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.icons import icon
from app.look.parts import TextLabel
from app.look.tokens import NEAR, TIGHT
from app.needs import Memory
from app.plain import plain_tip
from app.proving import RunFile
from app.work.jobs import Jobs
from app.work_area import Pane, WorkArea
from calib_model.cautions import LINE

from . import ready
from .needs import ShownMoment
from .part import RoadPart
from .parts import PARTS

if TYPE_CHECKING:
    from .complaints.panel import ComplaintsPanel
    from .manoeuvres.panel import ManoeuvresPanel
    from .recordings.panel import RecordingsPanel

LOW = 420
"""Below this height the line of cautions is left out; the Help menu still has them."""


class RoadPage(WorkArea):
    """A row of buttons and the part that one of them chose.

    Signals
    -------
    part_changed : str
        Another part is shown.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    memory : Memory
        Remembers mappings and folders.
    """

    part_changed = Signal(str)

    def __init__(
        self, desk: Desk, jobs: Jobs, memory: Memory, parent: QWidget | None = None
    ) -> None:
        super().__init__(desk, parent)
        self.jobs, self.memory = jobs, memory
        self._made: dict[str, RoadPart] = {}
        self.part = "recordings"
        self.buttons: dict[str, QToolButton] = {}
        self._group = QButtonGroup(self)
        row = QHBoxLayout()
        row.setContentsMargins(NEAR, TIGHT, NEAR, TIGHT)
        row.setSpacing(TIGHT)
        for part in PARTS:
            button = QToolButton()
            button.setText(part.title)
            button.setCheckable(True)
            button.setAutoRaise(True)
            button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
            button.setToolTip(plain_tip(f"Shows the part {part.title} of Road ({part.key})."))
            button.setAccessibleName(f"{part.title}, part of Road")
            button.setIcon(icon(part.icon))
            button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
            button.clicked.connect(partial(self._on_button, part.name))
            self._group.addButton(button)
            self.buttons[part.name] = button
            row.addWidget(button)
        row.addStretch(1)
        self.stack = QStackedWidget()
        self.caution = TextLabel(LINE, "small", second=True)
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
    def recordings(self) -> RecordingsPanel:
        """The part Recordings."""
        return cast("RecordingsPanel", self.part_named("recordings"))

    @property
    def complaints(self) -> ComplaintsPanel:
        """The part Complaints."""
        return cast("ComplaintsPanel", self.part_named("complaints"))

    @property
    def manoeuvres(self) -> ManoeuvresPanel:
        """The part Manoeuvres."""
        return cast("ManoeuvresPanel", self.part_named("manoeuvres"))

    def part_named(self, name: str) -> RoadPart:
        """Return a part, made when it is first asked for."""
        if name not in self._made:
            row = next(row for row in PARTS if row.name == name)
            part = row.make(self.desk, self.jobs, self.memory)
            self._made[name] = part
            self.stack.addWidget(part)
            part.jumped.connect(self.jumped)
            part.moment_wanted.connect(self.show_moment)
            part.part_wanted.connect(self.show_part)
            part.complaint_wanted.connect(self.raise_complaint)
            part.shown_moment = self._shown_moment
            part.run_wanted = self._run_of
        return self._made[name]

    def _shown_moment(self) -> ShownMoment | None:
        """Return the moment that Recordings shows; None for none."""
        return self.recordings.moment_shown if "recordings" in self._made else None

    def _on_button(self, name: str, _checked: bool) -> None:
        self.show_part(name)

    def _run_of(self, sha256: str) -> RunFile | None:
        """Return the file of a recording that is open, by its digest; None if none is."""
        return self.recordings.run_of(sha256) if "recordings" in self._made else None

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

    def raise_complaint(
        self, recording: str, sha256: str, moment: float, tables: Sequence[str]
    ) -> None:
        """Hand a moment of a recording over to a new complaint."""
        self.show_part("complaints")
        self.complaints.raise_at(recording, sha256, moment, tables)

    # -- the list that is shown --------------------------------------------------------------------

    def take_row(self) -> None:
        """Go to what the chosen row of the list names."""
        shown = self.part_named(self.part).list_shown()
        if shown is None or not shown.take():
            self.desk.tell("No row of a list is chosen here.", refused=True)

    def copy_list(self) -> None:
        """Copy the list that is shown, with its headings."""
        shown = self.part_named(self.part).list_shown()
        if shown is None or not shown.rows:
            self.desk.tell("There is no list to copy here.", refused=True)
            return
        QGuiApplication.clipboard().setText(shown.text())
        count = len(shown.rows)
        self.desk.tell(f"Copied {count} row{'' if count == 1 else 's'} with their headings.")

    # -- what the window asks --------------------------------------------------------------------

    def step_finding(self, by: int) -> None:
        """Go to the next (or previous) fault of the recording that is shown."""
        self.part_named(self.part).step_fault(by)

    def panes(self) -> Sequence[Pane]:
        """Return the panes of the part that is shown."""
        return self.part_named(self.part).panes()

    # -- sizes, keyboard -------------------------------------------------------------------------

    def heightForWidth(self, width: int) -> int:
        """Ask for no more than is needed: a scrolling area gives what this answers."""
        return self.minimumSizeHint().height()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave out what can be missed where there is little room."""
        super().resizeEvent(event)
        self.caution.setVisible(self.height() >= LOW)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on to the part that is shown."""
        super().focusInEvent(event)
        self.part_named(self.part).setFocus(Qt.FocusReason.ShortcutFocusReason)

    def showEvent(self, event: QShowEvent) -> None:
        """Make the part when it is first shown, and have the lookup compiled meanwhile."""
        super().showEvent(event)
        self._bring_up(self.part_named(self.part))
        ready.start()
