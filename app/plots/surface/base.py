"""A plot of the table in work, or of several tables beside each other."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from PySide6.QtWidgets import QWidget

from app.colours import inks
from app.desk import Desk
from app.plots.surface.layers import Layer, LayerLike, Style, as_layers
from app.plots.view import Cell, Part, PlotView
from calib_model.core.arrays import BoolArray
from calib_model.core.planes import plane_index
from calib_model.core.table import Table


class LayeredView(PlotView):
    """What is shown, and which of its cells are in hand.

    Parameters
    ----------
    desk : Desk
    layers : iterable of layers, optional
        Tables to show in place of the one in work; they are not edited here.
    """

    def __init__(
        self,
        desk: Desk,
        parent: QWidget | None = None,
        layers: Iterable[LayerLike] | None = None,
    ) -> None:
        super().__init__(desk, parent)
        self.anchor: Cell | None = None
        self._layers: tuple[Layer, ...] | None = None if layers is None else as_layers(layers)
        self._own_cell: Cell = ()

    def set_layers(self, layers: Iterable[LayerLike] | None) -> None:
        """Show other tables in place of the one in work; None goes back to that one."""
        new = None if layers is None else as_layers(layers)
        if new != self._layers:
            before = self._first()
            self._layers = new
            now = self._first()
            kept = before is not None and now is not None and _alike(before, now)
            self.mark(Part.VALUES | Part.OVERLAYS if kept else Part.TABLE)

    def _first(self) -> Table | None:
        """Return the table whose axes and unit are drawn."""
        if self._layers is not None:
            return self._layers[0].table if self._layers else None
        return self.desk.table

    @property
    def editable(self) -> bool:
        """Whether the nodes of what is drawn can be dragged."""
        return self._layers is None

    @property
    def linked(self) -> bool:
        """Whether the desk's cursor and selection are those of what is drawn."""
        table, first = self.desk.table, self._first()
        return table is not None and first is not None and table.shape == first.shape

    @property
    def cell(self) -> Cell:
        """The cell under the cross-hair."""
        if self.linked:
            return self.desk.cursor
        first = self._first()
        shape = first.shape if first is not None else ()
        if len(self._own_cell) != len(shape):
            self._own_cell = (0,) * len(shape)
        return tuple(min(i, n - 1) for i, n in zip(self._own_cell, shape, strict=True))

    def set_cell(self, cell: Cell) -> None:
        """Move the cross-hair."""
        self.anchor = None
        if self.linked:
            self.desk.set_cursor(cell)
        else:
            first = self._first()
            shape = first.shape if first is not None else ()
            self._own_cell = tuple(min(max(i, 0), n - 1) for i, n in zip(cell, shape, strict=True))
            self.mark(Part.CURSOR)

    def chosen_nodes(self) -> BoolArray:
        """Return which nodes of the drawn plane are selected, shape (rows, columns)."""
        cell = self.cell
        if self.linked:
            selected: BoolArray = self.desk.selection[plane_index(cell[2:])]
            return selected
        first = self._first()
        chosen = np.zeros(first.shape[:2] if first is not None else (0, 0), dtype=bool)
        if chosen.size:
            chosen[cell[:2]] = True
        return chosen

    def select_to(self, cell: Cell) -> None:
        """Select the rectangle from the anchor to a cell, which the cross-hair goes to."""
        if not self.linked:
            self.set_cell(cell)
            return
        shape = self.desk.selection.shape
        # With one cell selected, whatever was extended before is over.
        alone = self.anchor is None or self.desk.selection.sum() == 1
        anchor = self.desk.cursor if alone or self.anchor is None else self.anchor
        cell = tuple(min(max(i, 0), n - 1) for i, n in zip(cell, shape, strict=True))
        chosen = np.zeros(shape, dtype=bool)
        ends = zip(anchor[:2], cell[:2], strict=True)
        rows, columns = (slice(min(a, b), max(a, b) + 1) for a, b in ends)
        chosen[plane_index(cell[2:])][rows, columns] = True
        self.desk.set_cursor(cell, keep_selection=True)
        self.desk.set_selection(chosen)
        self.anchor = anchor

    def shown_layers(self, table: Table) -> tuple[Layer, ...]:
        """Return the layers that are wanted."""
        if self._layers is not None:
            return self._layers
        found = [Layer(table, Style.SOLID, "now")]
        saved, reference = self.desk.saved_table, self.desk.reference_table
        proposed = self.desk.proposed_table
        if proposed is not None:  # in the place of the saved state: one veil less to tell apart
            found.append(Layer(proposed, Style.DASHED, "as proposed"))
        elif self.show_saved and saved is not None and saved is not table:
            found.append(Layer(saved, Style.DASHED, "as saved"))
        if self.show_reference and reference is not None and reference is not table:
            title = self.desk.reference.title if self.desk.reference else ""
            found.append(Layer(reference, Style.DOTTED, f"reference: {title}"))
        return tuple(found)

    def refresh(self) -> None:
        """Repaint what is out of date now."""
        if self._layers is None:
            super().refresh()
            return
        # Tables that are shown for comparison need no table in work.
        self._timer.stop()
        stale, self._stale = self._stale, Part.NOTHING
        if not stale:
            return
        first = self._first()
        why = self.unfit(first) if first is not None else "There is nothing to compare."
        if why or first is None:
            self._show_sentence(why)
            self._stale = Part.TABLE
            return
        if self.canvas is None:
            self._build()
            stale = Part.ALL
        if stale & Part.TABLE:
            stale = Part.ALL
        self._show_drawn(stale)
        self.redraw(first, stale)
        if stale & (Part.CURSOR | Part.VALUES | Part.FINDINGS):
            self.show_read_out(first)
        self.setAccessibleName(self.describe(first))

    def _show_drawn(self, stale: Part) -> None:
        assert self.canvas is not None
        assert self._drawn is not None
        if stale & Part.COLOURS:
            self.inks = inks(self.palette())
            self.canvas.set_inks(self.inks, self.font())
        self.pages.setCurrentWidget(self._drawn)


def _alike(a: Table, b: Table) -> bool:
    """Tell whether two tables fill one box: the same axes and unit."""
    return (
        a.unit == b.unit
        and len(a.axes) == len(b.axes)
        and all(
            np.array_equal(x.values, y.values) and x.unit == y.unit
            for x, y in zip(a.axes, b.axes, strict=True)
        )
    )
