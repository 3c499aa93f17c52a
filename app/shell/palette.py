"""The palette: type a few letters to reach any action or any table of any open set."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import (
    QAbstractListModel,
    QEvent,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    QRect,
    QSize,
    Qt,
)
from PySide6.QtGui import QKeyEvent, QPainter, QPalette
from PySide6.QtWidgets import (
    QDialog,
    QLineEdit,
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QVBoxLayout,
    QWidget,
)

from app.look.rows import row_ground
from app.plain import PlainLabel

from .finder import SHOWN, Entry, Finder, Group


class EntryModel(QAbstractListModel):
    """The entries on offer."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.entries: list[Entry] = []

    def offer(self, entries: list[Entry]) -> None:
        """Show other entries."""
        self.beginResetModel()
        self.entries = entries
        self.endResetModel()

    def rowCount(self, parent: QModelIndex | QPersistentModelIndex = QModelIndex()) -> int:  # noqa: B008
        return 0 if parent.isValid() else len(self.entries)

    def data(
        self, index: QModelIndex | QPersistentModelIndex, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        if not index.isValid() or index.row() >= len(self.entries):
            return None
        entry = self.entries[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return entry.text
        if role == Qt.ItemDataRole.UserRole:
            return entry.detail
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return f"{entry.text}, {entry.detail}"
        return None

    def flags(self, index: QModelIndex | QPersistentModelIndex) -> Qt.ItemFlag:
        if not index.isValid():
            return Qt.ItemFlag.NoItemFlags
        flags = Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemNeverHasChildren
        if self.entries[index.row()].enabled:
            flags |= Qt.ItemFlag.ItemIsEnabled
        return flags


class EntryDelegate(QStyledItemDelegate):
    """Draws the name at the left and what it is at the right."""

    def sizeHint(
        self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> QSize:
        return QSize(200, int(option.fontMetrics.height() * 1.7))

    def paint(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        index: QModelIndex | QPersistentModelIndex,
    ) -> None:
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        enabled = bool(option.state & QStyle.StateFlag.State_Enabled)
        group = QPalette.ColorGroup.Active if enabled else QPalette.ColorGroup.Disabled
        role = QPalette.ColorRole
        painter.save()
        row_ground(painter, option)
        painter.setPen(
            option.palette.color(
                QPalette.ColorGroup.Active if chosen else group,
                role.HighlightedText if chosen else role.Text,
            )
        )
        inner: QRect = option.rect.adjusted(8, 0, -8, 0)
        metrics = option.fontMetrics
        detail = metrics.elidedText(
            index.data(Qt.ItemDataRole.UserRole), Qt.TextElideMode.ElideMiddle, inner.width() // 2
        )
        right = metrics.horizontalAdvance(detail)
        line = Qt.AlignmentFlag.AlignVCenter
        painter.drawText(inner, line | Qt.AlignmentFlag.AlignRight, detail)
        text = metrics.elidedText(
            index.data(), Qt.TextElideMode.ElideRight, inner.width() - right - 16
        )
        painter.drawText(inner, line | Qt.AlignmentFlag.AlignLeft, text)
        painter.restore()


class PaletteDialog(QDialog):
    """A line to type in, and what it finds.

    Parameters
    ----------
    groups : sequence of Group
    parent : QWidget, optional
    recent : sequence of str
        Ids of what was used last, newest first.
    used : callable
        Told the id of what is run.
    """

    def __init__(
        self,
        groups: Sequence[Group],
        parent: QWidget | None = None,
        recent: Sequence[str] = (),
        used: Callable[[str], None] = lambda id: None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Go to an action or a table")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self._used = used
        self.finder = Finder(groups, recent)
        self.line = QLineEdit()
        self.line.setAccessibleName("Search actions and tables")
        self.line.setPlaceholderText("Type part of an action, a table's name or its id")
        self.line.installEventFilter(self)
        self.model = EntryModel(self)
        self.list = QListView()
        self.list.setAccessibleName("Actions and tables found")
        self.list.setUniformItemSizes(True)
        self.list.setModel(self.model)
        self.list.setItemDelegate(EntryDelegate(self.list))
        self.list.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.list.clicked.connect(lambda index: self._run(index.row()))
        self.count = PlainLabel()
        column = QVBoxLayout(self)
        column.setContentsMargins(8, 8, 8, 8)
        for widget in (self.line, self.list, self.count):
            column.addWidget(widget)
        self.line.textChanged.connect(self._narrow)
        self._narrow("")
        if parent is not None:
            self.resize(min(720, parent.width() - 40), min(520, parent.height() - 80))

    def _narrow(self, typed: str) -> None:
        found = self.finder.find(typed)
        self.model.offer(found)
        more = f"{self.finder.count} found"
        if self.finder.count > SHOWN:
            more += f", the first {SHOWN} are shown; type more to narrow them"
        self.count.setText(more if found else "Nothing found. Try fewer letters.")
        first = next((i for i, e in enumerate(self.model.entries) if e.enabled), -1)
        if first >= 0:
            self.list.setCurrentIndex(self.model.index(first))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if (
            watched is self.line
            and isinstance(event, QKeyEvent)
            and (event.type() == QEvent.Type.KeyPress)
        ):
            key = event.key()
            if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self._run(self.list.currentIndex().row())
                return True
            steps: dict[int, int] = {
                Qt.Key.Key_Down: 1,
                Qt.Key.Key_Up: -1,
                Qt.Key.Key_PageDown: 10,
                Qt.Key.Key_PageUp: -10,
            }
            if key in steps:
                self._move(steps[key])
                return True
        return super().eventFilter(watched, event)

    def _move(self, step: int) -> None:
        entries = self.model.entries
        if not entries:
            return
        row = min(max(self.list.currentIndex().row() + step, 0), len(entries) - 1)
        sign = 1 if step > 0 else -1
        while 0 <= row < len(entries) and not entries[row].enabled:
            row += sign
        if 0 <= row < len(entries):
            self.list.setCurrentIndex(self.model.index(row))

    def _run(self, row: int) -> None:
        if 0 <= row < len(self.model.entries) and self.model.entries[row].enabled:
            entry = self.model.entries[row]
            self.accept()
            self._used(entry.id)
            entry.run()
