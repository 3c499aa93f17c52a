"""Widgets that leave the mouse wheel alone.

A scroll over a choice or a number must never change it: here that is a safety matter.
"""

from __future__ import annotations

from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QComboBox, QDoubleSpinBox, QSlider


class QuietCombo(QComboBox):
    """A combo box that hands the wheel to whoever scrolls."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Let whoever scrolls have the wheel."""
        event.ignore()


class QuietSpin(QDoubleSpinBox):
    """A spin box that hands the wheel to whoever scrolls."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Let whoever scrolls have the wheel."""
        event.ignore()


class QuietSlider(QSlider):
    """A slider that hands the wheel to whoever scrolls."""

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Let whoever scrolls have the wheel."""
        event.ignore()
