"""The list: which one, a filter, its rows, and what is said when it is empty."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QItemSelectionModel, QObject, Qt, Signal
from PySide6.QtGui import QGuiApplication, QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QAbstractItemView,
    QButtonGroup,
    QHBoxLayout,
    QLineEdit,
    QSizePolicy,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.line_delegate import LineDelegate
from app.line_rows import Rows
from app.plain import PlainLabel, RichLabel
from app.row_view import RowView
from app.things import belongs

from .lines import Line, View

KEYS = {
    Qt.Key.Key_A: "accept",
    Qt.Key.Key_Q: "query",
    Qt.Key.Key_W: "waive",
    Qt.Key.Key_L: "level",
    Qt.Key.Key_R: "remark",
    Qt.Key.Key_C: "close",
    Qt.Key.Key_Delete: "remove",
}
"""Plain letters, for one hand in a glove; the filter has a key of its own (Ctrl+F or /)."""


MOST_KEPT = 500
"""So many chosen rows stay chosen when the list is another."""


class LinesView(RowView):
    """The rows.

    Signals
    -------
    entered
        Enter or a double click: go to the cell.
    ordered : str
        A key of `KEYS`.
    filter_wanted
    copied
        Ctrl+C.
    """

    copied = Signal()
    entered = Signal()
    ordered = Signal(str)
    filter_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.draw_by(LineDelegate(self))
        self.doubleClicked.connect(lambda _index: self.entered.emit())

    def event(self, event: QEvent) -> bool:
        """Claim the keys that mean the rows here, before a menu takes them for the cells."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            mine = event.matches(QKeySequence.StandardKey.SelectAll)
            mine |= event.matches(QKeySequence.StandardKey.Copy)
            if mine or (_is_plain(event) and event.key() in KEYS):
                event.accept()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Go to a cell, or act on what is chosen."""
        key, plain = event.key(), _is_plain(event)
        if event.matches(QKeySequence.StandardKey.Copy):
            self.copied.emit()
        elif plain and key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.entered.emit()
        elif plain and key in KEYS:
            self.ordered.emit(KEYS[Qt.Key(key)])
        elif plain and key in (Qt.Key.Key_Home, Qt.Key.Key_End):  # a table's would be columns
            last = self.model().rowCount() - 1
            self.selectRow(0 if key == Qt.Key.Key_Home else last)
        elif plain and key == Qt.Key.Key_Slash:
            self.filter_wanted.emit()
        else:
            super().keyPressEvent(event)

    def keyboardSearch(self, search: str) -> None:
        """Letters act here; they do not search."""


def _is_plain(event: QKeyEvent) -> bool:
    none, pad = Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.KeypadModifier
    return event.modifiers() in (none, pad)


class ListPanel(QWidget):
    """Which list, filter and rows.

    Signals
    -------
    view_chosen
        Another list is to be shown.
    chosen
        Other rows are chosen.
    """

    view_chosen = Signal()
    chosen = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows = Rows(self)
        self.view = LinesView()
        belongs(self.view, "open point")
        self.view.setModel(self.rows)
        self.view.setAccessibleName("What stands in the way of the sign-off")
        self.buttons: dict[View, QToolButton] = {}
        self._group = QButtonGroup(self)
        self._kept: list[str] = []
        self._kept_row = 0
        self._empty = ""
        self._waits = False
        """Whether the keyboard belongs to the rows as soon as there are some."""
        self._build()
        self.rows.modelAboutToBeReset.connect(self._keep)
        self.rows.modelReset.connect(self._restore)
        self.view.selectionModel().selectionChanged.connect(lambda *_: self.chosen.emit())
        self.view.filter_wanted.connect(self.focus_filter)
        self.view.copied.connect(self._copy)

    def _build(self) -> None:
        switches = QHBoxLayout()
        switches.setSpacing(4)
        for view in View:
            button = QToolButton()
            button.setCheckable(True)
            button.setText(str(view))
            button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
            button.setMinimumHeight(30)
            button.clicked.connect(lambda _checked=False: self.view_chosen.emit())
            self._group.addButton(button)
            self.buttons[view] = button
            switches.addWidget(button)
        switches.addStretch(1)
        self.buttons[View.IN_THE_WAY].setChecked(True)
        self.filter = QLineEdit()
        self.filter.setPlaceholderText("Find (Ctrl+F)")
        self.filter.setClearButtonEnabled(True)
        self.filter.setAccessibleName("Find in the list")
        self.filter.setToolTip(
            "Shows the lines that hold every word: a kind, a table, a word of the text. Down goes "
            "to the list, Esc clears."
        )
        self.filter.textChanged.connect(self.rows.set_filter)
        self.filter.installEventFilter(self)
        self.nothing = RichLabel()
        self.nothing.setWordWrap(True)
        self.nothing.setMargin(16)
        self.nothing.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self.nothing.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self.pages = QStackedWidget()
        self.pages.addWidget(self.view)
        self.pages.addWidget(self.nothing)
        self.keys = PlainLabel()
        self.keys.setWordWrap(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 4, 4, 4)
        column.setSpacing(4)
        column.addLayout(switches)
        column.addWidget(self.filter)
        column.addWidget(self.pages, 1)
        column.addWidget(self.keys)

    # -- what is shown ---------------------------------------------------------------------------

    @property
    def shown(self) -> View:
        """Which list is shown."""
        return next(view for view, button in self.buttons.items() if button.isChecked())

    def choose_view(self, view: View) -> None:
        """Show another list."""
        self.buttons[view].setChecked(True)
        self.view_chosen.emit()

    def show_counts(self, counts: dict[View, int]) -> None:
        """Say on each switch how many there are."""
        for view, button in self.buttons.items():
            number = counts.get(view)
            font = button.font()
            if font.bold() != button.isChecked():  # a pressed look alone is hard to see when dark
                font.setBold(button.isChecked())
                font.setUnderline(button.isChecked())
                button.setFont(font)
            button.setText(str(view) if number is None else f"{view} {number}")
            button.setAccessibleName(str(view) if number is None else f"{view}: {number}")

    def show_lines(self, lines: list[Line], empty: str) -> None:
        """Show lines, or why there are none."""
        self._empty = empty
        self.rows.show(lines)
        self._show_page()

    def _show_page(self) -> None:
        if self.rows.rowCount():
            self.pages.setCurrentWidget(self.view)
            has_keyboard = self.window().focusWidget() is self.filter
            if self._waits and has_keyboard and not self.filter.text():
                self.view.setFocus(Qt.FocusReason.OtherFocusReason)
            self._waits = False
            return
        had_focus = self.view.hasFocus()
        if self.rows.hidden:
            self.nothing.setText("No line holds these words. Esc in the find box clears them.")
        else:
            self.nothing.setText(self._empty)
        self.pages.setCurrentWidget(self.nothing)
        if had_focus:
            self.filter.setFocus()

    # -- what is chosen --------------------------------------------------------------------------

    @property
    def line(self) -> Line | None:
        """The line with the cursor."""
        line: Line | None = self.rows.line(self.view.currentIndex().row())
        return line

    @property
    def lines(self) -> list[Line]:
        """All chosen lines, in their order; the one with the cursor at least."""
        numbers = sorted({i.row() for i in self.view.selectionModel().selectedIndexes()})
        found = [line for n in numbers if (line := self.rows.line(n)) is not None]
        return found or ([self.line] if self.line is not None else [])

    def step(self, by: int) -> bool:
        """Choose the next line (or the one before); False at the end."""
        row = self.view.currentIndex().row() + by
        if not 0 <= row < self.rows.rowCount():
            return False
        self.view.selectRow(row)
        return True

    def _copy(self) -> None:
        """Put the chosen lines into the clipboard, one line of text each."""
        texts = [" | ".join(x.spoken.split("\n")) for x in self.lines]
        QGuiApplication.clipboard().setText("\n".join(texts))

    def choose_only_cursor(self) -> None:
        """Let go of all chosen rows but the one with the cursor, so that the next key means it."""
        self.view.selectRow(self.view.currentIndex().row())

    def _keep(self) -> None:
        lines = self.lines
        self._kept = [line.key for line in lines[:MOST_KEPT]]
        self._kept_row = max(self.view.currentIndex().row(), 0)

    def _restore(self) -> None:
        """Keep what was chosen; where that is gone, what took its place."""
        count = self.rows.rowCount()
        self._show_page()
        if not count:
            self.chosen.emit()
            return
        places = self.rows.places()
        numbers = sorted(places[key] for key in self._kept if key in places)
        if not numbers:
            numbers = [min(self._kept_row, count - 1)]
        model = self.view.selectionModel()
        first = self.rows.index(numbers[0])
        model.setCurrentIndex(first, QItemSelectionModel.SelectionFlag.ClearAndSelect)
        for number in numbers[1:]:
            model.select(self.rows.index(number), QItemSelectionModel.SelectionFlag.Select)
        self.view.scrollTo(first)
        self.chosen.emit()

    def set_brief(self, brief: bool) -> None:
        """Leave out what can be missed where height is short."""
        self.keys.setVisible(not brief)

    # -- keys ------------------------------------------------------------------------------------

    def focus_filter(self) -> None:
        """Give the find box the keyboard."""
        self.filter.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.filter.selectAll()

    def focus_list(self) -> None:
        """Give the rows the keyboard, or the find box where there are none."""
        self._waits = not self.rows.rowCount()
        target = self.filter if self._waits else self.view
        target.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Down and Enter go from the find box to the rows, Esc clears it."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            key = event.key()
            if key in (Qt.Key.Key_Down, Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self.focus_list()
                return True
            if key == Qt.Key.Key_Escape:
                self.filter.clear()
                self.focus_list()
                return True
        return super().eventFilter(watched, event)
