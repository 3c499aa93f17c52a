"""The plot of a recording alone on the whole screen, and back."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QCloseEvent, QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QSplitter, QVBoxLayout, QWidget

from app.look.icons import icon
from app.look.parts import ShortLabel, quiet
from app.look.tokens import NEAR, TIGHT


class FullScreen(QWidget):
    """Borrows a widget from its splitter, and gives it back when it is closed.

    Parameters
    ----------
    home : QSplitter
        Where the widget has its place.
    lent : QWidget
        The plot.
    """

    def __init__(self, home: QSplitter, lent: QWidget) -> None:
        super().__init__(home, Qt.WindowType.Window)
        self._home, self._lent = home, lent
        self._place = 0
        self._sizes: list[int] = []
        self.setWindowTitle("Recording")
        self.title = ShortLabel("", second=True)
        self.back = quiet(QPushButton("Back (Esc)"))
        self.back.setIcon(icon("x"))
        self.back.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.back.clicked.connect(lambda _checked=False: self.close())
        head = QHBoxLayout()
        head.setContentsMargins(NEAR, TIGHT, NEAR, 0)
        head.addWidget(self.title, 1)
        head.addWidget(self.back)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, TIGHT)
        self._column.setSpacing(0)
        self._column.addLayout(head)

    @property
    def on(self) -> bool:
        """Whether the widget is here."""
        return self._lent.parentWidget() is self

    def open(self, title: str) -> None:
        """Show the widget on the whole screen.

        Parameters
        ----------
        title : str
            What is looked at.
        """
        if self.on:
            return
        self.title.setText(title)
        self._place, self._sizes = self._home.indexOf(self._lent), self._home.sizes()
        self._column.addWidget(self._lent, 1)
        self.setGeometry(self.screen().geometry())  # not every window manager sees to it
        self.showFullScreen()
        self._lent.setFocus(Qt.FocusReason.OtherFocusReason)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Give the widget back, with the keyboard in it."""
        super().closeEvent(event)
        if self.on:
            self._home.insertWidget(self._place, self._lent)
            self._home.setSizes(self._sizes)
            self._lent.show()
            self._home.window().activateWindow()
            self._lent.setFocus(Qt.FocusReason.OtherFocusReason)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Esc goes back."""
        if event.key() == Qt.Key.Key_Escape:
            self.close()
        else:
            super().keyPressEvent(event)
