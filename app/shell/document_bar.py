"""The bar above the work area: which sets are open, which one is edited, which one is the base."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QSizePolicy, QToolButton, QWidget

from app.desk import Desk
from app.look.chip import EDGE, chip_icon
from app.look.parts import ShortLabel, TextLabel, quiet
from app.look.tokens import NEAR, TIGHT
from app.plain import plain_tip
from app.quiet import QuietCombo
from calib_model.session.document import Document

from .actions import ActionBook
from .tool_bar import ToolBar

NARROW = 900
"""Width in pixels below which the row holds what matters most only."""


class DocumentBar(QWidget):
    """Current set, reference set, and what the current set is.

    Signals
    -------
    left
        A set was chosen, or Esc pressed: the keyboard goes back to the work.
    """

    left = Signal()

    def __init__(self, desk: Desk) -> None:
        super().__init__()
        self._desk = desk
        self.setAccessibleName("Open sets")
        self.tools = ToolBar()
        self.swap = quiet(QToolButton())
        self.swap.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.current = QuietCombo()
        self.current.setAccessibleName("Set being edited")
        self.current.setToolTip("The set that you see and edit. Other open sets stay as they are.")
        self.reference = QuietCombo()
        self.reference.setAccessibleName("Reference set")
        self.reference.setToolTip(
            "The set that mode relations are checked against and that plots can overlay."
        )
        for box in (self.current, self.reference):
            box.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
            box.setMinimumContentsLength(12)
            box.setIconSize(QSize(EDGE, EDGE))
            box.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.about = ShortLabel(second=True)
        self.about.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row = QHBoxLayout(self)
        row.setContentsMargins(NEAR, TIGHT, NEAR, TIGHT)
        row.setSpacing(NEAR)
        row.addWidget(self.tools)
        for text, box in (("Set", self.current), ("Reference", self.reference)):
            label = TextLabel(text, second=True)
            label.setBuddy(box)
            row.addWidget(label)
            row.addWidget(box, 2)
            if box is self.current:
                row.addWidget(self.swap)
        row.addWidget(self.about, 2)
        self.current.activated.connect(self._choose_current)
        self.reference.activated.connect(self._choose_reference)
        for signal in (desk.documents_changed, desk.current_changed, desk.reference_changed):
            signal.connect(self.refresh)
        desk.edited.connect(lambda _event: self.refresh())
        self._shown: tuple[object, ...] = ()
        self.refresh()

    def put_tools(self, book: ActionBook) -> None:
        """Show the acts used most, as far as their parts are there."""
        self.tools.show_tools(book)
        if self.swap.defaultAction() is None:
            self.swap.setDefaultAction(book.actions["sets.swap"])
            self.swap.setAccessibleName("Swap set and reference")
            self.swap.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave tools out where there is no room for all."""
        super().resizeEvent(event)
        self.tools.set_few(self.width() < NARROW)
        self.about.setVisible(self.width() >= NARROW)

    def refresh(self) -> None:
        """Show what the desk holds."""
        desk = self._desk
        names = [document_label(d, desk.documents) for d in desk.documents]
        numbers = [desk.number(d) for d in desk.documents]
        state = (
            tuple(names),
            desk.documents.index(desk.current) if desk.current in desk.documents else -1,
            desk.documents.index(desk.reference) if desk.reference in desk.documents else -1,
            tuple(numbers),
        )
        if desk.current is not None:
            self.about.setText(about_text(desk.current))
        else:
            self.about.setText("")
        self.about.setToolTip(plain_tip(self.about.text()))
        if state == self._shown:
            return
        self._shown = state
        self.current.clear()
        for name, number in zip(names, numbers, strict=True):
            self.current.addItem(chip_icon(number), name)
        if not names:
            self.current.addItem("No set open")
        self.current.setCurrentIndex(max(state[1], 0))
        self.current.setEnabled(bool(names))
        self.reference.clear()
        self.reference.addItem("None")
        for name, number in zip(names, numbers, strict=True):
            self.reference.addItem(chip_icon(number), name)
        self.reference.setCurrentIndex(state[2] + 1)
        self.reference.setEnabled(len(names) > 1)

    def _choose_current(self, number: int) -> None:
        if number < len(self._desk.documents):
            self._desk.set_current(self._desk.documents[number])
        self.left.emit()

    def _choose_reference(self, number: int) -> None:
        chosen = self._desk.documents[number - 1] if number > 0 else None
        self._desk.set_reference(chosen)
        self.left.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc in a list of sets goes back to the work."""
        if event.key() == Qt.Key.Key_Escape:
            self.left.emit()
        else:
            super().keyPressEvent(event)


def document_label(document: Document, among: list[Document]) -> str:
    """Return a document's name to choose it by: its folder too where two names are equal."""
    name = document.title
    if document.path and sum(d.title == name for d in among) > 1:
        name = f"{name} ({document.path.parent.name})"
    if document.is_modified:
        name += " *"
    return f"{name} (read-only)" if document.read_only else name


def about_text(document: Document) -> str:
    """Return programme, mode and revision of a set in one line."""
    content = document.content
    parts = [content.programme, f"{content.mode} mode" if content.mode else ""]
    if content.is_base and content.mode:
        parts[-1] += " (base)"
    parts.append(f"revision {content.revision}" if content.revision else "")
    parts.append(f"{len(content)} table{'' if len(content) == 1 else 's'}")
    return ", ".join(filter(None, parts))
