"""The OpenGL widget: it draws through our own lens and hands the pointer on.

Importing this brings in pyqtgraph's OpenGL part (0.6 s): only when a surface is shown.
"""

from __future__ import annotations

from collections.abc import Callable

from OpenGL import GL
from pyqtgraph import opengl
from pyqtgraph.opengl import shaders
from pyqtgraph.opengl.items.GLLinePlotItem import GLLinePlotItem
from pyqtgraph.opengl.items.GLScatterPlotItem import GLScatterPlotItem
from PySide6.QtCore import QEvent, QPointF, QSize, Qt, Signal
from PySide6.QtGui import (
    QFont,
    QHelpEvent,
    QMatrix4x4,
    QMouseEvent,
    QOpenGLContextGroup,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QSurfaceFormat,
    QWheelEvent,
)
from PySide6.QtWidgets import QToolTip, QWidget

from app.colours import Inks
from app.plain import plain_tip
from app.plots.surface.camera import Camera, Lens, lens
from app.plots.surface.scene import CORNERS
from calib_model.core.arrays import FloatArray

SAMPLES = 4
"""Samples for each screen unit: smooth lines."""


class Overlay(QWidget):
    """What is painted over the surface: numbers, titles and marks."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAttribute(Qt.WidgetAttribute.WA_NoSystemBackground)
        self.paint: Callable[[QPainter], None] = lambda painter: None

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self.paint(painter)


class SurfaceCanvas(opengl.GLViewWidget):
    """A scene seen through a lens; pointer and wheel are passed on.

    Parameters
    ----------
    smooth : bool
        Take several samples for each screen unit.

    Signals
    -------
    pressed, moved, released : QMouseEvent
    hovered : QPointF
        The pointer moved with no button down.
    wheeled : float
        Steps of the wheel, positive away from the user.
    lens_changed
        Another size or another camera.
    """

    pressed = Signal(object)
    moved = Signal(object)
    released = Signal(object)
    hovered = Signal(QPointF)
    wheeled = Signal(float)
    lens_changed = Signal()

    _shared: QOpenGLContextGroup | None = None

    def __init__(self, parent: QWidget | None = None, *, smooth: bool = False) -> None:
        self.camera = Camera()
        self.margins = (0.0, 0.0, 0.0, 0.0)
        self.lens: Lens = lens(self.camera, CORNERS, 1.0, 1.0)
        self.tip_at: Callable[[QPointF], str] = lambda place: ""
        super().__init__(parent)
        wanted = QSurfaceFormat(QSurfaceFormat.defaultFormat())
        wanted.setSamples(SAMPLES if smooth else 0)
        wanted.setDepthBufferSize(24)
        self.setFormat(wanted)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setMouseTracking(True)
        self.setMinimumSize(120, 90)
        self.overlay = Overlay(self)
        self.frames = 0
        """How many times the scene was drawn."""

    def sizeHint(self) -> QSize:
        """A third of a small screen."""
        return QSize(420, 300)

    def set_inks(self, inks: Inks, font: QFont) -> None:
        """Take over colours and font."""
        self.setBackgroundColor(inks.ground)
        self.overlay.setFont(font)

    # -- the lens ------------------------------------------------------------------------------

    def set_camera(self, camera: Camera) -> None:
        """Look from somewhere else."""
        if camera != self.camera:
            self.camera = camera
            self.refit()

    def set_margins(self, margins: tuple[float, float, float, float]) -> None:
        """Keep other room free around the box: left, top, right, bottom."""
        if margins != self.margins:
            self.margins = margins
            self.refit()

    def refit(self) -> None:
        """Compute the lens again."""
        self.lens = lens(self.camera, CORNERS, self.width(), self.height(), self.margins)
        self.lens_changed.emit()
        self.redraw()

    def redraw(self) -> None:
        """Draw scene and overlay again, together."""
        self.update()
        self.overlay.update()

    def projectionMatrix(self, region: object, viewport: object) -> QMatrix4x4:
        """Return the lens's matrix, as pyqtgraph asks for it."""
        return _matrix(self.lens.projection)

    def viewMatrix(self) -> QMatrix4x4:
        """Return the lens's matrix, as pyqtgraph asks for it."""
        return _matrix(self.lens.view)

    # -- OpenGL --------------------------------------------------------------------------------

    def initializeGL(self) -> None:
        """Let go of what pyqtgraph compiled for a context that this one shares nothing with."""
        group = QOpenGLContextGroup.currentContextGroup()
        if group is not SurfaceCanvas._shared:
            SurfaceCanvas._shared = group
            GLLinePlotItem._shaderProgram = None
            GLScatterPlotItem._shaderProgram = None
            shaders.initShaders()
        super().initializeGL()

    def paintGL(self) -> None:
        """Draw the scene."""
        GL.glDepthMask(True)  # a veil, drawn last, leaves it off
        super().paintGL()
        self.frames += 1

    # -- events --------------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Fit again."""
        super().resizeEvent(event)
        self.overlay.setGeometry(self.rect())
        self.refit()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Pass it on."""
        self.pressed.emit(event)
        event.accept()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Treat the second press of a double click as a press."""
        self.mousePressEvent(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Pass it on."""
        if event.buttons() == Qt.MouseButton.NoButton:
            self.hovered.emit(event.position())
        else:
            self.moved.emit(event)
        event.accept()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Pass it on."""
        self.released.emit(event)
        event.accept()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Pass it on."""
        self.wheeled.emit(event.angleDelta().y() / 120.0)
        event.accept()

    def event(self, event: QEvent) -> bool:
        """Show a tip for the node under the pointer."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            text = self.tip_at(QPointF(event.pos()))
            if text:
                QToolTip.showText(event.globalPos(), plain_tip(text), self)
            else:
                QToolTip.hideText()
            return True
        return bool(super().event(event))


def _matrix(values: FloatArray) -> QMatrix4x4:
    return QMatrix4x4(values.ravel().tolist())
