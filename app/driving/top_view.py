"""The vehicle's path from above, in metres, with equal scales.

This module imports pyqtgraph; import it late.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.colours import inks, pen
from app.driving.looks import NOW, REFERENCE, SAVED, Shown, key, line_pen
from app.driving.shapes import DeskRun
from app.driving.verdict import number
from app.plain import PlainLabel
from app.plots.canvas import Canvas, Line, Marks
from app.plots.frame import OneLine
from app.plots.legend import Entry, Legend
from app.plots.symbols import symbol
from calib_model.core.arrays import FloatArray

X, Y, HEADING = "x", "y", "heading"
"""Columns of a run: metres ahead and to the left of the start, degrees to the left."""
OVERHANG = 0.9
"""Metres by which the drawn outline stands out over the axles and the wheels' middle."""


def has_path(run: DeskRun) -> bool:
    """Tell whether a run says where the vehicle went."""
    return run.column(X) is not None and run.column(Y) is not None


def outline(x: float, y: float, heading: float, size: tuple[float, ...]) -> np.ndarray:
    """Return the outline of a vehicle with a nose, around its middle.

    Parameters
    ----------
    x, y : float
        In metres.
    heading : float
        In degrees, to the left.
    size : (wheelbase, track)
        In metres.

    Returns
    -------
    float array, shape (n, 2)
    """
    wheelbase, track = size if len(size) == 2 else (2.7, 1.6)
    ahead, side = wheelbase / 2 + OVERHANG, track / 2 + OVERHANG / 4
    corners = np.array(
        [
            (-ahead, -side), (ahead * 0.72, -side), (ahead, 0.0), (ahead * 0.72, side),
            (-ahead, side), (-ahead, -side),
        ]
    )  # fmt: skip
    cos, sin = np.cos(np.deg2rad(heading)), np.sin(np.deg2rad(heading))
    turned: FloatArray = corners @ np.array([[cos, sin], [-sin, cos]]) + (x, y)
    return turned


class TopView(QWidget):
    """Paths of desk runs from above, with the vehicles where the play head stands."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Path from above, in metres")
        self.setToolTip("The wheel zooms, the middle button moves the view, 0 shows everything.")
        self.read_out = OneLine()
        self.canvas = Canvas()
        self.canvas.box.setAspectLocked(True, ratio=1.0)
        self.canvas.bottom.set_text("Ahead at the start", "m")
        self.canvas.left.set_text("To the left", "m")
        self.legend = Legend()
        self._note = PlainLabel("This manoeuvre runs straight ahead: there is no path to look at.")
        self._note.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._note.setWordWrap(True)
        self._runs: list[Shown] = []
        self._head = 0.0
        self._paths = {part: self.canvas.add(Line(), z) for part, z in _DEPTH.items()}
        self._bodies = {part: self.canvas.add(Line(), z + 3) for part, z in _DEPTH.items()}
        self._start = self.canvas.add(Marks(symbol("box"), 9), 2)
        column = QVBoxLayout(self)
        column.setContentsMargins(4, 3, 4, 3)
        column.setSpacing(1)
        for widget, stretch in (
            (self.read_out, 0), (self._note, 1), (self.canvas, 1), (self.legend, 0),
        ):  # fmt: skip
            column.addWidget(widget, stretch)
        self._set_inks()
        self.show_runs((), planar=False)

    def show_runs(self, runs: Sequence[Shown], *, planar: bool) -> None:
        """Draw other runs.

        Parameters
        ----------
        runs : sequence of Shown
        planar : bool
            Whether the vehicle turns in them.
        """
        self._runs = [s for s in runs if has_path(s.run)] if planar else []
        drawn = bool(self._runs)
        for widget in (self.canvas, self.legend, self.read_out):
            widget.setVisible(drawn)
        self._note.setVisible(not drawn)
        nothing = np.empty(0)
        by_part = {s.part: s.run for s in self._runs}
        for part, line in self._paths.items():
            run = by_part.get(part)
            line.show(
                *((run.columns[X], run.columns[Y]) if run is not None else (nothing, nothing))
            )
        if drawn:
            first = self._runs[0].run
            self._start.show(first.columns[X][:1], first.columns[Y][:1])
            self._show_key()
            self.fit()
        self.set_head(self._head)

    def _show_key(self) -> None:
        ink = inks(self.palette())
        start = Entry("start", ink.line, mark="box")
        self.legend.show_entries([*key(self._runs, ink), start])

    def fit(self) -> None:
        """Show everything."""
        xs = np.concatenate([s.run.columns[X] for s in self._runs])
        ys = np.concatenate([s.run.columns[Y] for s in self._runs])
        good = np.isfinite(xs) & np.isfinite(ys)
        if not good.any():
            return
        pad = 4.0  # a vehicle's length
        self.canvas.show_range(
            (xs[good].min() - pad, xs[good].max() + pad),
            (ys[good].min() - pad, ys[good].max() + pad),
        )

    def set_head(self, seconds: float) -> None:
        """Put the vehicles where they are at a time."""
        self._head = seconds
        nothing = np.empty(0)
        by_part = {s.part: s for s in self._runs}
        texts = []
        for part, body in self._bodies.items():
            shown = by_part.get(part)
            if shown is None:
                body.show(nothing, nothing)
                continue
            run = shown.run
            at = run.tick_at(seconds)
            x, y = float(run.columns[X][at]), float(run.columns[Y][at])
            heading = run.column(HEADING)
            turned = float(heading[at]) if heading is not None else 0.0
            corners = outline(x, y, turned, _footprint(run))
            body.show(corners[:, 0].copy(), corners[:, 1].copy())
            texts.append(
                f"{shown.words}: {number(x, 'm')} ahead, {number(y, 'm')} to the left, "
                f"heading {number(turned, 'deg')}"
            )
        self.read_out.show_text(f"At {number(seconds, 's')}.  {'   '.join(texts)}")

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Show everything, or zoom."""
        match event.key():
            case Qt.Key.Key_0 if self._runs:
                self.fit()
            case Qt.Key.Key_Plus | Qt.Key.Key_Equal:
                self.canvas.box.scaleBy((0.7, 0.7))
            case Qt.Key.Key_Minus:
                self.canvas.box.scaleBy((1 / 0.7, 1 / 0.7))
            case _:
                super().keyPressEvent(event)

    def changeEvent(self, event: QEvent) -> None:
        """Follow palette and font."""
        super().changeEvent(event)
        if event.type() in (QEvent.Type.PaletteChange, QEvent.Type.FontChange):
            self._set_inks()

    def _set_inks(self) -> None:
        ink = inks(self.palette())
        self.canvas.set_inks(ink, self.font())
        for part in _DEPTH:
            self._paths[part].setPen(line_pen(0, part, ink))
            self._bodies[part].setPen(line_pen(0, part, ink))
        self._start.setPen(pen(ink.line, 1.5))
        self._start.setBrush(ink.ground)
        if self._runs:
            self._show_key()


def _footprint(run: DeskRun) -> tuple[float, ...]:
    vehicle = run.vehicle
    return () if vehicle is None else (vehicle.wheelbase, vehicle["track"])


_DEPTH = {NOW: 5, SAVED: 4, REFERENCE: 3}
