"""The list of tables: found by typing, seen as small pictures, opened by one key."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QEvent, QModelIndex, QObject, QPoint, Qt, QTimer
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLineEdit,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.plain import PlainLabel, plain_tip
from app.row_view import RowView

from .table_list_delegate import RowDelegate
from .table_list_model import Counts, Index, TableRows

_BROWSE_MS = 120
"""How long the cursor rests on a table before it is opened, so that a held key does not open
every table it passes."""


class RowsView(RowView):
    """The rows; keys that are typed go to the filter."""

    def __init__(self, owner: TableList) -> None:
        super().__init__(owner)
        self._owner = owner
        self.setAccessibleName("Tables")
        self.draw_by(RowDelegate(self))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Open, fold, or type into the filter."""
        if not self._owner.press(event):
            super().keyPressEvent(event)

    def currentChanged(self, current: Index, previous: Index) -> None:
        """Open the table the cursor rests on."""
        super().currentChanged(current, previous)
        self._owner.browse(current)


class TableList(QWidget):
    """Filter, switches and rows of the current set's tables.

    Parameters
    ----------
    desk : Desk
    """

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._desk = desk
        self._listening = True
        self._wanted = ""
        self._browsing = QTimer(self)
        self._browsing.setSingleShot(True)
        self._browsing.setInterval(_BROWSE_MS)
        self._browsing.timeout.connect(self._open_wanted)
        self.rows = TableRows(desk, self)
        self._build()
        self.rows.modelReset.connect(self._after_reset)
        desk.table_changed.connect(self._show_current)
        self._after_reset()

    def _build(self) -> None:
        self.filter = QLineEdit()
        self.filter.setPlaceholderText("Find tables (Ctrl+F)")
        self.filter.setClearButtonEnabled(True)
        self.filter.setAccessibleName("Find tables")
        self.filter.setToolTip(
            "Shows the tables that hold every word in their id, name, function, unit or role. "
            "Down goes to the list, Enter opens the first table, Esc clears."
        )
        self.filter.textChanged.connect(self.rows.set_filter)
        self.filter.installEventFilter(self)
        self.with_findings = self._switch(
            "With findings", "Only with findings", "Shows only the tables that have findings."
        )
        self.with_findings.toggled.connect(self.rows.set_only_findings)
        self.with_changes = self._switch(
            "Changed", "Only changed", "Shows only the tables that differ from the saved set."
        )
        self.with_changes.toggled.connect(self.rows.set_only_changed)
        self.count = PlainLabel()
        self.view = RowsView(self)
        self.view.setModel(self.rows)
        self.view.clicked.connect(self._on_click)
        self.nothing = PlainLabel()
        self.nothing.setWordWrap(True)
        self.nothing.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.nothing.setMargin(16)
        self._pages = QStackedWidget()
        self._pages.addWidget(self.view)
        self._pages.addWidget(self.nothing)
        switches = QHBoxLayout()
        switches.setSpacing(6)
        switches.addWidget(self.with_findings)
        switches.addWidget(self.with_changes)
        switches.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 4, 4, 4)
        column.setSpacing(4)
        column.addWidget(self.filter)
        column.addLayout(switches)
        column.addWidget(self.count)
        column.addWidget(self._pages, 1)
        self.setFocusProxy(self.filter)

    def _switch(self, text: str, spoken: str, tip: str) -> QToolButton:
        button = QToolButton()
        button.setText(text)
        button.setAccessibleName(spoken)
        button.setCheckable(True)
        button.setToolTip(plain_tip(tip))
        button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        return button

    # -- what others ask -------------------------------------------------------------------------

    def set_findings(self, findings: Mapping[str, Counts]) -> None:
        """Show how many (errors, warnings, notes) each table has, by table id."""
        self.rows.set_findings(findings)

    def step(self, by: int) -> None:
        """Open the next (or, with -1, the previous) table as the list shows them."""
        table = self._desk.table
        row = self.rows.row_of(table.id) if table is not None else -1
        row = row + by if row >= 0 else self.rows.first_table_row()
        while 0 <= row < self.rows.rowCount() and self.rows.table_at(row) is None:
            row += by
        wanted = self.rows.table_at(row)
        if wanted is not None:
            self._desk.open_table(wanted.id)
        else:
            end = "last" if by > 0 else "first"
            self._desk.tell(f"This is the {end} table of the list.")

    def choose_at(self, point: QPoint) -> bool:
        """Open the table at a point of the list; False where there is none."""
        row = self.view.indexAt(point).row()
        table = self.rows.table_at(row) if row >= 0 else None
        if table is not None:
            self._desk.open_table(table.id)
        return table is not None

    def focus_filter(self) -> None:
        """Go to the filter, with its text selected."""
        self.filter.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.filter.selectAll()

    # -- keys ------------------------------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Keys of the filter that lead to the list."""
        if watched is self.filter and event.type() == QEvent.Type.KeyPress:
            assert isinstance(event, QKeyEvent)
            key = event.key()
            if key in (Qt.Key.Key_Down, Qt.Key.Key_PageDown):
                self._enter_list()
                return True
            if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self._open_first()
                return True
            if key == Qt.Key.Key_Escape:
                self.filter.clear()
                return True
        return super().eventFilter(watched, event)

    def press(self, event: QKeyEvent) -> bool:
        """Do what a key in the list asks for; False if it means nothing special."""
        key, row = event.key(), self.view.currentIndex().row()
        on_group = self.rows.group_at(row) is not None
        if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._toggle(row) if on_group else self._open_and_leave(row)
        elif key == Qt.Key.Key_Escape:
            self.filter.clear()
        elif key == Qt.Key.Key_Space and on_group:
            self._toggle(row)
        elif key == Qt.Key.Key_Left:
            if not on_group:
                self._go(self.rows.group_row_of(row))
            elif not self.rows.is_folded(row):
                self._toggle(row)
        elif key == Qt.Key.Key_Right:
            if on_group and self.rows.is_folded(row):
                self._toggle(row)
        elif (key == Qt.Key.Key_Up and row <= 0) or event.matches(QKeySequence.StandardKey.Find):
            self.focus_filter()
        elif self._is_text(event):
            self.filter.setFocus(Qt.FocusReason.OtherFocusReason)
            self.filter.setText(self.filter.text() + event.text())
        else:
            return False
        return True

    @staticmethod
    def _is_text(event: QKeyEvent) -> bool:
        held = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier
        text = event.text()
        return not event.modifiers() & held and text.isprintable() and bool(text.strip())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Ctrl+F goes to the filter from anywhere in here."""
        if event.matches(QKeySequence.StandardKey.Find):
            self.focus_filter()
        else:
            super().keyPressEvent(event)

    # -- going and opening -----------------------------------------------------------------------

    def _go(self, row: int) -> None:
        if row >= 0:
            self.view.setCurrentIndex(self.rows.index(row))

    def _enter_list(self) -> None:
        if self.rows.rowCount():
            # Before the focus comes: a view without a cursor puts it on its first row then.
            if not self.view.currentIndex().isValid():
                self._go(self.rows.first_table_row())
            self.view.setFocus(Qt.FocusReason.OtherFocusReason)

    def _open_first(self) -> None:
        current = self.view.currentIndex().row()
        row = current if self.rows.table_at(current) is not None else self.rows.first_table_row()
        self._open_and_leave(row)

    def _open_and_leave(self, row: int) -> None:
        table = self.rows.table_at(row)
        if table is not None:
            self._browsing.stop()
            self._desk.open_table(table.id)
            self._desk.focus_grid.emit()

    def browse(self, index: Index) -> None:
        """Open the table in a row once the cursor rests there."""
        if not self._listening:
            return
        table = self.rows.table_at(index.row()) if index.isValid() else None
        self._wanted = table.id if table is not None else ""
        self._browsing.start() if self._wanted else self._browsing.stop()

    def _open_wanted(self) -> None:
        self._desk.open_table(self._wanted)

    def _on_click(self, index: Index) -> None:
        table = self.rows.table_at(index.row())
        if table is None:
            self._toggle(index.row())
        else:
            self._browsing.stop()
            self._desk.open_table(table.id)

    def _toggle(self, row: int) -> None:
        name = self.rows.group_at(row)
        self.rows.toggle_group(row)
        if name is not None:
            # Folding moves rows; the cursor stays on the group it folded.
            rows = range(self.rows.rowCount())
            self._go(next((r for r in rows if self.rows.group_at(r) == name), -1))

    # -- keeping up ------------------------------------------------------------------------------

    def _show_current(self) -> None:
        """Move the cursor to the table in work, if it is shown."""
        table = self._desk.table
        row = self.rows.row_of(table.id) if table is not None else -1
        self._listening = False
        try:
            if row >= 0:
                self._go(row)
            elif self.rows.table_at(self.view.currentIndex().row()) is not None:
                self.view.setCurrentIndex(QModelIndex())
        finally:
            self._listening = True

    def _after_reset(self) -> None:
        self._show_current()
        shown, total = self.rows.matching, self.rows.total
        asked = shown != total
        noun = "table" if total == 1 else "tables"
        self.count.setText(f"{shown} of {total} {noun}" if asked else f"{total} {noun}")
        self.nothing.setText(self._why_empty())
        self._pages.setCurrentIndex(0 if self.rows.rowCount() else 1)

    def _why_empty(self) -> str:
        if self._desk.current is None:
            return "No set is open. Open one from the File menu, or drop a file here."
        if not self.rows.total:
            return "This set has no tables."
        asked = []
        if self.rows.words:
            asked.append(f"holds “{' '.join(self.rows.words)}”")
        if self.rows.only_findings:
            asked.append("has findings")
        if self.rows.only_changed:
            asked.append("was changed since the set was saved")
        return f"No table {' and '.join(asked)}. Esc in the find box clears what is typed there."
