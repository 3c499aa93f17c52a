"""Work beside the window: only the last question is answered, and the window never waits."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable

from PySide6.QtCore import QCoreApplication, QObject, Signal


class _Carrier(QObject):
    """Takes an answer from the thread to the window."""

    answered = Signal(int, object)
    wanted = 0


class _Failure:
    def __init__(self, error: Exception) -> None:
        self.error = error


class Beside(QObject):
    """Runs one function at a time in a thread.

    Signals
    -------
    answered : object
        What the function returned; not for a question that another one replaced.
    failed : Exception
        What it raised, though it should not; the error then goes to the crash dialog.
    """

    answered = Signal(object)
    failed = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._asked = 0
        self._thread: threading.Thread | None = None
        # Outlives this part of the window while a thread still holds it.
        self._carrier = _Carrier()
        self._carrier.answered.connect(self._take)

    def ask(self, work: Callable[[], object]) -> None:
        """Start to work on a question; `work` must touch no widget, and tell what it expects."""
        self._asked += 1
        number, carrier, before = self._asked, self._carrier, self._thread

        def run() -> None:
            if before is not None:
                before.join()  # one at a time: two would only slow each other down
            if number == carrier.wanted:
                try:
                    answer = work()
                except Exception as error:  # unforeseen: the window's thread has to hear of it
                    answer = _Failure(error)
                with contextlib.suppress(RuntimeError):  # the program ended meanwhile
                    carrier.answered.emit(number, answer)

        carrier.wanted = number
        self._thread = threading.Thread(target=run, name="beside", daemon=True)
        self._thread.start()

    def forget(self) -> None:
        """Drop the question that is open."""
        self._asked += 1
        self._carrier.wanted = self._asked

    @property
    def busy(self) -> bool:
        """Whether a question is being worked on."""
        return self._thread is not None and self._thread.is_alive()

    def wait(self) -> None:
        """Wait until the open question is answered, and hand the answer on."""
        if self._thread is not None:
            self._thread.join()
            QCoreApplication.sendPostedEvents(self, 0)

    def _take(self, number: int, answer: object) -> None:
        if number != self._asked:
            return
        if isinstance(answer, _Failure):
            self.failed.emit(answer.error)
            raise answer.error
        self.answered.emit(answer)
