"""A notice within the part, with at most one thing to do about it."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QFrame, QHBoxLayout, QPushButton, QWidget

from app.plain import PlainLabel

MOST = 5
"""Lines: of several files that cannot be read, each has its own."""


class Notice(QFrame):
    """Words, a button that does something, and one that takes the notice away."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.setAutoFillBackground(True)
        self.setBackgroundRole(self.palette().ColorRole.AlternateBase)
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.act = QPushButton()
        self.close_it = QPushButton("Close")
        self.close_it.setAccessibleName("Close the notice")
        self.close_it.clicked.connect(lambda _checked=False: self.hide())
        self.act.clicked.connect(lambda _checked=False: self._do())
        self._run: Callable[[], None] | None = None
        row = QHBoxLayout(self)
        row.setContentsMargins(10, 4, 6, 4)
        row.addWidget(self.words, 1)
        row.addWidget(self.act)
        row.addWidget(self.close_it)
        self.hide()

    def show_notice(self, words: str, act: str = "", run: Callable[[], None] | None = None) -> None:
        """Say something, in place of what was said before."""
        self.words.setText(words)
        self.setAccessibleName(words)
        self.act.setText(act)
        self.act.setVisible(run is not None)
        self._run = run
        self.show()

    def add_line(self, words: str) -> None:
        """Say one thing more below what is shown; the oldest of many make room."""
        asks = self._run is not None
        before = [] if self.isHidden() or asks else self.words.text().splitlines()
        lines = [line for line in before if line != words][-(MOST - 1) :]
        self.show_notice("\n".join([*lines, words]))

    def _do(self) -> None:
        run = self._run
        self.hide()
        if run is not None:
            run()
