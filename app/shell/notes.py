"""A quiet line above the work area that asks for one short text; Escape leaves all as it was."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QApplication, QHBoxLayout, QLineEdit, QPushButton, QWidget

from app.plain import PlainLabel


class NoteLine(QWidget):
    """Hidden until it is asked to `ask`."""

    def __init__(self) -> None:
        super().__init__()
        self.setAutoFillBackground(True)
        self.label = PlainLabel()
        self.line = QLineEdit()
        self.line.setMaxLength(1000)
        self.label.setBuddy(self.line)
        self.keep = QPushButton("Note it")
        self.keep.setAccessibleName("Note it")
        self.leave = QPushButton("Leave it")
        self.leave.setAccessibleName("Leave it as it was")
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 4, 8, 4)
        row.addWidget(self.label)
        row.addWidget(self.line, 1)
        row.addWidget(self.keep)
        row.addWidget(self.leave)
        self._take: Callable[[str], None] | None = None
        self._before: QWidget | None = None
        self.line.installEventFilter(self)
        self.line.returnPressed.connect(self._accept)
        self.keep.clicked.connect(lambda _checked=False: self._accept())
        self.leave.clicked.connect(lambda _checked=False: self.dismiss())
        self.hide()

    def ask(self, question: str, text: str, take: Callable[[str], None]) -> None:
        """Show the line with a text to start from; `take` gets what the user enters."""
        if not self.isVisible():
            self._before = QApplication.focusWidget()
        self._take = take
        shown = question if len(question) < 90 else f"{question[:88]}…”"
        self.label.setText(shown)
        self.line.setAccessibleName(question)
        self.line.setText(text)
        self.line.selectAll()
        self.show()
        self.line.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _accept(self) -> None:
        take, text = self._take, self.line.text()
        self.dismiss()
        if take is not None:
            take(text)

    def dismiss(self) -> None:
        """Hide the line and give the keyboard back."""
        self._take = None
        self.hide()
        if self._before is not None and self._before.isVisible():
            self._before.setFocus()
        self._before = None

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.KeyPress
            and event.key() == Qt.Key.Key_Escape
        ):
            self.dismiss()
            return True
        return super().eventFilter(watched, event)
