"""Widgets that leave the mouse wheel alone.

A scroll over a choice or a number must never change it: here that is a safety matter.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QComboBox, QDoubleSpinBox, QSlider

from calib_model.foreign_text import plain_line


class QuietCombo(QComboBox):
    """A combo box that hands the wheel to whoever scrolls, and shows foreign names as they are."""

    def addItem(self, *given: Any, **named: Any) -> None:
        """Add a choice; what does not show, or steers what shows, is spelt out."""
        place = 0 if isinstance(given[0], str) else 1  # an icon may come before the text
        texts = list(given)
        texts[place] = plain_line(texts[place])
        super().addItem(*texts, **named)

    def addItems(self, texts: Sequence[str]) -> None:
        """Add choices."""
        super().addItems([plain_line(text) for text in texts])

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
