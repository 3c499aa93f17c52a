"""One line below the grid that asks an operation's numbers and says what it will do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from PySide6.QtCore import QEvent, QObject, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from app.plain import PlainLabel, plain_tip
from calib_model.core.arrays import BoolArray
from calib_model.core.numbers import short, with_unit
from calib_model.core.table import Table
from calib_model.core.typed_number import parse_number
from calib_model.core.units import shown
from calib_model.editing.change import CellsEdit, Change
from calib_model.errors import BitepointError

from .source import GridSource

_ROOM_FOR_BUTTONS = 520


@dataclass(frozen=True)
class Field:
    """One number to ask for.

    Parameters
    ----------
    label : str
        What stands before it, such as ``by`` or ``from``.
    unit : str
    text : str
        What it holds at first.
    """

    label: str
    unit: str = "-"
    text: str = ""


@dataclass(frozen=True)
class Question:
    """What the strip asks.

    Parameters
    ----------
    title : callable of table and selection
        Says what is asked, such as ``Scale 6 cells``.
    fields : tuple of Field
    make : callable of table, selection and one float per field
        Returns the change.
    done : callable of one float per field, optional
        Runs after the change was applied.
    """

    title: Callable[[Table, BoolArray], str]
    fields: tuple[Field, ...]
    make: Callable[..., Change]
    done: Callable[..., None] | None = None


def outcome(table: Table, change: Change) -> str:
    """Return in words what a change does to the cells, before it is applied."""
    edits = [e for e in change.edits if isinstance(e, CellsEdit) and e.table == table.id]
    if not edits:
        return change.note or ("Nothing changes." if change.is_empty else "")
    before = np.concatenate([e.before for e in edits])
    after = np.concatenate([e.after for e in edits])
    said = f"{_range(before, '-')} → {_range(after, table.unit)}"
    return f"{said}. {change.note}" if change.note else said


def _range(values: np.ndarray, unit: str) -> str:
    filled = values[np.isfinite(values)]
    if not filled.size:
        return "empty"
    low, high = float(filled.min()), float(filled.max())
    return with_unit(low, unit) if low == high else f"{short(low)} … {with_unit(high, unit)}"


class ShortLabel(PlainLabel):
    """A label that gives way: it elides its text, which its tooltip says whole."""

    def __init__(self) -> None:
        super().__init__()
        self.setMinimumWidth(0)
        self.blank = False
        """Whether the text is shown elsewhere."""

    def setText(self, text: str) -> None:
        """Show another text."""
        super().setText(text)
        self.setToolTip(plain_tip(text))

    def minimumSizeHint(self) -> QSize:
        """Return next to nothing."""
        return QSize(0, super().minimumSizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Draw as much of the text as there is room for."""
        if self.blank:
            return
        painter = QPainter(self)
        painter.setPen(self.palette().color(self.foregroundRole()))
        mode = Qt.TextElideMode.ElideRight
        text = painter.fontMetrics().elidedText(self.text(), mode, self.width())
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignVCenter, text)


