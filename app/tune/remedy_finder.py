"""Tries remedies out beside the window: on a large table that takes longer than a key stroke."""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal

from app.work.latest import Latest
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.remedies import Remedy, remedies_for
from calib_model.rules.check import Finding


class RemedyFinder(QObject):
    """Finds the remedies of one finding at a time; only the last question is answered.

    Signals
    -------
    found : Finding, tuple of Remedy
    """

    found = Signal(object, object)

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._finding: Finding | None = None
        self._latest = Latest(self, self._take, lambda _error: self._take(()))
        self.forget, self.wait = self._latest.forget, self._latest.wait

    def ask(
        self, content: CalibrationSet, finding: Finding, base: CalibrationSet | None = None
    ) -> None:
        """Start to find the remedies of a finding in a set."""
        self._finding = finding
        self._latest.ask(lambda: _remedies(content, finding, base))

    def _take(self, remedies: tuple[Remedy, ...]) -> None:
        self.found.emit(self._finding, remedies)


def _remedies(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> tuple[Remedy, ...]:
    try:
        return remedies_for(content, finding, base)
    except BitepointError:
        return ()  # the set changed in a way that leaves the finding without its table
