"""The grid larger and smaller: Ctrl with the wheel, or keys."""

from __future__ import annotations

from PySide6.QtGui import QFont
from PySide6.QtWidgets import QApplication, QWidget

STEPS = (0.7, 0.8, 0.9, 1.0, 1.15, 1.3, 1.5, 1.75, 2.0)
"""Size of the type against that of the window."""
PLAIN = STEPS.index(1.0)


def zoomed(step: int) -> int:
    """Return a step within what there is."""
    return min(max(step, 0), len(STEPS) - 1)


def font_at(step: int) -> QFont:
    """Return the window's font at a step."""
    font = QFont(QApplication.font())
    font.setPointSizeF(font.pointSizeF() * STEPS[zoomed(step)])
    return font


def use(widget: QWidget, step: int) -> None:
    """Give a widget the font of a step; at the plain one it follows the window by itself."""
    widget.setFont(QFont() if step == PLAIN else font_at(step))
