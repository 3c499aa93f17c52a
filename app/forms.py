"""Fields of forms: lines, secrets, files, days; Enter does it, Esc goes back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QComboBox,
    QFileDialog,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.look.parts import TextLabel, primary
from app.look.tokens import NEAR
from app.plain import PlainLabel, plain_tip

LONGEST = 1000


class SecretField(QLineEdit):
    """A passphrase: never shown, never kept; `take` empties the field."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setEchoMode(QLineEdit.EchoMode.Password)
        self.setMaxLength(4096)
        self.setInputMethodHints(
            Qt.InputMethodHint.ImhHiddenText
            | Qt.InputMethodHint.ImhSensitiveData
            | Qt.InputMethodHint.ImhNoPredictiveText
            | Qt.InputMethodHint.ImhNoAutoUppercase
        )

    def take(self) -> Secret:
        """Return what was typed, and forget it here."""
        text = self.text()
        self.clear()
        return Secret(text)


class Secret:
    """A passphrase on its way to where it is needed; no message can show it."""

    __slots__ = ("_text",)

    def __init__(self, text: str) -> None:
        self._text = text

    def __repr__(self) -> str:
        return "Secret()"

    def __bool__(self) -> bool:
        return bool(self._text)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Secret) and other._text == self._text

    __hash__ = None  # type: ignore[assignment]

    def reveal(self) -> str:
        """Return the text."""
        return self._text


class PathField(QWidget):
    """The name of a file or folder, typed or chosen.

    Signals
    -------
    changed
        It was typed to its end, or chosen.
    """

    changed = Signal()

    def __init__(self, name: str, kind: str = "open", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._name, self._kind = name, kind
        self.line = QLineEdit()
        self.line.setAccessibleName(name)
        self.line.editingFinished.connect(self.changed)
        self.browse = QToolButton()
        self.browse.setText("…")
        self.browse.setAccessibleName(f"Choose: {name}")
        self.browse.setToolTip(plain_tip(f"Choose: {name}."))
        self.browse.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.browse.clicked.connect(lambda _checked=False: self._choose())
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(4)
        row.addWidget(self.line, 1)
        row.addWidget(self.browse)
        self.setFocusProxy(self.line)

    @property
    def path(self) -> Path | None:
        """What is named; None if nothing is."""
        text = self.line.text().strip()
        return Path(text).expanduser() if text else None

    def show_path(self, path: Path | str | None) -> None:
        """Name another."""
        self.line.setText(str(path or ""))
        self.line.setToolTip(plain_tip(str(path or "")))

    def show_hint(self, text: str) -> None:
        """Say what counts where nothing is named."""
        self.line.setPlaceholderText(text)
        self.line.setAccessibleDescription(text)

    def _choose(self) -> None:
        start = str(self.path or Path.home())
        if self._kind == "folder":
            name = QFileDialog.getExistingDirectory(self, self._name, start)
        elif self._kind == "save":
            name, _ = QFileDialog.getSaveFileName(self, self._name, start)
        else:
            name, _ = QFileDialog.getOpenFileName(self, self._name, start)
        if name:
            self.show_path(name)
            self.changed.emit()


class Form(QWidget):
    """Labelled fields, a button, and the answer below it.

    Signals
    -------
    left
        Esc: the keyboard goes back to the list.

    Parameters
    ----------
    title : str
    """

    left = Signal()

    def __init__(self, title: str = "", parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.heading = TextLabel(step="title")
        self.heading.setWordWrap(True)
        self.heading.setText(title)
        self.heading.setVisible(bool(title))
        self.answer = PlainLabel()
        self.answer.setWordWrap(True)
        self.answer.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.answer.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self.answer.hide()
        self.fields = QFormLayout()
        self.fields.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        self.fields.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        self.fields.setHorizontalSpacing(NEAR)
        self.fields.setVerticalSpacing(NEAR)
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(NEAR, NEAR, NEAR, NEAR)
        self.column.setSpacing(NEAR)
        self.column.addWidget(self.heading)
        self.column.addLayout(self.fields)
        self._submit: Callable[[], None] | None = None
        self._reveal = QTimer(self)  # once the answer has its place
        self._reveal.setSingleShot(True)
        self._reveal.timeout.connect(self._show_answer)
        self.busy = False
        """Whether its work is being done: a disabled form would lose the keyboard."""

    # -- building --------------------------------------------------------------------------------

    def add(self, label: str, field: QWidget, name: str = "", tip: str = "") -> None:
        """Add a field with its label."""
        caption = PlainLabel(label)
        caption.setBuddy(field.line if isinstance(field, PathField) else field)
        if name:
            field.setAccessibleName(name)
        if tip:
            field.setToolTip(plain_tip(tip))
            if isinstance(field, PathField):
                field.line.setToolTip(plain_tip(tip))
        self.fields.addRow(caption, field)
        self._listen(field)

    def _listen(self, field: QWidget) -> None:
        field.installEventFilter(self)
        inner = field.line if isinstance(field, PathField) else field
        if inner is not field:
            inner.installEventFilter(self)
        if isinstance(inner, QLineEdit):
            inner.returnPressed.connect(self.submit)
        if isinstance(field, QComboBox) and (edit := field.lineEdit()) is not None:
            edit.returnPressed.connect(self.submit)

    def text_field(self, label: str, name: str, tip: str = "", hint: str = "") -> QLineEdit:
        """Add a line of text."""
        line = QLineEdit()
        line.setMaxLength(LONGEST)
        line.setPlaceholderText(hint)
        self.add(label, line, name, tip)
        return line

    def secret_field(self, label: str, name: str) -> SecretField:
        """Add a passphrase."""
        field = SecretField()
        self.add(label, field, name, "Is used once and then forgotten: neither kept nor shown.")
        return field

    def button(self, text: str, act: Callable[[], None], tip: str = "") -> QPushButton:
        """Add the button that Enter in a field presses, and the place of the answer."""
        made = primary(QPushButton(text))
        made.setToolTip(plain_tip(tip))
        made.clicked.connect(lambda _checked=False: self.submit())
        made.installEventFilter(self)
        self._submit = act
        row = QHBoxLayout()
        row.addStretch(1)
        row.addWidget(made)
        self.column.addLayout(row)
        self.column.addWidget(self.answer)
        self.column.addStretch(1)
        return made

    # -- working ---------------------------------------------------------------------------------

    def submit(self) -> None:
        """Do what the form is for."""
        if self.busy:
            return
        self.say("")
        if self._submit is not None:
            self._submit()

    def say(self, text: str, *, refused: bool = False) -> None:
        """Show what came of it; a refusal has a sign besides the words."""
        self.answer.setText(f"\N{WARNING SIGN} {text}" if refused and text else text)
        self.answer.setAccessibleName(text)
        self.answer.setVisible(bool(text))
        if text:
            self._reveal.start()

    def _show_answer(self) -> None:
        above = self.parentWidget()
        while above is not None and not isinstance(above, QScrollArea):
            above = above.parentWidget()
        if above is not None and self.answer.isVisible():
            above.ensureWidgetVisible(self.answer, 0, 8)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Esc goes back; Enter presses a button that has the keyboard, and answers a choice."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            if event.key() == Qt.Key.Key_Escape:
                self.left.emit()
                return True
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                if isinstance(watched, QPushButton):
                    watched.click()
                    return True
                # An open list takes Enter itself; a line to type in says so by its own signal.
                if isinstance(watched, QComboBox) and not watched.isEditable():
                    self.submit()
                    return True
        return super().eventFilter(watched, event)
