"""The summary: which tables differ, narrowed as one types, sorted by how much."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence, QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QComboBox,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QSizePolicy,
    QStackedWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo, QuietSpin
from app.row_view import RowView
from app.things import belongs
from calib_model.compare import State, Threshold

from .row_delegate import ComparedRowDelegate
from .rows import DIFFERING, EVERYTHING, ComparedRows, Index, Order, Prepared
from .words import STATES, counted

_BROWSE_MS = 120
"""How long the cursor rests on a table before it is shown."""
WIDE = 560
_ANY_FUNCTION = "any function"


class SummaryView(RowView):
    """The rows; keys that are typed go to the filter."""

    def __init__(self, owner: Summary) -> None:
        super().__init__(owner)
        self._owner = owner
        self.setAccessibleName("Compared tables")
        self.draw_by(ComparedRowDelegate(self))

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Show a table, or type into the filter."""
        if not self._owner.press(event):
            super().keyPressEvent(event)

    def currentChanged(self, current: Index, previous: Index) -> None:
        """Show the table the cursor rests on."""
        super().currentChanged(current, previous)
        self._owner.browse(current)


class Summary(QWidget):
    """Filter, choices and rows.

    Signals
    -------
    chosen : str
        A table is to be shown.
    entered
        The keyboard is to go to the cells of the table shown.
    threshold_changed
    """

    chosen = Signal(str)
    entered = Signal()
    threshold_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.rows = ComparedRows(self)
        self._listening = True
        self._wanted = self._shown = ""
        self._browsing = QTimer(self)
        self._browsing.setSingleShot(True)
        self._browsing.setInterval(_BROWSE_MS)
        self._browsing.timeout.connect(self._show_wanted)
        self._build()
        self.rows.modelReset.connect(self._after_reset)
        self._after_reset()

    # -- building --------------------------------------------------------------------------------

    def _build(self) -> None:
        self.filter = QLineEdit()
        self.filter.setPlaceholderText("Find tables (Ctrl+F)")
        self.filter.setClearButtonEnabled(True)
        self.filter.setAccessibleName("Find compared tables")
        self.filter.setToolTip(
            "Shows the tables that hold every word in their id, name, function, unit or role. "
            "Down goes to the list, Enter to the first table's cells, Esc clears."
        )
        self.filter.textChanged.connect(lambda t: self._ask(words=tuple(t.casefold().split())))
        self.filter.installEventFilter(self)
        self.state = self._choice(
            "Show", "Which tables are listed, by how they stand in the two sets."
        )
        self.state.addItem(DIFFERING, DIFFERING)
        self.state.addItem(EVERYTHING, EVERYTHING)
        for state in State:
            if state is not State.BELOW:
                self.state.addItem(STATES[state], str(state))
        self.state.currentIndexChanged.connect(
            lambda _: self._ask(state=self.state.currentData() or DIFFERING)
        )
        self.function = self._choice("Function", "Lists the tables of one function group.")
        self.function.addItem(_ANY_FUNCTION, None)
        self.function.currentIndexChanged.connect(
            lambda _: self._ask(function=self.function.currentData())
        )
        self.order = self._choice("Sort by", "Puts the largest differences first, measured so.")
        for order in (Order.PERCENT, Order.STEPS, Order.ABSOLUTE, Order.NAME, Order.OF_SET):
            self.order.addItem(str(order), order)
        self.order.currentIndexChanged.connect(
            lambda _: self._ask(order=Order(self.order.currentData()))
        )
        self.breaches = QToolButton()
        self.breaches.setText("In breach")
        self.breaches.setCheckable(True)
        self.breaches.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.breaches.setAccessibleName("Only tables in breach of the mode relation")
        self.breaches.setToolTip("Lists only the tables that breach the mode relation.")
        self.breaches.toggled.connect(lambda on: self._ask(breaches=on))
        self.amount = QuietSpin()
        self.amount.setRange(0, 100_000)
        self.amount.setDecimals(2)
        self.amount.setMaximumWidth(70)
        self.amount.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.amount.setAccessibleName("Threshold: differences up to this do not count")
        self.amount.setToolTip(
            "Differences up to this size do not count. Tables in float storage have no storage "
            "steps, so a threshold in steps leaves them out."
        )
        self.amount.valueChanged.connect(lambda _: self._on_threshold())
        self.measure = self._choice("Threshold in", "What the threshold is counted in.")
        self.measure.addItem("steps", False)
        self.measure.addItem("% of range", True)
        self.measure.currentIndexChanged.connect(lambda _: self._on_threshold())
        self.count = PlainLabel()
        self.count.setWordWrap(True)
        self.view = SummaryView(self)
        belongs(self.view, "compared table")
        self.view.setModel(self.rows)
        self.view.clicked.connect(self._on_click)
        self.nothing = PlainLabel()
        self.nothing.setWordWrap(True)
        self.nothing.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.nothing.setMargin(16)
        self._pages = QStackedWidget()
        self._pages.addWidget(self.view)
        self._pages.addWidget(self.nothing)
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 4, 4, 4)
        column.setSpacing(4)
        column.addWidget(self.filter)
        self._choices = QBoxLayout(QBoxLayout.Direction.TopToBottom)
        self._choices.setSpacing(4)
        self._choices.addLayout(_row(self.state, self.function))
        self._choices.addLayout(_row(_label("Sort", self.order), self.order, self.breaches))
        self._choices.addLayout(_row(_label("Above", self.amount), self.amount, self.measure))
        column.addLayout(self._choices)
        column.addWidget(self.count)
        column.addWidget(self._pages, 1)
        self.setFocusProxy(self.view)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Put the choices in one row where the list is wide: it is low then."""
        super().resizeEvent(event)
        wide = self.width() >= WIDE
        ways = QBoxLayout.Direction
        self._choices.setDirection(ways.LeftToRight if wide else ways.TopToBottom)

    def _choice(self, name: str, tip: str) -> QuietCombo:
        box = QuietCombo()
        box.setAccessibleName(name)
        box.setToolTip(plain_tip(tip))
        box.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        box.setMinimumContentsLength(5)
        box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        box.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        return box

    # -- what others ask -------------------------------------------------------------------------

    def show_prepared(self, prepared: Prepared | None) -> None:
        """Show another comparison, or none."""
        self.rows.show_prepared(prepared)
        names = self.rows.functions()
        known = [self.function.itemData(n) for n in range(1, self.function.count())]
        if names != known:
            chosen = self.function.currentData()
            self.function.blockSignals(True)
            self.function.clear()
            self.function.addItem(_ANY_FUNCTION, None)
            for name in names:
                self.function.addItem(name or "no function named", name)
            self.function.setCurrentIndex(max(0, self.function.findData(chosen)))
            self.function.blockSignals(False)
            self._ask(function=self.function.currentData())

    def say_empty(self, text: str) -> None:
        """Say why nothing is listed: no sets, or still comparing; empty goes back to the rows."""
        self._why = text
        self._after_reset()

    _why = ""

    @property
    def threshold(self) -> Threshold:
        """The threshold that is set."""
        return Threshold(round(self.amount.value(), 6), bool(self.measure.currentData()))

    @property
    def shown(self) -> str:
        """Id of the table that is shown; empty for none."""
        return self._shown

    def show_table(self, table_id: str) -> None:
        """Show a table, and move the cursor to it if it is listed."""
        self._browsing.stop()
        self._shown = table_id
        self._follow()
        self.chosen.emit(table_id)

    def step(self, by: int) -> bool:
        """Show the next listed table (or, with -1, the one before); False at the end."""
        row = self.rows.row_of(self._shown)
        row = row + by if row >= 0 else 0
        pair = self.rows.pair_at(row)
        if pair is None:
            return False
        self.show_table(pair.id)
        return True

    def focus_filter(self) -> None:
        """Go to the filter, with its text selected."""
        self.filter.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.filter.selectAll()

    def clear(self) -> None:
        """List all that differ again."""
        self.filter.clear()
        self.breaches.setChecked(False)
        self.state.setCurrentIndex(0)
        self.function.setCurrentIndex(0)
        self.amount.setValue(0)

    # -- choices ---------------------------------------------------------------------------------

    def _ask(self, **wanted: object) -> None:
        self.rows.ask(**wanted)

    def _on_threshold(self) -> None:
        self._ask(threshold=self.threshold)
        self.threshold_changed.emit()

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
                row = max(0, self.view.currentIndex().row())
                self._open(row)
                return True
            if key == Qt.Key.Key_Escape:
                self.filter.clear()
                return True
        return super().eventFilter(watched, event)

    def press(self, event: QKeyEvent) -> bool:
        """Do what a key in the list asks for; False if it means nothing special."""
        key, row = event.key(), self.view.currentIndex().row()
        held = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier
        text = event.text()
        if key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._open(row)
        elif key == Qt.Key.Key_Escape:
            self.filter.clear()
        elif (key == Qt.Key.Key_Up and row <= 0) or event.matches(QKeySequence.StandardKey.Find):
            self.focus_filter()
        elif not event.modifiers() & held and text.isprintable() and text.strip():
            self.filter.setFocus(Qt.FocusReason.OtherFocusReason)
            self.filter.setText(self.filter.text() + text)
        else:
            return False
        return True

    def _enter_list(self) -> None:
        if self.rows.rowCount():
            if not self.view.currentIndex().isValid():
                self.view.setCurrentIndex(self.rows.index(0))
            self.view.setFocus(Qt.FocusReason.OtherFocusReason)

    def _open(self, row: int) -> None:
        pair = self.rows.pair_at(row)
        if pair is not None:
            self.show_table(pair.id)
            self.entered.emit()

    def browse(self, index: Index) -> None:
        """Show the table in a row once the cursor rests there."""
        if not self._listening:
            return
        pair = self.rows.pair_at(index.row()) if index.isValid() else None
        self._wanted = pair.id if pair is not None else ""
        self._browsing.start() if self._wanted else self._browsing.stop()

    def _show_wanted(self) -> None:
        if self._wanted:
            self._shown = self._wanted
            self.chosen.emit(self._wanted)

    def _on_click(self, index: Index) -> None:
        pair = self.rows.pair_at(index.row())
        if pair is not None:
            self.show_table(pair.id)

    # -- keeping up ------------------------------------------------------------------------------

    def _follow(self) -> None:
        row = self.rows.row_of(self._shown)
        self._listening = False
        try:
            if row >= 0:
                self.view.setCurrentIndex(self.rows.index(row))
                self.view.scrollTo(self.rows.index(row))
            else:
                self.view.clearSelection()
        finally:
            self._listening = True

    def _after_reset(self) -> None:
        self._follow()
        listed, total = self.rows.rowCount(), self.rows.total
        text = f"{listed} of {counted(total, 'table')}"
        if self.rows.hidden_by_threshold:
            text += f", {self.rows.hidden_by_threshold} below the threshold left out"
        self.count.setText(text if total else "")
        self.nothing.setText(self._why or self._why_empty())
        self._pages.setCurrentIndex(0 if listed and not self._why else 1)

    def _why_empty(self) -> str:
        if not self.rows.total:
            return "Neither set has a table."
        asked = self.rows.asked
        if not asked.narrows:
            return "No table differs."
        parts: list[str] = []
        if asked.words:
            parts.append(f"holds “{' '.join(asked.words)}”")
        if asked.state not in (DIFFERING, EVERYTHING):
            parts.append(f"is “{STATES[State(asked.state)]}”")
        if asked.function is not None:
            parts.append(f"belongs to {asked.function or 'no function'}")
        if asked.breaches:
            parts.append("breaches the mode relation")
        if self.rows.hidden_by_threshold:
            parts.append(f"differs by more than {asked.threshold.words()}")
        what = " and ".join(parts) or "differs"
        return f"No table {what}. View, Compare, List all that differ clears every choice."


def _row(*widgets: QWidget) -> QHBoxLayout:
    made = QHBoxLayout()
    made.setSpacing(4)
    for widget in widgets:
        stretches = isinstance(widget, QComboBox)
        made.addWidget(widget, 1 if stretches else 0)
    return made


def _label(text: str, buddy: QWidget) -> QLabel:
    label = PlainLabel(text)
    label.setBuddy(buddy)
    return label
