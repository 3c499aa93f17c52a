"""What stands in the scene, as OpenGL items."""

from __future__ import annotations

import numpy as np
from OpenGL import GL
from pyqtgraph import opengl
from PySide6.QtGui import QColor

from app.colours import Inks, Rgb, colours_of, difference_map, rgba, value_map, wants_dark_text
from app.plots.surface.canvas import SurfaceCanvas
from app.plots.surface.layers import Placed, Style
from app.plots.surface.scene import HALF, Frame, Indices, Sheet, dashed, mesh, middles, wires
from calib_model.core.arrays import BoolArray, FloatArray

_LINES = {
    GL.GL_DEPTH_TEST: True,
    GL.GL_BLEND: True,
    GL.GL_CULL_FACE: False,
    GL.GL_POLYGON_OFFSET_FILL: False,
    "glDepthFunc": (GL.GL_LEQUAL,),
    "glDepthMask": (True,),
    "glDepthRange": (0.0, 1.0),
    "glBlendFuncSeparate": (
        GL.GL_SRC_ALPHA,
        GL.GL_ONE_MINUS_SRC_ALPHA,
        GL.GL_ONE,
        GL.GL_ONE_MINUS_SRC_ALPHA,
    ),
}
# Faces stand back by a little, so that lines along their edges are seen whole.
_FACES = {**_LINES, GL.GL_POLYGON_OFFSET_FILL: True, "glPolygonOffset": (1.0, 2.0)}
# Marks come forward, by about half a dot and half a line, or they would sink into the surface.
_DOTS = {**_LINES, "glDepthRange": (0.0, 0.97)}
_CROSS = {**_LINES, "glDepthRange": (0.0, 0.995)}
_VEIL = {**_FACES, "glDepthMask": (False,)}
_VEIL_LINES = {**_LINES, "glDepthMask": (False,)}
_VEIL_ALPHA = 0.3
_DASH = {Style.DASHED: (0.05, 0.035), Style.DOTTED: (0.012, 0.022)}


class Lines:
    """Separate strokes."""

    def __init__(
        self,
        canvas: SurfaceCanvas,
        depth: int,
        width: float,
        options: dict[object, object] = _LINES,
    ):
        self._canvas = canvas
        self._width = width
        self.item = opengl.GLLinePlotItem(pos=np.zeros((2, 3)), mode="lines", glOptions=options)
        self.item.setDepthValue(depth)
        self.item.setVisible(False)
        canvas.addItem(self.item)

    def show(self, segments: FloatArray, colour: FloatArray) -> None:
        """Draw other strokes.

        Parameters
        ----------
        segments : float array, shape (k, 2, 3)
        colour : float array, shape (4,) or (k, 2, 4)
        """
        self.item.setVisible(bool(segments.size))
        if segments.size:
            each = np.broadcast_to(colour, (*segments.shape[:2], 4)).reshape(-1, 4)
            width = self._width * self._canvas.devicePixelRatioF()
            self.item.setData(pos=segments.reshape(-1, 3), color=np.array(each), width=width)


class Faces:
    """A surface."""

    def __init__(self, canvas: SurfaceCanvas, depth: int, *, veil: bool = False):
        self.item = opengl.GLMeshItem(
            computeNormals=False, smooth=True, glOptions=_VEIL if veil else _FACES
        )
        self.item.setDepthValue(depth)
        self.item.setVisible(False)
        canvas.addItem(self.item)

    def show(self, vertices: FloatArray, faces: Indices, colours: FloatArray) -> None:
        """Draw another surface.

        Parameters
        ----------
        vertices : float array, shape (n, 3)
        faces : uint32 array, shape (k, 3)
        colours : float array, shape (n, 4)
        """
        self.item.setVisible(bool(faces.size))
        if faces.size:
            self.item.setMeshData(
                vertexes=np.nan_to_num(vertices).astype(np.float32),
                faces=faces,
                vertexColors=np.ascontiguousarray(colours, dtype=np.float32),
            )


