"""A surface in a real window, and the hand that points, drags and looks at its pixels."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.desk import Desk
from app.plots.surface.view import SurfaceView
from tests.waiting import drained, put_off

LEFT = Qt.MouseButton.LeftButton
NONE = Qt.KeyboardModifier.NoModifier


def shown(desk: Desk, qtbot: QtBot, **about: object) -> SurfaceView:
    made = SurfaceView(desk, **about)  # type: ignore[arg-type]
    qtbot.addWidget(made)
    made.resize(760, 460)
    made.show()
    qtbot.waitExposed(made)
    qtbot.waitUntil(lambda: made.canvas is not None and made.canvas.frames > 0, timeout=25000)
    made.setFocus()
    settle(made)
    return made


def settle(view: SurfaceView) -> None:
    view.refresh()
    rested(view)


def rested(view: SurfaceView) -> None:
    """Wait until the view has painted what it put off; the test's time limit ends it else."""
    drained()
    while put_off(view):
        QTest.qWait(2)
    drained()


def grabbed(view: SurfaceView) -> np.ndarray:
    """The scene without the overlay, shape (height, width, 3)."""
    assert view.canvas is not None
    settle(view)
    return pixels(view.canvas.grabFramebuffer())


def pixels(image: QImage) -> np.ndarray:
    image = image.convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1)
    return rows[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).astype(int)


def place(view: SurfaceView, cell: tuple[int, ...]) -> QPoint:
    node = view.sheets[0].sheet.nodes(view.frame)[cell[:2]]
    x, y, _ = view.lens.project(node)
    return QPoint(round(x), round(y))


def press(view: SurfaceView, at: QPoint, modifiers: Qt.KeyboardModifier = NONE) -> None:
    QTest.mousePress(view.canvas, LEFT, modifiers, at)


def drag(view: SurfaceView, at: QPoint, by: int, *, steps: int = 6, right: int = 0) -> QPoint:
    """Press, move in steps; the button stays down."""
    press(view, at)
    for i in range(1, steps + 1):
        move(view, at + QPoint(right * i // steps, by * i // steps))
    return at + QPoint(right, by)


def move(view: SurfaceView, at: QPoint, modifiers: Qt.KeyboardModifier = NONE) -> None:
    from PySide6.QtCore import QEvent
    from PySide6.QtGui import QMouseEvent

    assert view.canvas is not None
    event = QMouseEvent(
        QEvent.Type.MouseMove,
        QPointF(at),
        view.canvas.mapToGlobal(QPointF(at)),
        Qt.MouseButton.NoButton,
        LEFT,
        modifiers,
    )
    QApplication.sendEvent(view.canvas, event)
    settle(view)


def let_go(view: SurfaceView, at: QPoint) -> None:
    QTest.mouseRelease(view.canvas, LEFT, NONE, at)
    settle(view)
