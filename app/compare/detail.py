"""One table in both sets: grids, difference, plots, rules and texts."""

from __future__ import annotations

from html import escape

import numpy as np
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QLabel,
    QSizePolicy,
    QSplitter,
    QStackedWidget,
    QTabBar,
    QVBoxLayout,
    QWidget,
)

from app.plain import RichLabel, plain_tip
from app.plots.view import PlotView
from calib_model.compare import Comparison, State, TableComparison, Threshold
from calib_model.core.numbers import with_unit

from .breaches import cell_breaches
from .fields import FieldsView
from .grids import ComparedGrid, GridPane, scroll_together
from .heat import DifferenceMap
from .lines import LinesPane
from .pair import DifferenceDesk, PairDesk, PairSource
from .surface_pane import SurfacePane
from .words import STATES, signed

NARROW, LOW = 760, 430
"""Below these sizes one part is shown at a time."""
_FREE = 16_777_215
_LINES, _MAP, _SLICES, _SURFACE, _FIELDS = range(5)
_NAMES = {
    _LINES: "Lines",
    _MAP: "Difference map",
    _SLICES: "Slices",
    _SURFACE: "Surface",
    _FIELDS: "Rules and texts",
}


class Detail(QWidget):
    """What is known of the chosen table.

    Attributes
    ----------
    pair : PairDesk
        The table, its cursor and its selection.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.pair = PairDesk(self)
        self.less = DifferenceDesk(self.pair, self)
        self.names = ("Reference", "Edited set")
        self.title, self.what, self.cell = (self._line() for _ in range(3))
        self.cell.setAccessibleName("Cell under the cross-hair in both sets")
        self.panes = {
            which: GridPane(PairSource(self.pair, which, self), self)
            for which in ("first", "second", "difference")
        }
        scroll_together([pane.view for pane in self.panes.values()])
        self.lines = LinesPane(self.pair, self.less, maps=False)
        self.map = DifferenceMap(self.pair)
        self.slices = LinesPane(self.pair, self.less, maps=True)
        self.surface = SurfacePane(self.pair)
        self.fields = FieldsView()
        self._build()
        self._last = {True: _MAP, False: _LINES}
        self._kind: tuple[object, ...] = ()
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.timeout.connect(self._share_height)
        self.pair.cursor_changed.connect(self.show_cell)
        self.pair.marks_changed.connect(self.show_cell)

    def _line(self) -> QLabel:
        label = RichLabel()
        label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        return label

    def _build(self) -> None:
        self.tabs = QTabBar()
        self.tabs.setExpanding(False)
        self.tabs.setUsesScrollButtons(True)
        self.tabs.setDocumentMode(True)
        self.tabs.setAccessibleName("Plots, rules and texts")
        for number, name in _NAMES.items():
            self.tabs.addTab(name)
            self.tabs.setTabData(number, number)
        self.views = QStackedWidget()
        for widget in (self.lines, self.map, self.slices, self.surface, self.fields):
            self.views.addWidget(widget)
        self.tabs.currentChanged.connect(self._on_tab)
        self.plots = QWidget()
        column = QVBoxLayout(self.plots)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.tabs)
        column.addWidget(self.views, 1)
        self._up, self._down = QSplitter(), QSplitter()
        self._middle = QSplitter(Qt.Orientation.Vertical)
        self._up.addWidget(self.panes["first"])
        self._up.addWidget(self.panes["second"])
        self._down.addWidget(self.panes["difference"])
        self._down.addWidget(self.plots)
        for splitter in (self._up, self._down):
            splitter.setChildrenCollapsible(False)
            self._middle.addWidget(splitter)
        self._middle.setChildrenCollapsible(False)
        self.parts = QTabBar()
        self.parts.setExpanding(False)
        self.parts.setAccessibleName("Which part is shown")
        for name in ("Reference", "Edited set", "Difference", "Plots"):
            self.parts.addTab(name)
        self.parts.setCurrentIndex(2)
        self.parts.currentChanged.connect(lambda _: self._arrange())
        whole = QVBoxLayout(self)
        whole.setContentsMargins(6, 4, 6, 0)
        whole.setSpacing(2)
        for label in (self.title, self.what, self.cell):
            whole.addWidget(label)
        whole.addWidget(self.parts)
        whole.addWidget(self._middle, 1)

    @property
    def grid(self) -> ComparedGrid:
        """The grid that has the keyboard, or the one that matters most."""
        for pane in self.panes.values():
            if pane.view.hasFocus():
                return pane.view
        for which in ("difference", "second", "first"):
            if not self.panes[which].isHidden() and self.panes[which].source.table is not None:
                return self.panes[which].view
        return self.panes["second"].view

    # -- showing ---------------------------------------------------------------------------------

    def show_pair(
        self,
        pair: TableComparison | None,
        comparison: Comparison | None,
        threshold: Threshold,
        names: tuple[str, str],
        letters: tuple[str, str],
    ) -> None:
        """Show a compared table.

        Parameters
        ----------
        pair : TableComparison or None
        comparison : Comparison or None
            The one it belongs to.
        threshold : Threshold
        names : pair of str
            What reference and edited set are called.
        letters : pair of str
            Their letters, or a word where a side has none of its own.
        """
        self.names = names
        whole = (f"{letters[0]}: {names[0]}", f"{letters[1]}: {names[1]}")
        self.pair.names, self.pair.letters = whole, letters
        self.pair.show_pair(pair)
        self.mark(comparison, threshold)
        self.fields.show_pair(pair, comparison.fields if comparison else (), self.pair.names)
        self._say(pair)
        self._choose_views(pair)
        self._arrange()

    def mark(self, comparison: Comparison | None, threshold: Threshold) -> None:
        """Mark what breaches the relation and what lies beyond the threshold."""
        pair, aligned = self.pair.pair, self.pair.aligned
        breaches = {}
        if comparison is not None and pair is not None and aligned is not None:
            breaches = cell_breaches(comparison, pair, aligned, self.pair.letters)
        self.pair.set_marks(breaches, threshold)
        if pair is not None:
            for pane in self.panes.values():
                found = {cell: [breach] for cell, breach in breaches.items()}
                pane.view.grid.set_findings(pair.id, found)
        for view in self.plot_views():
            view.set_findings(breaches)

    def plot_views(self) -> list[PlotView]:
        """Return every plot there is."""
        views = [self.lines.both, self.lines.less, self.map, self.slices.both, self.slices.less]
        if self.surface.view is not None:
            views.append(self.surface.view)
        return views

    def _say(self, pair: TableComparison | None) -> None:
        if pair is None:
            self.title.setText("<b>No table is chosen</b>")
            self.what.setText("Choose one from the list.")
            self.cell.setText("")
            for pane in self.panes.values():
                pane.say("", "No table is chosen.")
            return
        table = pair.table
        function = f" \N{EN DASH} {escape(table.function)}" if table.function else ""
        self.title.setText(f"<b>{escape(table.label)}</b>&nbsp;&nbsp;{escape(table.id)}{function}")
        words = pair.words()
        state = "" if pair.state is State.CHANGED else f"<b>{STATES[pair.state]}</b>"
        self.what.setText(state + (": " if state and words else "") + escape(words))
        self.what.setToolTip(plain_tip(pair.words()))
        for which, letter, name in zip(
            ("first", "second"), self.pair.letters, self.names, strict=True
        ):
            pane = self.panes[which]
            pane.say(f"{letter}: {name}", f"{name} has no table {table.id}.")
        why = "A difference needs the table in both sets."
        if self.pair.why_apart:
            why = f"No difference: {self.pair.why_apart}"
        unit = with_unit(0, table.unit).partition(" ")[2]
        self.panes["difference"].say(f"{self.pair.less}{f', {unit}' if unit else ''}", why)
        self.show_cell()

    def show_cell(self) -> None:
        """Say what both sets hold under the cross-hair."""
        pair = self.pair
        table = pair.table
        if table is None:
            return
        cell = pair.cursor
        place = ", ".join(
            a.said(x) for x, a in zip(table.coordinates(cell), table.axes, strict=True)
        )
        parts = []
        if pair.aligned is not None:
            for letter, one in zip(pair.letters, (pair.first, pair.second), strict=True):
                assert one is not None
                parts.append(f"{letter} {one.said(float(one.values[cell]), 9)}")
            amount = float(pair.aligned.values[cell])
            if np.isfinite(amount):
                parts.append(f"difference {signed(amount, table.unit)}" if amount else "the same")
        else:
            parts.append(table.said(float(table.values[cell]), 9))
        text = escape(f"{place}: " if place else "") + escape("  ·  ".join(parts))
        if cell in pair.breaches:
            severity, sentence = pair.breaches[cell]
            text += f"  ·  <b>{escape(severity.capitalize())}: {escape(sentence)}</b>"
        chosen = int(pair.selection.sum())
        if chosen > 1:
            text += f"  ·  {chosen} cells selected"
        self.cell.setText(text)
        self.cell.setToolTip(plain_tip(pair.breaches[cell][1] if cell in pair.breaches else ""))

    # -- room ------------------------------------------------------------------------------------

    @property
    def _flat(self) -> bool:
        table = self.pair.table
        return table is None or table.values.ndim < 2

    def _choose_views(self, pair: TableComparison | None) -> None:
        """Offer the views that suit the table; stay on the one in sight where it does."""
        flat = self._flat
        suited = (_LINES, _FIELDS) if flat else (_MAP, _SLICES, _SURFACE, _FIELDS)
        fields = len(pair.fields) if pair is not None else 0
        self.tabs.blockSignals(True)
        for number in _NAMES:
            self.tabs.setTabVisible(number, number in suited)
        many = f" ({fields})" if fields else ""
        self.tabs.setTabText(_FIELDS, _NAMES[_FIELDS] + many)
        wanted = self._last[not flat]
        if pair is not None and fields and not pair.cells_changed:
            wanted = _FIELDS  # there is nothing else to see
        self.tabs.setCurrentIndex(wanted)
        self.tabs.blockSignals(False)
        self.views.setCurrentIndex(wanted)
        self.surface.refresh()

    def _on_tab(self, number: int) -> None:
        self._last[not self._flat] = number
        self.views.setCurrentIndex(number)
        self.surface.refresh()

    def show_view(self, number: int) -> None:
        """Show one of the views that suit the table, counted as they stand."""
        suited = [n for n in _NAMES if self.tabs.isTabVisible(n)]
        if number < len(suited):
            self.tabs.setCurrentIndex(suited[number])
            self.show_part(3)
            view = self.views.currentWidget()
            if view is not None:
                view.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def show_part(self, number: int) -> None:
        """Where one part is shown at a time: show a set, the difference or the plots."""
        self.parts.setCurrentIndex(number)

    @property
    def narrow(self) -> bool:
        """Whether there is room for one part only."""
        return self.width() < NARROW or self.height() < LOW

    def _arrange(self) -> None:
        flat, narrow = self._flat, self.narrow
        chosen = self.parts.currentIndex()
        self.parts.setVisible(narrow)
        self.what.setVisible(self.height() >= LOW)
        parts = [*self.panes.values(), self.plots]
        in_both = self.pair.aligned is not None
        for number, part in enumerate(parts):
            # A curve's rows are low: both are seen together even where room is short.
            together = flat and number < 2 and chosen < 2
            part.setVisible(not narrow or number == chosen or together)
        if not in_both and not narrow:
            self.panes["difference"].setVisible(bool(self.pair.why_apart))
        self._up.setVisible(any(not parts[n].isHidden() for n in (0, 1)))
        self._down.setVisible(any(not parts[n].isHidden() for n in (2, 3)))
        # A curve's difference is one row: it stands above the plot rather than beside it.
        self._down.setOrientation(Qt.Orientation.Vertical if flat else Qt.Orientation.Horizontal)
        kind = (flat, narrow, in_both)
        if kind != self._kind:
            self._kind = kind
            if not flat:
                self._up.setSizes([500, 500])
                self._down.setSizes([500, 500])
        self._share_height()
        self._settle.start()  # scroll bars and headers have their heights only now

    def _share_height(self) -> None:
        """Give single rows the height they need, and maps a fair share."""
        low = self._flat and not self.narrow
        for pane in self.panes.values():
            pane.setMaximumHeight(pane.wanted_height() if low else _FREE)
        if low:
            up = max(self.panes[w].wanted_height() for w in ("first", "second"))
            self._up.setMaximumHeight(up)
            self._middle.setSizes([up, max(200, self.height() - up)])
        else:
            self._up.setMaximumHeight(_FREE)
            wanted = max(self.panes[w].wanted_height() for w in ("first", "second"))
            half = max(120, (self.height() - 80) // 2)
            self._middle.setSizes([min(wanted, half), self.height() - min(wanted, half)])

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Arrange for the new size."""
        super().resizeEvent(event)
        self._arrange()
