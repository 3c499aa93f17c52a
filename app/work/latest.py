"""Work of which only the last question is answered; the window never waits for it."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QCoreApplication, QObject, Signal

from calib_model.errors import BitepointError

from .control import tell

END_S = 2.0
"""That long the end of the window waits for a question that is being worked on."""


class _Carrier(QObject):
    """Takes an answer from the thread to the window."""

    answered = Signal(int, object, object)
    wanted = 0


class Latest(QObject):
    """Runs one function at a time in a thread.

    Parameters
    ----------
    parent : QObject
    answered : callable
        Called in the window's thread with what the function returned; not for a question that
        another one replaced.
    failed : callable
        Called with what it raised, in words; see `control.tell`.
    stop : callable, optional
        Ends what the function may be waiting for, such as a process.
    """

    def __init__(
        self,
        parent: QObject,
        answered: Callable[[Any], None],
        failed: Callable[[BitepointError], None],
        stop: Callable[[], None] | None = None,
    ) -> None:
        super().__init__(parent)
        self._answered, self._failed, self._stop = answered, failed, stop
        self._asked = 0
        self._thread: threading.Thread | None = None
        # Outlives this part of the window while a thread still holds it.
        self._carrier = _Carrier()
        self._carrier.answered.connect(self._take)
        if stop is not None:
            self.destroyed.connect(stop)

    def ask(self, work: Callable[[], object]) -> None:
        """Start to work on a question; `work` must touch no widget, and tell what it expects."""
        self._asked += 1
        number, carrier, before = self._asked, self._carrier, self._thread

        def run() -> None:
            if before is not None:
                before.join()  # one at a time: two would only slow each other down
            if number == carrier.wanted:
                answer, error = None, None
                try:
                    answer = work()
                except BaseException as caught:  # told in the window's thread
                    error = caught
                with contextlib.suppress(RuntimeError):  # the program ended meanwhile
                    carrier.answered.emit(number, answer, error)

        carrier.wanted = number
        self._thread = threading.Thread(target=run, name="latest question", daemon=True)
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

    def end(self) -> None:
        """Drop the open question, stop what it waits for and let its thread end."""
        self.forget()
        if self._stop is not None:
            self._stop()
        if self._thread is not None:
            self._thread.join(END_S)

    def _take(self, number: int, answer: object, error: BaseException | None) -> None:
        if number != self._asked:
            return
        if error is not None:
            tell(error, self._failed)
        else:
            self._answered(answer)
