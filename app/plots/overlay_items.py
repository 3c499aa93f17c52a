"""Marks of cells and the trail of the operating point, drawn over a plot."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtGui import QColor

from app.cell_marks import CellMarks
from app.colours import Inks, pen
from app.plots.legend import Entry
from app.plots.symbols import symbol
from calib_model.core.arrays import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    from app.plots.canvas import Canvas

SIZES = np.array([0.0, 4.0, 6.5, 9.0, 12.0])
"""Of a mark, in screen units, by level."""
_LEAST = 3.0
_KINDS = ("half", "box", "beyond")
_GROUNDS = (QColor("black"), QColor("white"))


class OverlayItems:
    """Cell marks and a trail of one canvas."""

    def __init__(self, canvas: Canvas) -> None:
        from app.plots.canvas import Line, Marks

        self.marks = {
            kind: tuple(canvas.add(Marks(symbol(kind), 8), 4) for _ in _GROUNDS) for kind in _KINDS
        }
        self.way_halo = canvas.add(Line("finite"), 12)
        self.way = canvas.add(Line("finite"), 13)
        self.head_halo = canvas.add(Marks(symbol("head"), 16), 14)
        self.head = canvas.add(Marks(symbol("head"), 16), 15)
        self.head_beyond = canvas.add(Marks(symbol("empty"), 12), 15)

    def set_inks(self, inks: Inks) -> None:
        """Take over colours."""
        for kind, pair in self.marks.items():
            for item, colour in zip(pair, _GROUNDS, strict=True):
                item.setPen(pen(colour, 1.4))
                item.setBrush(None if kind == "half" else colour)
        self.way_halo.setPen(pen(inks.ground, 5.0))
        self.way.setPen(pen(inks.accent, 2.0))
        self.head_halo.setPen(pen(inks.ground, 5.0))
        self.head.setPen(pen(inks.accent, 2.2))
        self.head_beyond.setPen(pen(inks.accent, 2.2))
        for item in (self.head_halo, self.head):
            item.setBrush(None)

    def show_marks(
        self,
        x: FloatArray,
        y: FloatArray,
        levels: IntArray,
        full: BoolArray,
        beyond: BoolArray,
        light: BoolArray,
        room: FloatArray,
        shift: FloatArray,
    ) -> None:
        """Draw cell marks; all arrays have one shape.

        Parameters
        ----------
        x, y : float arrays
            Middles of the marks.
        levels : int array
            0 for none to 4.
        full, beyond : bool arrays
        light : bool array
            Where the ground is light.
        room : float array
            Screen units that a mark may take.
        shift : float array
            How far right of its mark the arrow head stands, in the plot's coordinates.
        """
        size = np.minimum(SIZES[levels], room)
        size = np.where((levels > 0) & (room >= _LEAST), np.maximum(size, _LEAST), 0.0)
        for on_light in (True, False):
            ground = (light == on_light) & (size > 0)
            for kind, where in (("half", ~full), ("box", full)):
                _sized(self.marks[kind][0 if on_light else 1], x, y, size, ground & where)
            arrow = self.marks["beyond"][0 if on_light else 1]
            _sized(arrow, x + shift, y, np.minimum(room, 7.0), ground & beyond)

    def no_marks(self) -> None:
        """Take the cell marks away."""
        for pair in self.marks.values():
            for item in pair:
                item.show(np.empty(0), np.empty(0))

    def show_trail(self, x: FloatArray, y: FloatArray, *, inside: bool) -> None:
        """Draw the way of the operating point, the present one last; empty arrays draw none."""
        self.way_halo.show(x, y)
        self.way.show(x, y)
        head = slice(-1, None) if x.size else slice(0, 0)
        self.head_halo.show(x[head], y[head])
        self.head.show(x[head], y[head])
        off = head if not inside else slice(0, 0)
        self.head_beyond.show(x[off], y[off])


def _sized(item: object, x: FloatArray, y: FloatArray, size: FloatArray, where: BoolArray) -> None:
    item.show_sized(x[where], y[where], size[where])  # type: ignore[attr-defined]


def mark_entries(marks: CellMarks | None, inks: Inks) -> list[Entry]:
    """Return the entries of the key for cell marks."""
    if marks is None:
        return []
    levels = marks.levels
    entries = []
    if ((levels > 0) & ~marks.full).any():
        entries.append(Entry(marks.half_words, inks.line, mark="half"))
    if ((levels > 0) & marks.full).any():
        entries.append(Entry(marks.full_words, inks.line, mark="box", filled=True))
    if entries:
        last = entries[-1]
        words = f"{last.words} ({marks.size_words})"
        entries[-1] = Entry(words, last.colour, mark=last.mark, filled=last.filled)
    if marks.beyond is not None and marks.beyond.any():
        entries.append(Entry(marks.beyond_words, inks.line, mark="beyond", filled=True))
    return entries


def trail_entries(inks: Inks, *, inside: bool) -> list[Entry]:
    """Return the entries of the key for the operating point."""
    entries = [Entry("operating point", inks.accent, mark="head")]
    if not inside:
        entries.append(Entry("beyond the axis: read at its end", inks.accent, mark="empty"))
    return entries
