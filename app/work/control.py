"""What a piece of work reports to and asks, and how its failure is told.  No Qt here."""

from __future__ import annotations

import threading
from collections.abc import Callable

from calib_model.errors import BitepointError


class Cancelled(Exception):
    """The user gave the work up."""


class Control:
    """What running work may say and ask; safe to use from its thread.

    Parameters
    ----------
    report : callable, optional
        Called with a fraction (0 to 1, or -1 if unknown) and a text.
    """

    def __init__(self, report: Callable[[float, str], None] | None = None) -> None:
        self._report = report
        self._cancel = threading.Event()
        self._on_cancel: Callable[[], None] | None = None

    def progress(self, fraction: float, text: str = "") -> None:
        """Tell how far the work is; raises `Cancelled` if the user gave up."""
        self.check()
        if self._report is not None:
            self._report(fraction, text)

    @property
    def cancelled(self) -> bool:
        """Whether the user gave up."""
        return self._cancel.is_set()

    def check(self) -> None:
        """Raise `Cancelled` if the user gave up."""
        if self._cancel.is_set():
            raise Cancelled

    def cancel(self) -> None:
        """Ask the work to end at its next check."""
        self._cancel.set()
        stop = self._on_cancel
        if stop is not None:
            stop()

    def on_cancel(self, stop: Callable[[], None]) -> None:
        """Have `stop` called, from the window's thread, when the user gives up."""
        self._on_cancel = stop
        if self._cancel.is_set():
            stop()


class Unforeseen(BitepointError):
    """Work that ended as it should not; the crash dialog has the details."""

    def __init__(self, error: BaseException) -> None:
        said = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        super().__init__(f"This ended unexpectedly ({said}).", "Save your work, and try it again.")


def tell(error: BaseException, failed: Callable[[BitepointError], None] | None) -> None:
    """Tell whoever asked for work how it failed, and the crash dialog if nobody foresaw that.

    Parameters
    ----------
    error : BaseException
        What the work raised.
    failed : callable, optional
        Gets an error whose text a user can read, so that nothing goes on waiting.  Without one
        every error goes to the crash dialog.
    """
    foreseen = isinstance(error, BitepointError)
    if failed is not None:
        failed(error if isinstance(error, BitepointError) else Unforeseen(error))
    if failed is None or not foreseen:
        raise error
