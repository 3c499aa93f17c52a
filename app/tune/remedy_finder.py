"""Tries remedies out beside the window: on a large table that takes longer than a key stroke."""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal

from app.beside import Beside
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

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._beside = Beside(self)
        self._beside.answered.connect(lambda answer: self.found.emit(*answer))
        self.forget, self.wait = self._beside.forget, self._beside.wait

    def ask(
        self, content: CalibrationSet, finding: Finding, base: CalibrationSet | None = None
    ) -> None:
        """Start to find the remedies of a finding in a set."""
        self._beside.ask(lambda: (finding, _remedies(content, finding, base)))


def _remedies(
    content: CalibrationSet, finding: Finding, base: CalibrationSet | None
) -> tuple[Remedy, ...]:
    try:
        return remedies_for(content, finding, base)
    except BitepointError:
        return ()  # the set changed in a way that leaves the finding without its table
