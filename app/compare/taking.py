"""The strip that takes over: a reason, what is taken, and into which set."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLineEdit, QPushButton, QWidget

from app.plain import PlainLabel, plain_tip
from app.quiet import QuietCombo
from calib_model.compare.take_over import Into

ROOMY = 840
"""From this width on there is room for labels and whole names."""


class Scope(StrEnum):
    """What is taken over."""

    CELLS = "cells"
    TABLE = "table"
    WHOLE = "whole"
    LISTED = "listed"


@dataclass(frozen=True)
class Order:
    """What is to be taken over, and into which side."""

    scope: Scope
    into: Into


class TakeStrip(QWidget):
    """Reason, scope and two buttons that name the set they change.

    Signals
    -------
    ordered : Order
        With a reason given.
    left
        The keyboard is to go back to the cells.
    asked : str
        A reason is needed first; the text says so.
    """

    ordered = Signal(object)
    left = Signal()
    asked = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._waiting: Order | None = None
        self._words: dict[Scope, str] = {}
        self._targets: dict[Into, str] = {}
        self._letters: dict[Into, str] = {}
        self._offered = ""
        self.reason = QLineEdit()
        self.reason.setMaxLength(1000)
        self.reason.setPlaceholderText("Reason, for the history")
        self.reason.setMinimumWidth(130)
        self.reason.setAccessibleName("Reason for taking over")
        self.reason.setToolTip(
            "Why values are taken over; the history keeps it. Enter takes over what was asked "
            "for, Esc goes back to the cells."
        )
        self.reason.installEventFilter(self)
        self.reason.returnPressed.connect(self._on_return)
        self.scope = QuietCombo()
        self.scope.setAccessibleName("What to take over")
        self.scope.setToolTip("What the two buttons take over.")
        self.scope.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.scope.setMinimumContentsLength(10)
        self.scope.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        for scope in Scope:
            self.scope.addItem(str(scope), scope)
        self.into_first, self.into_second = QPushButton(), QPushButton()
        for button, into in ((self.into_first, Into.FIRST), (self.into_second, Into.SECOND)):
            button.clicked.connect(
                lambda _checked=False, into=into: self.order(
                    Order(Scope(self.scope.currentData()), into)
                )
            )
        self._labels = PlainLabel("Re&ason"), PlainLabel("Take over")
        label, what = self._labels
        label.setBuddy(self.reason)
        what.setBuddy(self.scope)
        row = QHBoxLayout(self)
        row.setContentsMargins(6, 3, 6, 3)
        row.setSpacing(6)
        row.addWidget(label)
        row.addWidget(self.reason, 3)
        row.addWidget(what)
        row.addWidget(self.scope, 2)
        row.addWidget(self.into_first)
        row.addWidget(self.into_second)

    def show_scopes(self, words: dict[Scope, str]) -> None:
        """Say what each scope is just now."""
        before, self._words = self._words, words
        for number, scope in enumerate(Scope):
            self.scope.setItemText(number, words[scope])
        waiting = self._waiting
        if waiting is not None and before.get(waiting.scope) != words[waiting.scope]:
            self._ask(waiting)  # what Enter would take over is something else now

    def show_target(self, into: Into, letter: str, name: str, why_not: str) -> None:
        """Name the set that a button changes, or say why it changes nothing."""
        self._targets[into], self._letters[into] = name, letter
        button = self.into_first if into is Into.FIRST else self.into_second
        self._letter_room(button, letter, name)
        button.setAccessibleName(f"Take over into {letter}, {name}")
        button.setEnabled(not why_not)
        button.setToolTip(plain_tip(why_not or f"Changes {name}, as one step that can be undone."))

    def _letter_room(self, button: QPushButton, letter: str, name: str) -> None:
        """Write a button's text, the name as long as there is room for."""
        room = 190 if self.width() >= ROOMY else 96
        text = button.fontMetrics().elidedText(name, Qt.TextElideMode.ElideMiddle, room)
        button.setText(f"into {letter}: {text}".replace("&", "&&"))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Leave out what can be missed where there is little room."""
        super().resizeEvent(event)
        for label in self._labels:
            label.setVisible(self.width() >= ROOMY)
        for into, button in ((Into.FIRST, self.into_first), (Into.SECOND, self.into_second)):
            self._letter_room(button, self._letters.get(into, ""), self._targets.get(into, ""))

    def choose(self, scope: Scope) -> None:
        """Choose what the buttons take over."""
        self.scope.setCurrentIndex(list(Scope).index(scope))

    @property
    def waiting(self) -> Order | None:
        """What a reason is being asked for."""
        return self._waiting

    def order(self, order: Order) -> None:
        """Take over, once there is a reason."""
        if not self.reason.text().strip():
            self._waiting = order
            other = Into.FIRST if order.into is Into.SECOND else Into.SECOND
            self._offered = f"As in {self._targets.get(other, '')}"
            self.reason.setText(self._offered)
            self.reason.selectAll()
            self.scope.setCurrentIndex(list(Scope).index(order.scope))
            self.reason.setFocus(Qt.FocusReason.ShortcutFocusReason)
            self._ask(order)
            return
        self._waiting = None
        self.ordered.emit(order)

    def _ask(self, order: Order) -> None:
        what = self._words.get(order.scope, "")
        into = self._targets.get(order.into, "")
        self.asked.emit(
            f"Type why, or keep the reason offered. Enter then takes over {what} into {into}; "
            "Esc leaves it."
        )

    def done(self) -> None:
        """Mark the reason, so that the next one is typed over it."""
        self.reason.selectAll()

    def _on_return(self) -> None:
        waiting = self._waiting
        if not self.reason.text().strip():
            self.asked.emit("The reason is empty: a word or two are enough.")
        elif waiting is not None:
            self._waiting = None
            self.left.emit()
            self.ordered.emit(waiting)
        else:
            self.left.emit()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Esc leaves the reason and what waited for it."""
        if (
            isinstance(event, QKeyEvent)
            and event.type() == QEvent.Type.KeyPress
            and event.key() == Qt.Key.Key_Escape
        ):
            if self._waiting is not None:
                self._waiting = None
                if self.reason.text() == self._offered:
                    self.reason.clear()  # it was left: the next is asked for again
                self.asked.emit("Nothing was taken over.")
            self.left.emit()
            return True
        return super().eventFilter(watched, event)
