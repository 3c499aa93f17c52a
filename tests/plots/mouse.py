"""Real mouse events for a plot: QTest's moves do not say reliably which button is down."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent, QWheelEvent
from PySide6.QtWidgets import QApplication

from app.plots.canvas import Canvas

NONE = Qt.KeyboardModifier.NoModifier
LEFT = Qt.MouseButton.LeftButton


def send(
    canvas: Canvas,
    kind: QEvent.Type,
    at: QPointF,
    modifiers: Qt.KeyboardModifier = NONE,
    button: Qt.MouseButton = LEFT,
) -> None:
    """Send one event at a place of the canvas's viewport."""
    viewport = canvas.viewport()
    moves = kind == QEvent.Type.MouseMove
    released = kind == QEvent.Type.MouseButtonRelease
    event = QMouseEvent(
        kind,
        at,
        QPointF(viewport.mapToGlobal(at.toPoint())),
        Qt.MouseButton.NoButton if moves else button,
        Qt.MouseButton.NoButton if released else button,
        modifiers,
    )
    QApplication.sendEvent(viewport, event)


def press(canvas: Canvas, at: QPointF, modifiers: Qt.KeyboardModifier = NONE) -> None:
    """Press the left button."""
    send(canvas, QEvent.Type.MouseButtonPress, at, modifiers)


def move(canvas: Canvas, at: QPointF, modifiers: Qt.KeyboardModifier = NONE) -> None:
    """Move with the left button down."""
    send(canvas, QEvent.Type.MouseMove, at, modifiers)


def release(canvas: Canvas, at: QPointF, modifiers: Qt.KeyboardModifier = NONE) -> None:
    """Release the left button."""
    send(canvas, QEvent.Type.MouseButtonRelease, at, modifiers)


def click(canvas: Canvas, at: QPointF, modifiers: Qt.KeyboardModifier = NONE) -> None:
    """Press and release."""
    press(canvas, at, modifiers)
    release(canvas, at, modifiers)


def drag(
    canvas: Canvas,
    start: QPointF,
    end: QPointF,
    modifiers: Qt.KeyboardModifier = NONE,
    steps: int = 5,
) -> None:
    """Press, move in steps and release."""
    press(canvas, start, modifiers)
    for i in range(1, steps + 1):
        move(canvas, start + (end - start) * (i / steps), modifiers)
    release(canvas, end, modifiers)


def wheel(canvas: Canvas, notches: int, across: float = 0.5) -> None:
    """Turn the wheel at a share of the width, half way up; positive brings nearer."""
    viewport = canvas.viewport()
    at = QPointF(viewport.width() * across, viewport.height() / 2)
    event = QWheelEvent(
        at,
        QPointF(viewport.mapToGlobal(at.toPoint())),
        QPoint(),
        QPoint(0, 120 * notches),
        Qt.MouseButton.NoButton,
        NONE,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(viewport, event)
