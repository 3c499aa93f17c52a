"""The history of a set: who changed what, when and why; bring an earlier state back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    Qt,
    QTimer,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialogButtonBox,
    QHeaderView,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QSplitter,
    QTableView,
    QWidget,
)

from app.desk import Desk
from app.plain import PlainLabel, plain_tip
from calib_model.errors import BitepointError
from calib_model.session.history import Entry, describe_change, entries_of, restore_change

from .help_pages import PageDialog

SLICE = 500
"""Entries that are made ready to be searched at a time: a few milliseconds."""
HEADERS = ("When", "Who", "What", "Why", "In the file")


class HistoryModel(QAbstractTableModel):
    """Entries, newest first."""

    def __init__(self, entries: list[Entry], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._entries = entries
        self._texts: list[str] = []  # to search in; made in the background, a few at a time
        self.rows: Sequence[int] = range(len(entries))[::-1]
        self._timer = QTimer(self)
        self._timer.timeout.connect(lambda: self._make_texts(SLICE))
        if entries:
            self._timer.start(0)

    def narrow(self, typed: str) -> None:
        """Show the entries that hold every typed word."""
        words = typed.lower().split()
        self.beginResetModel()
        self.rows = range(len(self._entries))[::-1]
        if words:
            self._make_texts(len(self._entries))
            self.rows = [i for i in self.rows if all(word in self._texts[i] for word in words)]
        self.endResetModel()

    def _make_texts(self, count: int) -> None:
        start = len(self._texts)
        self._texts += [
            f"{local_time(e.time)} {e.author} {e.title} {e.reason}".lower()
            for e in self._entries[start : start + count]
        ]
        if len(self._texts) == len(self._entries):
            self._timer.stop()

    def entry(self, row: int) -> Entry:
        """Return the entry in a row."""
        return self._entries[self.rows[row]]

    def rowCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(HEADERS)

    def headerData(
        self,
        section: int,
        orientation: Qt.Orientation,
        role: int = Qt.ItemDataRole.DisplayRole,
    ) -> Any:
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return HEADERS[section] if 0 <= section < len(HEADERS) else None
        return None

    def data(
        self, index: QModelIndex | QPersistentModelIndex, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        if not index.isValid() or role not in (
            Qt.ItemDataRole.DisplayRole,
            Qt.ItemDataRole.ToolTipRole,
        ):
            return None
        entry = self.entry(index.row())
        said = (
            local_time(entry.time),
            entry.author,
            entry.title,
            entry.reason,
            "yes" if entry.saved else "not saved yet",
        )[index.column()]
        return plain_tip(said) if role == Qt.ItemDataRole.ToolTipRole else said


class HistoryDialog(PageDialog):
    """The history of the current set."""

    def __init__(self, desk: Desk, parent: QWidget) -> None:
        self._desk = desk
        document = desk.current
        assert document is not None
        super().__init__(f"History of {document.title}", parent, 940, 620)
        self._document = document
        problem = ""
        try:
            self._entries = entries_of(document)
        except BitepointError as error:
            self._entries, problem = [], str(error)
        self.line = QLineEdit()
        self.line.setAccessibleName("Narrow the history")
        self.line.setPlaceholderText(
            "Type part of a title, name, reason or date to narrow the list"
        )
        self.line.setClearButtonEnabled(True)
        self.model = HistoryModel(self._entries, self)
        self.list = QTableView()
        self.list.setAccessibleName("Entries of the history, newest first")
        self.list.setModel(self.model)
        self.list.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setTabKeyNavigation(False)
        self.list.setWordWrap(False)
        self.list.verticalHeader().hide()
        header = self.list.horizontalHeader()
        header.setHighlightSections(False)
        header.setResizeContentsPrecision(100)  # rows that are measured
        for column in (0, 1, 4):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
        for column in (2, 3):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)
        self.details = QPlainTextEdit()
        self.details.setAccessibleName("What the chosen entry changed")
        self.details.setReadOnly(True)
        self.details.setTabChangesFocus(True)
        split = QSplitter(Qt.Orientation.Vertical)
        split.addWidget(self.list)
        split.addWidget(self.details)
        split.setStretchFactor(0, 3)
        split.setStretchFactor(1, 1)
        split.setChildrenCollapsible(False)
        self.count = PlainLabel(problem)
        self.count.setWordWrap(True)
        for widget in (self.line, split, self.count):
            self.put(widget)
        self.column.setStretchFactor(split, 1)
        self.restore = QPushButton("&Restore the set as it was here")
        self.restore.setToolTip(
            "Bring the set back to how it was after the chosen entry: one edit that can be undone."
        )
        self.restore.setAutoDefault(False)
        self.buttons.addButton(self.restore, QDialogButtonBox.ButtonRole.ActionRole)
        self.line.textChanged.connect(self._narrow)
        self.list.selectionModel().currentRowChanged.connect(lambda *_: self._show())
        self.model.modelReset.connect(self._first)
        self.restore.clicked.connect(lambda _checked=False: self._restore())
        if not problem:
            self._say_count()
        self._first()
        self.list.setFocus()

    def _narrow(self, typed: str) -> None:
        self.model.narrow(typed)
        self._say_count()

    def _say_count(self) -> None:
        count, shown = len(self._entries), len(self.model.rows)
        noun = "entry" if count == 1 else "entries"
        if not count:
            text = "Nothing was changed yet since this set was made."
        else:
            text = f"{count} {noun}" if shown == count else f"{shown} of {count} {noun}"
        self.count.setText(text)

    def _first(self) -> None:
        if self.model.rowCount():
            self.list.setCurrentIndex(self.model.index(0, 0))
        self._show()

    def _show(self) -> None:
        row = self.list.currentIndex().row()
        self.restore.setEnabled(row >= 0 and not self._document.read_only)
        if row < 0:
            self.details.setPlainText("")
            return
        entry = self.model.entry(row)
        try:
            lines = describe_change(entry.change(), self._document.content)
        except BitepointError as error:
            lines = [str(error)]
        if entry.reason:
            lines.insert(0, f"Why: {entry.reason}")
        self.details.setPlainText("\n".join((entry.title, *lines)))

    def _restore(self) -> None:
        row = self.list.currentIndex().row()
        if row < 0 or self._desk.current is not self._document:
            return
        number = self.model.rows[row]
        done = self._desk.do(lambda: restore_change(self._document, self._entries, number))
        if done:
            self.accept()
        else:
            self.count.setText(
                "The set is as it was here already, or cannot be restored: see the status line."
            )


def local_time(text: str) -> str:
    """Return a time of the history in the user's time zone; the text itself if it is none."""
    try:
        return datetime.fromisoformat(text).astimezone().strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return text