class Dots:
    """Round marks at nodes, hidden by what is before them."""

    def __init__(self, canvas: SurfaceCanvas, depth: int, size: float):
        self._canvas, self._size = canvas, size
        self.item = opengl.GLScatterPlotItem(pos=np.zeros((1, 3)), glOptions=_DOTS, pxMode=True)
        self.item.setDepthValue(depth)
        self.item.setVisible(False)
        canvas.addItem(self.item)

    def show(self, points: FloatArray, colour: QColor) -> None:
        """Draw other marks."""
        self.item.setVisible(bool(points.size))
        if points.size:
            size = self._size * self._canvas.devicePixelRatioF()
            self.item.setData(pos=points, color=colour.getRgbF(), size=size)


class SurfaceItems:
    """Everything in the scene."""

    def __init__(self, canvas: SurfaceCanvas) -> None:
        self.canvas = canvas
        self.box = Lines(canvas, 0, 1.0)
        self.solid = [Faces(canvas, 1), Faces(canvas, 1)]
        self.wires = [Lines(canvas, 2, 1.0), Lines(canvas, 2, 1.0)]
        self.zero = Faces(canvas, 7, veil=True)
        self.zero_rim = Lines(canvas, 2, 2.0)
        self.cross_rim = Lines(canvas, 3, 5.0, _CROSS)
        self.cross = Lines(canvas, 4, 2.6, _CROSS)
        self.drop = Lines(canvas, 4, 1.5, _CROSS)
        self.chosen_rim = Dots(canvas, 5, 11.0)
        self.chosen = Dots(canvas, 6, 7.5)
        self.veils = [Faces(canvas, 8, veil=True), Faces(canvas, 8, veil=True)]
        self.veil_wires = [Lines(canvas, 9, 1.6, _VEIL_LINES), Lines(canvas, 9, 2.2, _VEIL_LINES)]

    def layers(
        self, sheets: list[Placed], frame: Frame, inks: Inks, span: tuple[float, float]
    ) -> None:
        """Draw the surfaces.

        Parameters
        ----------
        sheets : list of Placed
        frame : Frame
        inks : Inks
        span : tuple of two floats
            Values at the ends of the colours.
        """
        solid = [p for p in sheets if p.layer.style in (Style.SOLID, Style.DIFFERENCE)]
        veils = [p for p in sheets if p.layer.style in (Style.DASHED, Style.DOTTED)]
        for number, (faces, lines) in enumerate(zip(self.solid, self.wires, strict=True)):
            if number < len(solid):
                ramp = ramp_of(solid[number].layer.style, dark=inks.dark)
                self._solid(faces, lines, solid[number], frame, ramp, span)
            else:
                _nothing(faces, lines)
        for number, (faces, lines) in enumerate(zip(self.veils, self.veil_wires, strict=True)):
            if number < len(veils):
                self._veil(faces, lines, veils[number], frame, inks)
            else:
                _nothing(faces, lines)
        self._level(any(p.layer.style is Style.DIFFERENCE for p in sheets), frame, inks)

    def _solid(
        self,
        faces: Faces,
        lines: Lines,
        shown: Placed,
        frame: Frame,
        ramp: Rgb,
        span: tuple[float, float],
    ) -> None:
        sheet = shown.sheet
        points = sheet.drawn(frame)
        values = _drawn_values(sheet)
        vertices, triangles = mesh(points, shown.cells)
        every = np.concatenate([values.reshape(-1), middles(values).reshape(-1)])
        rgb = colours_of(every, *span, ramp)
        faces.show(vertices, triangles, _with_alpha(rgb / 255.0, 1.0))
        pairs = wires(values.shape, np.isfinite(values))
        # Wires lean towards what reads well on the colour they lie on.
        own = rgb[: values.size]
        goal = np.where(wants_dark_text(own)[:, None], 0.0, 1.0)
        ink = _with_alpha(own / 255.0 * 0.5 + goal * 0.5, 1.0)
        lines.show(points.reshape(-1, 3)[pairs], ink[pairs])

    def _veil(self, faces: Faces, lines: Lines, shown: Placed, frame: Frame, inks: Inks) -> None:
        sheet = shown.sheet
        points = sheet.drawn(frame)
        vertices, triangles = mesh(points, shown.cells)
        colour = rgba(inks.quiet, _VEIL_ALPHA)
        faces.show(vertices, triangles, np.broadcast_to(colour, (len(vertices), 4)))
        good = np.isfinite(points[..., 2])
        if shown.cells is not None:
            good &= _corners(shown.cells)
        pairs = wires(points.shape[:2], good)
        strokes = dashed(points.reshape(-1, 3)[pairs].astype(float), *_DASH[shown.layer.style])
        lines.show(strokes, rgba(inks.line, 0.85))

    def _level(self, wanted: bool, frame: Frame, inks: Inks) -> None:
        if not wanted:
            _nothing(self.zero, self.zero_rim)
            return
        a, b, z = HALF[0], HALF[1], float(frame.z(np.zeros(1))[0])
        corners = np.array([[-a, -b, z], [a, -b, z], [a, b, z], [-a, b, z]])
        faces = np.array([[0, 1, 2], [0, 2, 3]], dtype=np.uint32)
        self.zero.show(corners, faces, np.tile(rgba(inks.quiet, 0.18), (4, 1)))
        rim = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
        self.zero_rim.show(rim, rgba(inks.quiet, 1.0))

    def cursor(self, sheet: Sheet, frame: Frame, row: int, column: int, inks: Inks) -> None:
        """Draw the lines that cross at a node, and the way from it down to the floor."""
        points = sheet.drawn(frame)
        i, j = sheet.drawn_index(row, column)
        lines = np.concatenate([_strokes(points[i]), _strokes(points[:, j])])
        self.cross_rim.show(lines, rgba(inks.ground, 1.0))
        self.cross.show(lines, rgba(inks.accent, 1.0))
        node = points[i, j]
        if np.isfinite(node[2]):
            foot = np.array([node[0], node[1], -HALF[2]])
            self.drop.show(np.stack([node, foot])[None], rgba(inks.accent, 1.0))
        else:
            self.drop.show(np.zeros((0, 2, 3)), rgba(inks.accent, 1.0))

    def selection(self, nodes: FloatArray, chosen: BoolArray, inks: Inks) -> None:
        """Mark the selected nodes."""
        points = nodes[chosen]
        self.chosen_rim.show(points, inks.ground)
        self.chosen.show(points, inks.accent)