class EntryStrip(QFrame):
    """The strip; hidden while nothing is asked.

    Enter applies to the cells selected at that moment, Esc closes.  A refusal is said in the
    strip, which then stays open.

    Signals
    -------
    closed
        The strip went away and the focus should go back.
    """

    closed = Signal()

    def __init__(self, source: GridSource, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._source = source
        self.question: Question | None = None
        self.entries: list[QLineEdit] = []
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.setAutoFillBackground(True)
        stack = QVBoxLayout(self)
        stack.setContentsMargins(8, 4, 8, 4)
        self._row = QHBoxLayout()
        stack.addLayout(self._row)
        self.details = PlainLabel()
        self.details.setWordWrap(True)
        self.details.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.details.hide()
        stack.addWidget(self.details)
        self.title = ShortLabel()
        bold = self.title.font()
        bold.setBold(True)
        self.title.setFont(bold)
        self.preview = ShortLabel()
        self.preview.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.apply_button = QPushButton("Apply")
        self.apply_button.clicked.connect(lambda _checked=False: self.apply())
        self.close_button = QPushButton("Close")
        self.apply_button.setToolTip("Does what the line says to the selected cells (Enter).")
        self.close_button.setToolTip("Leaves the cells as they are (Esc).")
        self.close_button.clicked.connect(lambda _checked=False: self.close_strip())
        self._parts: list[QWidget] = []
        self._row.addWidget(self.title)
        self._row.addWidget(self.preview, 1)
        self._row.addWidget(self.apply_button)
        self._row.addWidget(self.close_button)
        self.hide()
        source.table_changed.connect(self._on_table)
        source.selection_changed.connect(self._refresh)
        source.values_changed.connect(lambda _cells: self._refresh())

    def ask(self, question: Question) -> None:
        """Ask something; what was asked before is dropped."""
        self._begin(question)
        for field in question.fields:
            unit = shown(field.unit)
            entry = QLineEdit(field.text)
            entry.setMaximumWidth(entry.fontMetrics().horizontalAdvance("−0000.00000") + 16)
            entry.setMinimumWidth(50)
            entry.setAlignment(Qt.AlignmentFlag.AlignRight)
            entry.textChanged.connect(lambda _text: self._refresh())
            entry.installEventFilter(self)
            label = PlainLabel(field.label)
            label.setBuddy(entry)
            self._parts += [label, entry, PlainLabel(unit)] if unit else [label, entry]
            self.entries.append(entry)
        for place, part in enumerate(self._parts, start=1):
            self._row.insertWidget(place, part)
        self._refresh()
        self.show()
        if self.entries:
            self.entries[0].selectAll()
            self.entries[0].setFocus(Qt.FocusReason.ShortcutFocusReason)
        else:
            self.apply_button.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def explain(self, title: str, text: str) -> None:
        """Say at length why something was refused; closed by Enter or Esc."""
        self._begin(None)
        self.title.setText(title)
        self.details.setText(text)
        self._say("")
        self.setAccessibleDescription(text)
        self.show()
        self.close_button.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def _begin(self, question: Question | None) -> None:
        self.question = question
        for part in self._parts:
            self._row.removeWidget(part)
            part.hide()
            part.deleteLater()
        self._parts, self.entries = [], []
        self.details.setVisible(question is None)
        self._show_buttons()

    def apply(self) -> bool:
        """Apply what is asked; True if it was."""
        question = self.question
        if question is None:
            return False
        if self._source.read_only:
            self._say(self._source.read_only)
            return False
        try:
            change = self._change()
        except BitepointError as error:
            self._say(str(error))
            return False
        if change.is_empty:
            self._say(change.note or "Nothing would change.")
            return False
        numbers = [parse_number(entry.text()) for entry in self.entries]
        if self._source.do(change):
            self.close_strip()
            if question.done is not None:
                question.done(*numbers)
            return True
        return False

    def close_strip(self) -> None:
        """Close without doing anything."""
        if not self.isHidden():
            self.question = None
            self.hide()
            self.closed.emit()

    def _change(self) -> Change:
        table, question = self._source.table, self.question
        assert table is not None
        assert question is not None
        numbers = [parse_number(entry.text()) for entry in self.entries]
        return question.make(table, self._source.selection, *numbers)

    def _refresh(self) -> None:
        table, question = self._source.table, self.question
        if table is None or question is None or self._source.selection.shape != table.shape:
            return
        title = question.title(table, self._source.selection)
        self.title.setText(title)
        for entry, field in zip(self.entries, question.fields, strict=True):
            unit = shown(field.unit)
            entry.setAccessibleName(f"{title} {field.label}{f' in {unit}' if unit else ''}")
        if any(not entry.text().strip() for entry in self.entries):
            self._say("")
            return
        try:
            self._say(outcome(table, self._change()))
        except BitepointError as error:
            self._say(str(error))

    def _say(self, text: str) -> None:
        self.preview.setText(text)
        self.setAccessibleDescription(text)
        self._place_preview()

    def _place_preview(self) -> None:
        """Give a text that is too long for the line a line of its own."""
        if self.question is None:
            return
        text = self.preview.text()
        layout = self.layout()
        if layout is not None:
            layout.activate()
        whole = self.preview.fontMetrics().horizontalAdvance(text) <= self.preview.width()
        self.preview.blank = not whole
        self.preview.update()
        self.details.setText("" if whole else text)
        self.details.setHidden(whole)

    def _on_table(self) -> None:
        self.close_strip()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave the buttons out where there is no room: Enter and Esc do the same."""
        super().resizeEvent(event)
        self._show_buttons()
        self._place_preview()

    def _show_buttons(self) -> None:
        room = self.width() >= _ROOM_FOR_BUTTONS or not self.entries
        self.apply_button.setVisible(room and self.question is not None)
        self.close_button.setVisible(room)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Enter applies from any field."""
        if event.type() == QEvent.Type.KeyPress:
            assert isinstance(event, QKeyEvent)
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self.apply()
                return True
        return super().eventFilter(watched, event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc closes; Enter does what the button with the focus says."""
        if event.key() == Qt.Key.Key_Escape:
            self.close_strip()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if self.question is None or self.close_button.hasFocus():
                self.close_strip()
            else:
                self.apply()
        else:
            super().keyPressEvent(event)
