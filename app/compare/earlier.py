"""Chooses an earlier state of an open set from its history."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QAbstractListModel, QModelIndex, QPersistentModelIndex, Qt
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QListView,
    QVBoxLayout,
    QWidget,
)

from app.plain import PlainLabel
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.session.document import Document
from calib_model.session.history import Entry

from .sides import History, Side, saved_side, when_words

AS_SAVED = -1
_NOWHERE = QModelIndex()
Take = Callable[[Side], None]


class _States(QAbstractListModel):
    """What can be chosen, said in words when it is seen: a history may be long."""

    def __init__(self, entries: list[Entry], *, modified: bool) -> None:
        super().__init__()
        self._entries = entries
        self._numbers = [*([AS_SAVED] if modified else []), *range(len(entries))[::-1]]

    def rowCount(self, parent: QModelIndex | QPersistentModelIndex = _NOWHERE) -> int:
        return 0 if parent.isValid() else max(len(self._numbers), 1)

    def data(
        self,
        index: QModelIndex | QPersistentModelIndex,
        role: int = Qt.ItemDataRole.DisplayRole,
    ) -> str | None:
        if not index.isValid() or role != Qt.ItemDataRole.DisplayRole:
            return None
        number = self.number(index.row())
        if number is None:
            return "This set has no history: nobody has edited it yet."
        return "As opened or last saved" if number == AS_SAVED else _words(self._entries[number])

    def flags(self, index: QModelIndex | QPersistentModelIndex) -> Qt.ItemFlag:
        return super().flags(index) if self._numbers else Qt.ItemFlag.NoItemFlags

    def number(self, row: int) -> int | None:
        """Return the number of the entry in a row; None where there is no state."""
        return self._numbers[row] if 0 <= row < len(self._numbers) else None


class EarlierDialog(QDialog):
    """The states of a set, newest first: as saved, and before each entry of its history.

    Parameters
    ----------
    document : Document
    jobs : Jobs
        Walks back through the history, which may be long.
    take : callable
        Gets the side that was chosen.
    tell : callable
        Gets a refusal in words.
    """

    def __init__(
        self,
        document: Document,
        jobs: Jobs,
        take: Take,
        tell: Callable[[str], None],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"An earlier state of {document.title}")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._document, self._jobs, self._take, self._tell = document, jobs, take, tell
        self._history = History.of(document)
        self._entries = self._history.entries()
        self.states = QListView()
        self._model = _States(self._entries, modified=document.is_modified)
        self.states.setModel(self._model)
        self.states.setUniformItemSizes(True)  # else each of a long history is measured
        self.states.setAccessibleName("Earlier states, newest first")
        self.states.activated.connect(lambda _index: self.accept())
        words = PlainLabel(
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
        self.states.setCurrentIndex(self._model.index(0))
        ok = self.buttons.button(QDialogButtonBox.StandardButton.Ok)
        ok.setEnabled(self._chosen() is not None)
        self.states.setFocus()

    def _chosen(self) -> int | None:
        return self._model.number(self.states.currentIndex().row())

    def accept(self) -> None:
        """Find the state, in the background, and hand it over."""
        number = self._chosen()
        if number is None:
            return
        if number == AS_SAVED:
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
