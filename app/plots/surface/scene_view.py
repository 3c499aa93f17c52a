"""The scene of a plot in space: what stands in it, and from where it is seen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from PySide6.QtCore import Signal
from PySide6.QtGui import QGuiApplication, QImage
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app.desk import Desk
from app.plots import words
from app.plots.colour_bar import ColourBar
from app.plots.surface.bar import Bar
from app.plots.surface.base import LayeredView
from app.plots.surface.camera import Camera, Lens, Look
from app.plots.surface.layers import LayerLike, Placed
from app.plots.surface.picture import composed
from app.plots.surface.scene import Frame
from app.plots.surface.stage import Stage
from app.plots.view import Part

if TYPE_CHECKING:
    from app.plots.surface.canvas import SurfaceCanvas


class SceneView(LayeredView):
    """A plot in space without what is drawn in it, as pointer, keys and marks need it.

    Parameters
    ----------
    desk : Desk
    layers : iterable of layers, optional
        Tables to show in place of the one in work; they are not edited here.

    Signals
    -------
    camera_changed
        The scene is looked at from somewhere else.
    """

    camera_changed = Signal()

    canvas: SurfaceCanvas | None

    def __init__(
        self,
        desk: Desk,
        parent: QWidget | None = None,
        layers: Iterable[LayerLike] | None = None,
    ) -> None:
        super().__init__(desk, parent, layers)
        self.camera = Camera()
        self.stage = Stage()
        self.colours = ColourBar(self)
        self.colours.hide()
        self.bar = Bar(self)
        self.bar.hide()
        self.bar.asked.connect(self.look)
        self.bar.perspective.connect(self.set_perspective)

    def page_of(self, canvas: QWidget) -> QWidget:
        """Stand the buttons above the canvas and the colours beside it."""
        page = QWidget(self)
        column = QVBoxLayout(page)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(1)
        column.addWidget(self.bar)
        self._plot = QWidget(page)
        row = QHBoxLayout(self._plot)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(2)
        row.addWidget(canvas, 1)
        row.addWidget(self.colours)
        column.addWidget(self._plot, 1)
        self.bar.show()
        self.colours.show()
        return page

    def look(self, look: Look) -> None:
        """Look from a standard side."""
        self.set_camera(self.camera.looking(look))

    def set_perspective(self, on: bool) -> None:
        """Draw far parts smaller, or all to one scale (orthographic)."""
        self.set_camera(replace(self.camera, perspective=on))

    def set_camera(self, camera: Camera) -> None:
        """Look from somewhere else."""
        if camera == self.camera:
            return
        self.camera = camera
        self.bar.lines.setChecked(camera.perspective)
        if self.canvas is not None:
            self.canvas.set_camera(camera)
        self.camera_changed.emit()

    def fit(self) -> None:
        """Show everything: no zoom, no shift, all values inside the box."""
        self.set_camera(replace(self.camera, zoom=1.0, pan=(0.0, 0.0)))
        self.settle(widen_only=False)

    def picture(self) -> QImage:
        """Return the plot as an image: what is drawn, under a line that says what it is."""
        primary = self._first()
        if primary is None or self.canvas is None or self.pages.currentWidget() != self._drawn:
            return QImage()
        self.refresh()
        where = words.further_place(primary, self.cell)
        title = " ".join(filter(None, (words.value_title(primary), where)))
        return composed(title, self._plot, self.legend if self.legend.entries else None)

    def copy_picture(self) -> bool:
        """Put the plot on the clipboard as an image; False, and told, if none is drawn."""
        image = self.picture()
        if image.isNull():
            self.desk.tell("There is no surface to copy.", refused=True)
            return False
        QGuiApplication.clipboard().setImage(image)
        self.desk.tell("The picture of the surface is on the clipboard.")
        return True

    @property
    def sheets(self) -> list[Placed]:
        """What is drawn; the first one is picked and edited."""
        return self.stage.sheets

    @property
    def frame(self) -> Frame:
        """What fills the box."""
        return self.stage.frame

    @property
    def current(self) -> bool:
        """Whether what is drawn is what there is: not so between an edit and the repaint."""
        return bool(self.sheets) and self.sheets[0].layer.table is self._first()

    @property
    def lens(self) -> Lens:
        """What the scene is seen through."""
        assert self.canvas is not None
        return self.canvas.lens

    def settle(self, *, widen_only: bool = True) -> None:
        """Let the box follow the values again, after a drag or when asked to."""
        if not widen_only:
            self.stage.fit()
        self.mark(Part.VALUES)
