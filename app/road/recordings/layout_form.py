"""Asks how a text file is laid out, where that is in doubt."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QFormLayout,
    QFrame,
    QHBoxLayout,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from app.plain import PlainLabel
from app.quiet import QuietCombo

FIELDS = (
    ("separator", "Columns separated by", ((";", "semicolon"), (",", "comma"), ("\t", "tab"))),
    ("decimal", "Decimal mark", ((".", "point"), (",", "comma"))),
    ("encoding", "Text encoding", (("utf-8", "utf-8"), ("cp1252", "cp1252"),
                                   ("utf-16", "utf-16"))),
    ("time", "Time column", ()),
    ("time_unit", "Unit of the time", (("s", "s"), ("ms", "ms"), ("us", "us"))),
)  # fmt: skip
"""What can be said of a text file: name, words, usual answers.  A time column is also typed."""
FOUND = "as found"


class LayoutForm(QFrame):
    """What is in doubt, and a choice for each point; Enter reads the file, Esc gives up.

    Signals
    -------
    answered : Path, dict of str to str
    left
        Nothing is read.
    """

    answered = Signal(object, object)
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self._path = Path()
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        form = QFormLayout()
        self.fields: dict[str, QuietCombo] = {}
        for name, title, answers in FIELDS:
            box = QuietCombo()
            box.setAccessibleName(title)
            box.addItem(FOUND, "")
            for answer, words in answers:
                box.addItem(words, answer)
            box.setEditable(name in ("time", "encoding"))
            box.setMinimumContentsLength(16)
            self.fields[name] = box
            form.addRow(title, box)
        self.read = QPushButton("Read it so")
        self.read.setDefault(True)
        self.give_up = QPushButton("Do not read it")
        self.read.clicked.connect(lambda _checked=False: self._answer())
        self.give_up.clicked.connect(lambda _checked=False: self._leave())
        buttons = QHBoxLayout()
        buttons.addWidget(self.read)
        buttons.addWidget(self.give_up)
        buttons.addStretch(1)
        column = QVBoxLayout(self)
        column.addWidget(self.words)
        column.addLayout(form)
        column.addLayout(buttons)
        self.hide()

    def ask(self, path: Path, answers: dict[str, str], doubt: Any, layout: Any = None) -> None:
        """Ask about a file.

        Parameters
        ----------
        path : Path
        answers : dict of str to str
            What was said already.
        doubt : UnclearLayout or None
            What is unclear; its field gets the keyboard.
        layout : Layout, optional
            What was found, where the user wants to have it otherwise.
        """
        self._path = path
        text = f"{path.name}: {doubt.problem} {doubt.remedy}" if doubt is not None else ""
        if layout is not None:
            text = f"{path.name} was read so:\n" + "\n".join(layout.words())
        self.words.setText(text)
        self.give_up.setText("Do not read it" if layout is None else "Leave it so")
        for name, box in self.fields.items():
            if name == "time":
                box.clear()
                box.addItem(FOUND, "")
                columns = [] if layout is None else [t.name for t in layout.times]
                columns += [] if layout is None else [c.name for c in layout.channels]
                if doubt is not None and doubt.what == "time":
                    columns = list(doubt.choices)
                for column in columns:
                    box.addItem(column, column)
            place = box.findData(answers.get(name, ""))
            box.setCurrentIndex(max(place, 0))
        target = self.fields["separator"]
        if doubt is not None and doubt.what in self.fields:
            target = self.fields[doubt.what]
            if target.currentIndex() == 0 and doubt.choices:
                target.setCurrentIndex(max(target.findData(doubt.choices[0]), 0))
        self.show()
        target.setFocus(Qt.FocusReason.OtherFocusReason)

    def answers(self) -> dict[str, str]:
        """Return what was chosen."""
        found = {}
        for name, box in self.fields.items():
            text = box.currentText().strip()
            known = box.findText(text)
            answer = box.itemData(known) if known >= 0 else text
            if answer and text != FOUND:
                found[name] = str(answer)
        return found

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter reads, Esc gives up."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._answer()
        elif event.key() == Qt.Key.Key_Escape:
            self._leave()
        else:
            super().keyPressEvent(event)

    def _answer(self) -> None:
        self.hide()
        self.answered.emit(self._path, self.answers())

    def _leave(self) -> None:
        self.hide()
        self.left.emit()