def ramp_of(style: Style, *, dark: bool) -> Rgb:
    """Return the colours for a style."""
    return difference_map(dark=dark) if style is Style.DIFFERENCE else value_map(dark=dark)


def _nothing(faces: Faces, lines: Lines) -> None:
    faces.item.setVisible(False)
    lines.item.setVisible(False)


def _drawn_values(sheet: Sheet) -> FloatArray:
    """Return the values at the drawn points."""
    values = sheet.values
    if sheet.step_columns:
        values = np.repeat(values, 2, axis=1)[:, :-1]
    if sheet.step_rows:
        values = np.repeat(values, 2, axis=0)[:-1]
    return values


def _corners(cells: BoolArray) -> BoolArray:
    """Return the points that are corners of wanted cells."""
    padded = np.pad(cells, 1)
    return padded[:-1, :-1] | padded[:-1, 1:] | padded[1:, 1:] | padded[1:, :-1]


def _strokes(points: FloatArray) -> FloatArray:
    pairs = np.stack([points[:-1], points[1:]], axis=1)
    return pairs[np.isfinite(pairs).all(axis=(1, 2))]


def _with_alpha(rgb: FloatArray, alpha: float) -> FloatArray:
    return np.concatenate([rgb, np.full((*rgb.shape[:-1], 1), alpha)], axis=-1)
