"""Tries remedies out beside the window: on a large table that takes longer than a key stroke."""

from __future__ import annotations

import threading

from PySide6.QtCore import QCoreApplication, QObject, Signal

from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.remedies import Remedy, remedies_for
from calib_model.rules.check import Finding


class _Carrier(QObject):
    """Takes an answer from the thread to the window."""

    answered = Signal(int, object, object)
    wanted = 0


class RemedyFinder(QObject):
    """Finds the remedies of one finding at a time; only the last question is answered.

    Signals
    -------
    found : Finding, tuple of Remedy
    """

    found = Signal(object, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._asked = 0
        self._thread: threading.Thread | None = None
        # Outlives this widget's part of the window while a thread still holds it.
        self._carrier = _Carrier()
        self._carrier.answered.connect(self._take)

    def ask(
        self, content: CalibrationSet, finding: Finding, base: CalibrationSet | None = None
    ) -> None:
        """Start to find the remedies of a finding in a set."""
        self._asked += 1
        number, carrier, before = self._asked, self._carrier, self._thread

        def work() -> None:
            if before is not None:
                before.join()  # one at a time: two would only slow each other down
            if number == carrier.wanted:
                carrier.answered.emit(number, finding, _remedies(content, finding, base))

        carrier.wanted = number
        self._thread = threading.Thread(target=work, name="remedies", daemon=True)
        self._thread.start()

    def forget(self) -> None:
        """Drop the question that is open."""
        self._asked += 1
        self._carrier.wanted = self._asked

    def wait(self) -> None:
        """Wait until the open question is answered, and show the answer."""
        if self._thread is not None:
            self._thread.join()
            QCoreApplication.sendPostedEvents(self, 0)

    def _take(self, number: int, finding: Finding, remedies: tuple[Remedy, ...]) -> None:
        if number == self._asked:
            self.found.emit(finding, remedies)


def _remedies(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> tuple[Remedy, ...]:
    try:
        return remedies_for(content, finding, base)
    except BitepointError:
        return ()  # the set changed in a way that leaves the finding without its table
