"""What the user sees when a part of the window fails: a plain sentence, details to copy, and
where the recovery copy is.  The window stays up."""

from __future__ import annotations

import platform
import sys
import threading
import traceback
from collections.abc import Callable
from types import TracebackType

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QDialogButtonBox, QPlainTextEdit, QPushButton, QWidget

from app.plain import PlainLabel

from .help_pages import PageDialog


class CrashDialog(PageDialog):
    """Says that something failed, once, however often it fails meanwhile."""

    def __init__(self, details: str, where: str, parent: QWidget) -> None:
        super().__init__("Something went wrong", parent, 720, 460)
        said = PlainLabel(
            "Something went wrong inside Bitepoint, and the last action may not have been done. "
            f"Your sets are still open. {where}"
        )
        said.setWordWrap(True)
        said.setTextInteractionFlags(
            Qt.TextInteractionFlag.TextSelectableByMouse
            | Qt.TextInteractionFlag.TextSelectableByKeyboard
        )
        self.details = QPlainTextEdit(details)
        self.details.setReadOnly(True)
        self.details.setTabChangesFocus(True)
        self.details.setAccessibleName("Details for the report")
        self.put(said)
        self.put(self.details)
        self.copy = QPushButton("&Copy details")
        self.copy.setAutoDefault(False)
        self.copy.clicked.connect(lambda _checked=False: self._copy())
        self.buttons.addButton(self.copy, QDialogButtonBox.ButtonRole.ActionRole)
        close = self.buttons.button(QDialogButtonBox.StandardButton.Close)
        close.setText("&Go on working")
        close.setDefault(True)

    def add(self, details: str) -> None:
        """Add what failed meanwhile."""
        if self.details.blockCount() < 2000:
            self.details.appendPlainText(f"\n{details}")

    def _copy(self) -> None:
        QGuiApplication.clipboard().setText(self.details.toPlainText())


class CrashGuard(QObject):
    """Takes over what Python does with errors that nobody caught.

    Parameters
    ----------
    window : QWidget
    where : callable
        Says where the recovery copy is.
    """

    _happened = Signal(str)

    def __init__(self, window: QWidget, where: Callable[[], str]) -> None:
        super().__init__(window)
        self._window, self._where = window, where
        self.dialog: CrashDialog | None = None
        self._happened.connect(self._show, Qt.ConnectionType.QueuedConnection)
        self._before: tuple[Callable[..., object], Callable[..., object]] | None = None

    def install(self) -> None:
        """Take over."""
        self._before = (sys.excepthook, threading.excepthook)
        sys.excepthook = self._on_error
        threading.excepthook = self._on_thread_error

    def remove(self) -> None:
        """Give back."""
        if self._before is not None:
            sys.excepthook, threading.excepthook = self._before
            self._before = None

    def _on_error(
        self, kind: type[BaseException], error: BaseException, trace: TracebackType | None
    ) -> None:
        if issubclass(kind, KeyboardInterrupt):
            self._window.close()
            return
        self._tell("".join(traceback.format_exception(kind, error, trace)))

    def _on_thread_error(self, args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            self._tell("".join(traceback.format_exception(args.exc_value)))

    def _tell(self, text: str) -> None:
        sys.stderr.write(text)
        self._happened.emit(f"{text}\nPython {platform.python_version()}, {platform.platform()}")

    def _show(self, details: str) -> None:
        if self.dialog is not None:
            self.dialog.add(details)
            return
        self.dialog = CrashDialog(details, self._where(), self._window)
        self.dialog.finished.connect(self._forget)
        self.dialog.open()

    def _forget(self) -> None:
        self.dialog = None
