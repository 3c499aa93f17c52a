"""The resulting torque: form, maps, read-out, and where the mode relation is breached."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QSize, Qt, QTimer, Signal
from PySide6.QtGui import (
    QHideEvent,
    QKeyEvent,
    QResizeEvent,
    QShowEvent,
)
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QTabBar,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.colours import inks
from app.desk import Desk
from app.focus_ring import RingedWidget
from app.plain import PlainLabel
from app.plots.frame import OneLine
from app.plots.legend import Legend
from app.plots.result import draw
from app.plots.result.asking import Asking
from app.plots.result.breach_list import BreachList
from app.plots.result.map import ResultMap
from app.plots.result.reckon import WARMING, Named, Picture, reckon
from app.quiet import QuietCombo
from app.vehicle_in_use import vehicle_in_use
from app.work.latest import Latest
from calib_model.errors import BitepointError
from calib_model.evidence.result import place_of

FIRST, SECOND, LESS, ALL = range(4)
SIDE_BY_SIDE = 640
NARROW, LOW, VERY_LOW = 400, 330, 230
"""Width for three maps, beside the form; below `NARROW` form and maps take turns, and below the
heights lists and lines give way to the maps."""
_BY_TABLE, _BY_TORQUE = "Deciding table", "Torque"


class ResultPanel(RingedWidget):
    """Commanded torque over two inputs, of one set or of two held against each other.

    Parameters
    ----------
    desk : Desk
        Jumps and messages go through it.
    names : tuple of str
        What the two sets are called: the one that differences start from, and the other.

    Signals
    -------
    jumped
        The desk stands on a table that governs; the keyboard should go to its cells.
    """

    jumped = Signal()

    def __init__(
        self, desk: Desk, names: tuple[str, str] = ("A", "B"), parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.desk, self.names = desk, names
        self.picture: Picture | None = None
        self._sets: tuple[Named | None, Named | None] = (None, None)
        self._stale = False
        self._at = (0, 0)
        self._latest = Latest(self, self._take, self._take_failure, WARMING.stop)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self._reckon)
        self._tabs_timer = QTimer(self)
        self._tabs_timer.setSingleShot(True)
        self._tabs_timer.timeout.connect(self._fit_tabs)
        self.setAccessibleName("Resulting torque")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setToolTip(
            "Arrow keys move the cross-hair, with Ctrl to the end. Enter goes to the cells that "
            "decide, Shift+Enter to those of the other set. Page Down and Page Up go from breach "
            "to breach. The wheel zooms, Home shows everything."
        )
        self.asking = Asking(self)
        self.asking.asked.connect(self.refresh)
        self._vehicle = vehicle_in_use(desk)
        self._vehicle.changed.connect(self.refresh)
        self.maps = tuple(ResultMap(self) for _ in range(3))
        for one in self.maps:
            one.picked.connect(self._on_picked)
            one.tip = self._tip
        self._build()

    def _build(self) -> None:
        self.views = QTabBar(self)
        self.views.setExpanding(False)
        self.views.setUsesScrollButtons(False)
        self.views.setAccessibleName("Which set is shown")
        for text in (*self.names, "Difference", "All three"):
            self.views.addTab(text)
        self.views.currentChanged.connect(self.show_view)
        self.colours = QuietCombo(self)
        self.colours.setAccessibleName("What the colours of a set's map mean")
        self.colours.addItems([_BY_TABLE, _BY_TORQUE])
        self.colours.setToolTip(
            "Colour by the deciding table, deeper for more torque; or by torque."
        )
        self.colours.setMinimumContentsLength(10)
        self.colours.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.colours.activated.connect(lambda _: self._draw())
        self.inputs_button = QToolButton(self)
        self.inputs_button.setText("Inputs")
        self.inputs_button.setCheckable(True)
        self.inputs_button.setToolTip("Choose inputs and where they stand, in place of the map.")
        self.inputs_button.toggled.connect(lambda _on: self._arrange())
        self.go_button = QToolButton(self)
        self.go_button.setText("Go to cells")
        self.go_button.setToolTip(
            "Open the table that decides under the cross-hair, at its cell (Enter)."
        )
        self.go_button.clicked.connect(lambda _checked=False: self.go())
        self.read_out, self.relation = OneLine(self), OneLine(self)
        self.sentence = PlainLabel(self)
        self.sentence.setWordWrap(True)
        self.sentence.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.sentence.setMargin(12)
        self.breaches = BreachList(self)
        self.breaches.chosen.connect(self.set_place)
        self.legend = Legend(self)
        bar = QHBoxLayout()
        bar.setContentsMargins(0, 0, 0, 0)
        bar.setSpacing(8)
        bar.addWidget(self.inputs_button)
        bar.addWidget(self.views)
        bar.addStretch(1)
        row = QHBoxLayout()
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(4)
        for one in self.maps:
            row.addWidget(one, 1)
        right = QVBoxLayout()
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(1)
        right.addLayout(bar)
        right.addWidget(self.sentence, 1)
        right.addLayout(row, 1)
        below = QHBoxLayout()
        below.setContentsMargins(0, 0, 0, 0)
        below.addWidget(self.asking)
        below.addLayout(right, 1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(4, 3, 4, 3)
        whole.setSpacing(1)
        # Beside lines that can be cut short, so that the names of the views never are.
        lines: tuple[tuple[QWidget, QWidget], ...] = (
            (self.read_out, self.go_button),
            (self.relation, self.colours),
        )
        for line, widget in lines:
            beside = QHBoxLayout()
            beside.setContentsMargins(0, 0, 0, 0)
            beside.setSpacing(8)
            beside.addWidget(line, 1)
            beside.addWidget(widget)
            whole.addLayout(beside)
        whole.addLayout(below, 1)
        whole.addWidget(self.breaches)
        whole.addWidget(self.legend)
        self.setMinimumSize(220, 160)
        self._say("Working out…")

    def sizeHint(self) -> QSize:
        """A third of a small screen."""
        return QSize(700, 330)

    # -- what is shown -----------------------------------------------------------------------------

    def show_sets(self, first: Named | None, second: Named | None) -> None:
        """Show other sets, or the same ones after an edit; one alone where `first` is None."""
        before = self._sets
        self._sets = (first, second)
        if _same(before[0], first) and _same(before[1], second):
            return
        self.refresh()

    def refresh(self) -> None:
        """Reckon again, once for a burst of news, and only while it is seen."""
        self._stale = True
        if self.isVisible() and not self._timer.isActive():
            self._timer.start(0)

    def _reckon(self) -> None:
        first, second = self._sets
        self._stale = False
        if second is None:
            self._latest.forget()
            self._take("No set is open.")
            return
        ask = self.asking.ask
        if self.picture is None:
            self._say("Working out… The first time the law is compiled, which may take a minute.")
        vehicle = self._vehicle.constants
        self._latest.ask(lambda: reckon(first, second, ask, vehicle))

    def wait(self) -> None:
        """Reckon now and wait for the answer: for tests and scripts."""
        if self._timer.isActive():
            self._timer.stop()
            self._reckon()
        self._latest.wait()

    def _take(self, answer: object) -> None:
        if not isinstance(answer, Picture):
            self.picture = None
            self._say(str(answer))
            return
        self.picture = answer
        self.asking.offer(answer.choices, answer.ask)
        rows, columns = answer.second.torque.shape
        self._at = (min(self._at[0], rows - 1), min(self._at[1], columns - 1))
        if self._at == (0, 0):
            self._at = (rows // 2, columns // 2)
        self._draw()
        self.breaches.show_check(answer.check)
        self._arrange()

    def _take_failure(self, error: BitepointError) -> None:
        self._take(str(error))

    def _say(self, text: str) -> None:
        """Show a sentence in the place of the maps."""
        self.sentence.setText(text)
        self.read_out.show_text("")
        self.relation.show_text("")
        self.legend.show_entries(())
        self.breaches.hide()
        self._arrange()

    def _draw(self) -> None:
        picture = self.picture
        if picture is None or not self.isVisible():
            return
        ink = inks(self.palette())
        by_table = self.colours.currentText() == _BY_TABLE
        for number, told in ((FIRST, picture.first), (SECOND, picture.second)):
            if told is not None:
                name = self._name(number)
                self.maps[number].show_map(
                    draw.torque_map(picture, told, name, by_table=by_table, inks=ink)
                )
        less = draw.difference(picture, self.names, ink)
        if less is not None:
            self.maps[LESS].show_map(less)
        self._say_key()
        self._show_cross()
        self._say_relation()

    def _say_key(self) -> None:
        if self.picture is not None:
            less = self.picture.first is not None and self.views.currentIndex() in (LESS, ALL)
            ink = inks(self.palette())
            self.legend.show_entries(
                draw.key(self.picture, ink, less=less, name=self.names[SECOND])
            )

    def _name(self, number: int) -> str:
        named = self._sets[number]
        return f"{self.names[number]}, {named.name}" if named is not None else self.names[number]

    def _say_relation(self) -> None:
        picture = self.picture
        if picture is None:
            return
        parts = [picture.check.words] if picture.check is not None else []
        told = [r for r in (picture.first, picture.second) if r is not None]
        restless = sum(int((~r.settled).sum()) for r in told)
        if restless:
            parts.append(f"{restless} points never come to rest.")
        left_out = list(picture.left_out().values())
        if left_out:
            parts.append(f"Left out: {' '.join(left_out)}")
        parts.append("Desk estimate: every input is held until nothing moves.")
        parts.append(picture.vehicle)
        self.relation.show_text(" ".join(parts))

    # -- cross-hair --------------------------------------------------------------------------------

    @property
    def place(self) -> tuple[int, int]:
        """Row and column of the point under the cross-hair."""
        return self._at

    def set_place(self, row: int, column: int) -> None:
        """Move the cross-hair."""
        if self.picture is None:
            return
        rows, columns = self.picture.second.torque.shape
        self._at = (min(max(row, 0), rows - 1), min(max(column, 0), columns - 1))
        self._show_cross()

    def _show_cross(self) -> None:
        if self.picture is None:
            return
        for one in self.maps:
            one.show_cross(*self._at)
        if self.maps[LESS].drawn is not None and self.picture.first is not None:
            amount = self.picture.second.torque - self.picture.first.torque
            self.maps[LESS].bar.show_value(float(amount[self._at]))
        text = draw.point_words(self.picture, self.names, *self._at)
        self.read_out.show_text(text)
        self.setAccessibleDescription(text)

    def _tip(self, row: int, column: int) -> str:
        if self.picture is None:
            return ""
        return draw.point_words(self.picture, self.names, row, column)

    def _on_picked(self, row: int, column: int) -> None:
        self.setFocus(Qt.FocusReason.MouseFocusReason)
        self.set_place(row, column)

    def go(self, which: int = SECOND) -> bool:
        """Open the table that decides under the cross-hair, at its cell.

        Parameters
        ----------
        which : int
            `SECOND`, or `FIRST` for the table that decides in the other set.
        """
        picture = self.picture
        law = picture.laws[which] if picture is not None else None
        if picture is None or law is None:
            return False

        row, column = self._at
        x, y = float(picture.second.x[column]), float(picture.second.y[row])
        found = place_of(law, picture.ask, x, y)
        current = self.desk.current
        if not found.table_id:
            self.desk.tell("Nothing asks for torque here: no table decides.")
            return False
        if current is None or found.table_id not in current.content.tables:
            self.desk.tell(f"The set being edited has no table {found.table_id}.", refused=True)
            return False
        self.desk.open_table(found.table_id)
        table = self.desk.table
        if table is not None and len(found.cell) == len(table.shape):
            self.desk.set_cursor(found.cell)
        self.desk.focus_grid.emit()
        self.jumped.emit()
        return True

    # -- breaches ----------------------------------------------------------------------------------

    def step_breach(self, by: int) -> bool:
        """Go to the worst point of the next (or previous) breach; False if there is none."""
        words = self.breaches.step(by)
        self.desk.tell(words or "No breach of the mode relation is shown.")
        return bool(words)

    # -- room --------------------------------------------------------------------------------------

    def _arrange(self) -> None:
        there = self.picture is not None
        two = self.picture is not None and self.picture.first is not None
        narrow = self.width() - self.asking.width() < NARROW
        low = self.height() < LOW
        asking = not narrow or self.inputs_button.isChecked()
        mapping = not (narrow and asking)
        wide = self.width() - self.asking.width() >= SIDE_BY_SIDE
        shown = self._arrange_views(two=two, wide=wide)
        self.inputs_button.setVisible(narrow)
        self.asking.setVisible(asking)
        self.sentence.setVisible(not there and mapping)
        for number, one in enumerate(self.maps):
            one.setVisible(there and mapping and shown in (ALL, number))
            one.title.setVisible(self.height() >= VERY_LOW)
        self.views.setVisible(two and mapping)
        self._tabs_timer.start()
        self.relation.setVisible(self.height() >= VERY_LOW)
        self.breaches.setVisible(there and not low and self.breaches.count() > 0)
        self._say_key()
        key_height = self.legend.heightForWidth(self.width())
        self.legend.setVisible(there and key_height < self.height() / 5)
        self.colours.setVisible(there and not narrow)
        self.go_button.setVisible(there and not narrow)

    def _fit_tabs(self) -> None:
        """Give the tabs their width: Qt's layout goes by an earlier one when some were hidden."""
        self.views.setFixedWidth(self.views.sizeHint().width())

    def _arrange_views(self, *, two: bool, wide: bool) -> int:
        """Offer the maps there are room for, and return which one is shown."""
        shown = self.views.currentIndex()
        self.views.blockSignals(True)
        for number in (FIRST, LESS):
            self.views.setTabVisible(number, two)
        self.views.setTabVisible(ALL, two and wide)
        if not two:
            shown = SECOND
        elif shown == ALL and not wide:
            shown = self._single
        elif not self._chosen and wide:
            shown = ALL
        self.views.setCurrentIndex(shown)
        self.views.blockSignals(False)
        if shown != ALL:
            self._single = shown
        return shown

    _single = SECOND
    _chosen = False

    def show_view(self, number: int) -> None:
        """Show the first set, the second one, the difference, or all three."""
        self._chosen = True
        if self.views.currentIndex() != number:
            self.views.setCurrentIndex(number)  # which comes back here
        else:
            self._arrange()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Arrange for the new size."""
        super().resizeEvent(event)
        self._arrange()

    def showEvent(self, event: QShowEvent) -> None:
        """Catch up on what was missed while hidden."""
        super().showEvent(event)
        if self._stale:
            self._timer.start(0)
        else:
            self._draw()

    def hideEvent(self, event: QHideEvent) -> None:
        """Let an open question be; it is asked again when the panel is seen."""
        super().hideEvent(event)
        if self._latest.busy:
            self._latest.forget()
            self._stale = True

    # -- keys, palette -----------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Move the cross-hair, go to cells, step through breaches, show everything."""
        key, keys = Qt.Key(event.key()), Qt.KeyboardModifier
        if self.picture is None:
            super().keyPressEvent(event)
            return
        rows, columns = self.picture.second.torque.shape
        if key in _MOVES:
            row, column = _MOVES[key]
            far = max(rows, columns) if event.modifiers() & keys.ControlModifier else 1
            self.set_place(self._at[0] + row * far, self._at[1] + column * far)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.go(FIRST if event.modifiers() & keys.ShiftModifier else SECOND)
        elif key in (Qt.Key.Key_PageDown, Qt.Key.Key_PageUp) and not event.modifiers():
            self.step_breach(1 if key == Qt.Key.Key_PageDown else -1)
        elif key == Qt.Key.Key_Home:
            for one in self.maps:
                one.fit()
        else:
            super().keyPressEvent(event)

    def changeEvent(self, event: QEvent) -> None:
        """Follow the palette."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and hasattr(self, "legend"):
            self._draw()


_MOVES = {
    Qt.Key.Key_Up: (1, 0),
    Qt.Key.Key_Down: (-1, 0),
    Qt.Key.Key_Left: (0, -1),
    Qt.Key.Key_Right: (0, 1),
}


def _same(a: Named | None, b: Named | None) -> bool:
    if a is None or b is None:
        return a is b
    return a.content is b.content and a.name == b.name
