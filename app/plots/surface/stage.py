"""What is shown at the moment: sheets, the frame they stand in, and the span of the colours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from app.plots.surface.layers import Layer, Placed, Style, frame_of, placed
from app.plots.surface.scene import Frame, Range


class Stage:
    """Sheets in a frame that grows when it must, and holds still under the pointer."""

    def __init__(self) -> None:
        self.sheets: list[Placed] = []
        self.frame = Frame((0.0, 1.0), (0.0, 1.0), (0.0, 1.0))
        self.span: Range = (0.0, 1.0)
        """Values at the ends of the colours."""
        self.left_out: list[str] = []
        """Names of layers that cannot be drawn with the first one."""
        self.cell: tuple[int, ...] = ()
        """Under the cross-hair, as drawn."""
        self._fits: tuple[object, ...] = ()

    def show(self, layers: Sequence[Layer], cell: tuple[int, ...], *, held: bool) -> None:
        """Place other layers.

        Parameters
        ----------
        layers : sequence of Layer
            The first one is the one in work.
        cell : tuple of int
            Under the cross-hair; says where further axes are cut.
        held : bool
            Nodes are being dragged: frame and colours stay.
        """
        self.sheets, self.left_out = placed(layers, cell)
        self.cell = cell
        first, wanted = layers[0].table, frame_of(self.sheets)
        fits = (wanted.columns, wanted.rows, first.id, first.unit, layers[0].style)
        if self._fits != fits:
            self._fits = fits
            self.frame = wanted
        elif not held:
            low = min(self.frame.values[0], wanted.values[0])
            high = max(self.frame.values[1], wanted.values[1])
            self.frame = replace(wanted, values=(low, high))
        if not held:
            self.span = span_of(self.sheets[0])

    def fit(self) -> None:
        """Let the frame follow the values anew the next time."""
        self._fits = ()


def span_of(shown: Placed) -> Range:
    """Return the values at the ends of the colours."""
    values = shown.sheet.values
    finite = values[np.isfinite(values)]
    least = shown.layer.table.storage.resolution
    if shown.layer.style is Style.DIFFERENCE:
        most = float(np.abs(finite).max()) if finite.size else 0.0
        most = most or least or 1.0
        return -most, most
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 1.0)
    if low == high:
        half = least or abs(low) * 0.01 or 0.5
        low, high = low - half, high + half
    return low, high
