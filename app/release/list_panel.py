"""The list: which one, a filter, its rows, and what is said when it is empty."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QItemSelectionModel, QModelIndex, QObject, Qt, Signal
from PySide6.QtGui import QGuiApplication, QKeyEvent, QKeySequence, QMouseEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QButtonGroup,
    QHBoxLayout,
    QLineEdit,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.line_rows import Heading, Rows
from app.look.empty import EmptyPage, Way
from app.look.parts import TextLabel
from app.look.tokens import NEAR, TIGHT
from app.row_view import RowView
from app.things import belongs

from .lines import Line, View
from .row_delegate import FOLDER, RowDelegate

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
    folded : Heading, bool
        A group is to be folded, or opened.
    """

    copied = Signal()
    folded = Signal(object, bool)
    entered = Signal()
    ordered = Signal(str)
    filter_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.draw_by(RowDelegate(self))
        self.doubleClicked.connect(lambda index: self._enter(index.row()))

    def _enter(self, row: int) -> None:
        """Go to a line's cell; fold or open a group."""
        head = self._heading(row)
        if head is None:
            self.entered.emit()
        else:
            self.folded.emit(head, not head.folded)

    def _heading(self, row: int) -> Heading | None:
        rows = self.model()
        return rows.heading(row) if isinstance(rows, Rows) else None

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Fold a group by its chevron."""
        place = event.position().toPoint()
        head = self._heading(self.rowAt(place.y()))
        if head is not None and place.x() < FOLDER and event.button() == Qt.MouseButton.LeftButton:
            self.folded.emit(head, not head.folded)
            return
        super().mousePressEvent(event)

    def event(self, event: QEvent) -> bool:
        """Claim the keys that mean the rows here, before a menu takes them for the cells."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            mine = event.matches(QKeySequence.StandardKey.SelectAll)
            mine |= event.matches(QKeySequence.StandardKey.Copy)
            if mine or _is_all(event) or (_is_plain(event) and event.key() in KEYS):
                event.accept()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Go to a cell, or act on what is chosen."""
        key, plain = event.key(), _is_plain(event)
        if event.matches(QKeySequence.StandardKey.Copy):
            self.copied.emit()
        elif _is_all(event):
            self.ordered.emit("accept_all")
        elif plain and key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._enter(self.currentIndex().row())
        elif plain and key in (Qt.Key.Key_Left, Qt.Key.Key_Right, Qt.Key.Key_Space):
            self._fold(key)
        elif plain and key in KEYS:
            self.ordered.emit(KEYS[Qt.Key(key)])
        elif plain and key in (Qt.Key.Key_Home, Qt.Key.Key_End):  # a table's would be columns
            self._to_end(1 if key == Qt.Key.Key_Home else -1)
        elif plain and key == Qt.Key.Key_Slash:
            self.filter_wanted.emit()
        else:
            super().keyPressEvent(event)

    def _to_end(self, by: int) -> None:
        """Choose the first line (by 1) or the last (by -1); headings are passed over."""
        count = self.model().rowCount()
        rows = range(count) if by > 0 else range(count - 1, -1, -1)
        self.selectRow(next((n for n in rows if self._heading(n) is None), 0))

    def _fold(self, key: int) -> None:
        """Left folds a group or goes to its heading, Right opens it, Space does either."""
        row = self.currentIndex().row()
        head = self._heading(row)
        if head is not None:
            on = key == Qt.Key.Key_Left or (key == Qt.Key.Key_Space and not head.folded)
            self.folded.emit(head, on)
        elif key == Qt.Key.Key_Left:
            above = (n for n in range(row, -1, -1) if self._heading(n) is not None)
            self.selectRow(next(above, row))

    def keyboardSearch(self, search: str) -> None:
        """Letters act here; they do not search."""


def _is_all(event: QKeyEvent) -> bool:
    """Whether it is Shift+A: accept all that await a decision."""
    shift = event.modifiers() == Qt.KeyboardModifier.ShiftModifier
    return shift and event.key() == Qt.Key.Key_A


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
        self.view.setAccessibleName("What is to do before the sign-off")
        self.buttons: dict[View, QToolButton] = {}
        self._group = QButtonGroup(self)
        self._kept: list[str] = []
        self._kept_row = 0
        self._kept_heading = ""
        self._empty: tuple[str, str, tuple[Way, ...]] = ("", "", ())
        self._waits = False
        """Whether the keyboard belongs to the rows as soon as there are some."""
        self._build()
        self.rows.modelAboutToBeReset.connect(self._keep)
        self.rows.modelReset.connect(self._restore)
        self.view.selectionModel().selectionChanged.connect(lambda *_: self.chosen.emit())
        self.view.selectionModel().currentChanged.connect(self._on_current)
        self.view.folded.connect(lambda head, on: self.rows.fold(head.group, on))
        self.view.filter_wanted.connect(self.focus_filter)
        self.view.copied.connect(self._copy)

    def _build(self) -> None:
        switches = QHBoxLayout()
        switches.setSpacing(TIGHT)
        for view in View:
            button = QToolButton()
            button.setCheckable(True)
            button.setText(str(view))
            button.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
            button.clicked.connect(lambda _checked=False: self.view_chosen.emit())
            self._group.addButton(button)
            self.buttons[view] = button
            switches.addWidget(button)
        switches.addStretch(1)
        self.buttons[View.TO_DO].setChecked(True)
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
        self.nothing = EmptyPage()
        self.pages = QStackedWidget()
        self.pages.addWidget(self.view)
        self.pages.addWidget(self.nothing)
        self.keys = TextLabel("", "small", second=True)
        self.keys.setWordWrap(True)
        column = QVBoxLayout(self)
        column.setContentsMargins(NEAR, TIGHT, TIGHT, TIGHT)
        column.setSpacing(NEAR)
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
            button.setText(str(view) if number is None else f"{view} {number}")
            button.setAccessibleName(str(view) if number is None else f"{view}: {number}")

    def show_lines(
        self, lines: list[Line], title: str, words: str, ways: tuple[Way, ...] = ()
    ) -> None:
        """Show lines, or why there are none and what can be done."""
        self._empty = (title, words, ways)
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
            self.nothing.show_ways("No line holds these words", "Esc in the find box clears them.")
        else:
            self.nothing.show_ways(*self._empty)
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
        """All chosen lines, in their order; the one with the cursor, or all under its heading."""
        numbers = sorted({i.row() for i in self.view.selectionModel().selectedIndexes()})
        found = [line for n in numbers if (line := self.rows.line(n)) is not None]
        if found:
            return found
        head = self.heading
        if head is not None:
            return self.rows.of_group(head.group)
        return [self.line] if self.line is not None else []

    @property
    def heading(self) -> Heading | None:
        """The heading with the cursor."""
        return self.rows.heading(self.view.currentIndex().row())

    def choose(self, line: Line) -> None:
        """Choose a line."""
        row = self.rows.places().get(line.key)
        if row is not None:
            self.view.selectRow(row)

    def _on_current(self, now: QModelIndex, before: QModelIndex) -> None:
        """Between headings no selection changes, so the cursor has to tell."""
        if self.rows.heading(now.row()) is not None:
            self.chosen.emit()

    def step(self, by: int) -> bool:
        """Choose the next line (or the one before); False at the end."""
        row = self.view.currentIndex().row() + by
        while self.rows.heading(row) is not None:
            row += by
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
        head = self.heading
        self._kept_heading = head.key if head is not None else ""
        lines = [] if head is not None else self.lines
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
        model = self.view.selectionModel()
        if not numbers and self._kept_heading in places:
            head = self.rows.index(places[self._kept_heading])
            model.setCurrentIndex(head, QItemSelectionModel.SelectionFlag.Clear)
            self.view.scrollTo(head)
            return
        if not numbers:
            row = min(self._kept_row, count - 1)
            is_heading = self.rows.heading(row) is not None
            numbers = [min(row + 1, count - 1) if is_heading else row]
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
