"""Chooses an earlier state of an open set from its history."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.needs import JobsLike
from calib_model.core.calibration_set import CalibrationSet
from calib_model.session.document import Document
from calib_model.session.history import Entry

from .sides import History, Side, saved_side, when_words

Take = Callable[[Side], None]


class EarlierDialog(QDialog):
    """The states of a set, newest first: as saved, and before each entry of its history.

    Parameters
    ----------
    document : Document
    jobs : JobsLike
        Walks back through the history, which may be long.
    take : callable
        Gets the side that was chosen.
    tell : callable
        Gets a refusal in words.
    """

    def __init__(
        self,
        document: Document,
        jobs: JobsLike,
        take: Take,
        tell: Callable[[str], None],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"An earlier state of {document.title}")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._document, self._jobs, self._take, self._tell = document, jobs, take, tell
        self._history = History.of(document)
        self.states = QListWidget()
        self.states.setAccessibleName("Earlier states, newest first")
        self.states.setWordWrap(True)
        self.states.itemActivated.connect(lambda _item: self.accept())
        words = QLabel(
            "Choose the state to compare with. The set itself is not changed; “History” brings an "
            "earlier state back."
        )
        words.setWordWrap(True)
        self.buttons = QDialogButtonBox(
            QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel
        )
        self.buttons.button(QDialogButtonBox.StandardButton.Ok).setText("Compare with it")
        self.buttons.accepted.connect(self.accept)
        self.buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.addWidget(words)
        column.addWidget(self.states, 1)
        column.addWidget(self.buttons)
        self.resize(560, 420)
        self._fill()
        self.states.setFocus()

    def _fill(self) -> None:
        if self._document.is_modified:
            item = QListWidgetItem("As opened or last saved")
            item.setData(Qt.ItemDataRole.UserRole, -1)
            self.states.addItem(item)
        entries = self._history.entries()
        for number in range(len(entries) - 1, -1, -1):
            item = QListWidgetItem(_words(entries[number]))
            item.setData(Qt.ItemDataRole.UserRole, number)
            self.states.addItem(item)
        self._entries = entries
        if self.states.count():
            self.states.setCurrentRow(0)
        else:
            self.states.addItem("This set has no history: nobody has edited it yet.")
            self.states.item(0).setFlags(Qt.ItemFlag.NoItemFlags)
        self.buttons.button(QDialogButtonBox.StandardButton.Ok).setEnabled(bool(self._chosen()))

    def _chosen(self) -> QListWidgetItem | None:
        item = self.states.currentItem()
        if item is None or item.data(Qt.ItemDataRole.UserRole) is None:
            return None
        return item

    def accept(self) -> None:
        """Find the state, in the background, and hand it over."""
        item = self._chosen()
        if item is None:
            return
        number = int(item.data(Qt.ItemDataRole.UserRole))
        if number < 0:
            self._take(saved_side(self._document))
        else:
            document, take, tell = self._document, self._take, self._tell
            when = when_words(self._entries[number])
            self._jobs.start(
                f"Looking for {document.title} {when}",
                _state_before,
                self._history,
                number,
                done=lambda content: take(Side(document, content, when)),
                failed=lambda problem: tell(str(problem)),
                cancellable=True,
            )
        super().accept()


def _state_before(control: Any, history: History, number: int) -> CalibrationSet:
    return history.before(number, control.progress)


def _words(entry: Entry) -> str:
    stamp = entry.time.replace("T", " ").removesuffix("Z")[:16]
    by = f" by {entry.author}" if entry.author else ""
    why = f": {entry.reason}" if entry.reason else ""
    unsaved = "" if entry.saved else " (not saved yet)"
    return f"Before “{entry.title}”{by}{', ' + stamp if stamp else ''}{why}{unsaved}"
