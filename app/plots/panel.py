"""The plots of the table in work, and a bar that says what they show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QSignalBlocker, QSize, Qt, QTimer, Signal
from PySide6.QtGui import QResizeEvent, QStandardItemModel
from PySide6.QtWidgets import (
    QBoxLayout,
    QCheckBox,
    QComboBox,
    QHBoxLayout,
    QMenu,
    QSizePolicy,
    QSplitter,
    QStackedWidget,
    QTabBar,
    QToolButton,
    QVBoxLayout,
    QWidget,
    QWidgetAction,
)

from app.desk import Desk
from app.plain import PlainLabel
from app.plots.curve import CurveView
from app.plots.heatmap import HeatMapView, Show
from app.plots.legend import Legend
from app.plots.slices import SlicesView
from app.plots.tools import PlotTools
from app.plots.view import Findings, PlotView
from app.plots.words import place
from app.quiet import QuietCombo

if TYPE_CHECKING:
    from app.plots.result.panel import ResultPanel
    from app.plots.surface.view import SurfaceView

MAP, SLICES, SURFACE, RESULT = range(4)
"""Tabs; where there is room, the first stands for heat map and slices together."""
SIDE_BY_SIDE = 620
ONE_ABOVE_OTHER = 560
SWITCHES, TABS = 290, 180
"""Widths and height, in screen units, from which heat map and slices are shown together, and from
which the overlays' switches have room; the width of the tabs."""

_MODE_WORDS = {
    Show.VALUES: "Values",
    Show.FROM_SAVED: "Difference: saved",
    Show.FROM_REFERENCE: "Difference: reference",
}


class PlotPanel(QWidget):
    """Views that suit the table in work; what they show is kept for the window.

    Parameters
    ----------
    desk : Desk

    Attributes
    ----------
    surface : SurfaceView or None
        None until it is first asked for: it brings OpenGL.
    result : ResultPanel or None
        The resulting torque; None until it is first asked for.

    Signals
    -------
    surface_choice_changed : str
    result_changed
        The resulting torque is shown, or no longer: it needs more room than a plot.
    """

    surface_choice_changed = Signal(str)
    result_changed = Signal()

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.desk = desk
        self.surface: SurfaceView | None = None
        self.result: ResultPanel | None = None
        self._surface_choice = ""
        self._findings: Findings = {}
        self.setAccessibleName("Plots of the table in work")
        self.curve = CurveView(desk, self)
        self.heat = HeatMapView(desk, self)
        self.slices = SlicesView(desk, self)
        self.views: tuple[PlotView, ...] = (self.curve, self.heat, self.slices)

        self.note = PlainLabel(self)
        self.note.setWordWrap(True)
        self.note.setIndent(6)
        self.note.hide()
        self.legend = Legend(self)
        self.legend.switched.connect(self._on_part)
        for view in self.views:
            view.join_panel()
            view.said.connect(self._on_said)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.timeout.connect(self._gather)

        self.saved_box = QCheckBox("Saved state", self)
        self.saved_box.setChecked(True)
        self.saved_box.setToolTip("Draw the table as it was last saved, dashed, behind the plot.")
        self.reference_box = QCheckBox("Reference", self)
        self.reference_box.setChecked(True)
        self.reference_box.setToolTip("Draw the reference set's table, dotted, behind the plot.")
        self.driving_box = QCheckBox("Driving", self)
        self.driving_box.setToolTip(
            "Mark how long each cell was driven, and where the table decided."
        )
        self.along_choice = QuietCombo(self)
        self.along_choice.setAccessibleName("Slices along which axis")
        self.along_choice.setToolTip("The axis that the slices run along.")
        self.mode_choice = QuietCombo(self)
        self.mode_choice.setAccessibleName("What the heat map shows")
        self.mode_choice.setToolTip("Values, or the difference from another state.")
        for mode, text in _MODE_WORDS.items():
            self.mode_choice.addItem(text, mode)
        self.tabs = QTabBar(self)
        for text in ("Map", "Slices", "Surface", "Result"):
            self.tabs.addTab(text)
        self.tabs.setTabToolTip(RESULT, "The torque that all tables together command.")
        self._tab = MAP
        self.tabs.setExpanding(False)
        self.tabs.setUsesScrollButtons(False)
        self.tabs.setAccessibleName("Heat map, slices, surface or resulting torque")
        for choice in (self.along_choice, self.mode_choice):
            choice.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
            choice.setMinimumWidth(70)
            choice.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

        self.key_legend = Legend()
        self.key_legend.setMinimumWidth(280)
        self.key_legend.switched.connect(self._on_part)
        self.key_button = QToolButton(self)
        self.key_button.setText("Key")
        self.key_button.setToolTip("What lines and marks mean.")
        self.key_button.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        key_menu = QMenu(self.key_button)
        shown = QWidgetAction(key_menu)
        shown.setDefaultWidget(self.key_legend)
        key_menu.addAction(shown)
        self.key_button.setMenu(key_menu)
        self.key_button.hide()

        self.bar = QWidget(self)
        self._bar_rows = QBoxLayout(QBoxLayout.Direction.LeftToRight, self.bar)
        self._bar_rows.setContentsMargins(4, 2, 4, 0)
        self._bar_rows.setSpacing(8)
        self._bar_rows.addWidget(self.tabs)
        row = QHBoxLayout()
        row.setSpacing(8)
        self._bar_rows.addLayout(row, 1)
        row.addWidget(self.mode_choice)
        row.addWidget(self.along_choice)
        row.addStretch(1)
        row.addWidget(self.driving_box)
        row.addWidget(self.saved_box)
        row.addWidget(self.reference_box)
        row.addWidget(self.key_button)

        self.maps = QSplitter(Qt.Orientation.Horizontal, self)
        self.maps.setChildrenCollapsible(False)
        self.maps.addWidget(self.heat)
        self.maps.addWidget(self.slices)
        self.pages = QStackedWidget(self)
        self.pages.addWidget(self.curve)
        self.pages.addWidget(self.maps)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.note)
        layout.addWidget(self.pages, 1)
        foot = QHBoxLayout()
        foot.setContentsMargins(6, 1, 6, 1)
        foot.addWidget(self.legend, 1)
        self.tools = PlotTools(desk, self, self._title, self.twin, self.fit, self)
        foot.addWidget(self.tools, 0, Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignRight)
        layout.addLayout(foot)
        # At the foot, where the tabs stay when the resulting torque takes height from the grid.
        layout.addWidget(self.bar)
        self.setMinimumSize(220, 160)

        self.saved_box.toggled.connect(self._on_overlays)
        self.reference_box.toggled.connect(self._on_overlays)
        self.driving_box.toggled.connect(desk.driving.show_driving)
        self.along_choice.activated.connect(self._on_along)
        self.mode_choice.activated.connect(self._on_mode)
        self.tabs.currentChanged.connect(self._on_tab)
        self.slices.along_changed.connect(self._show_along)
        desk.table_changed.connect(self._on_table)
        desk.reference_changed.connect(self._on_reference)
        desk.driving.cell_marks_changed.connect(self._on_driving)
        self._on_driving()
        self._on_table()
        self._on_reference()

    # -- what the window asks of it --------------------------------------------------------------

    def set_findings(self, findings: Findings) -> None:
        """Mark cells of the table in work.

        Parameters
        ----------
        findings : mapping of cell to (severity, sentence)
            Severity is ``error``, ``warning`` or ``note``.  Call it again after
            `Desk.table_changed` and `Desk.findings_changed`.
        """
        self._findings = findings
        for view in self.views:
            view.set_findings(findings)

    def show_saved(self, on: bool) -> None:
        """Draw the saved state behind the plots, or not."""
        self.saved_box.setChecked(on)

    def show_reference(self, on: bool) -> None:
        """Draw the reference set's table behind the plots, or not."""
        self.reference_box.setChecked(on)

    def toggle_saved(self) -> None:
        """Turn the overlay of the saved state on or off."""
        self.saved_box.toggle()

    def toggle_reference(self) -> None:
        """Turn the overlay of the reference set on or off."""
        self.reference_box.toggle()

    def show_surface(self) -> None:
        """Show the map as a surface, or go back to heat map and slices."""
        self._go_to(MAP if self.shows_surface else SURFACE)

    @property
    def shows_surface(self) -> bool:
        """Whether the surface is chosen."""
        return self._tab == SURFACE

    def show_result(self) -> None:
        """Show the resulting torque, or go back to the plots of the table in work."""
        self._go_to(MAP if self.shows_result else RESULT)

    @property
    def shows_result(self) -> bool:
        """Whether the resulting torque is chosen."""
        return self._tab == RESULT

    def _go_to(self, tab: int) -> None:
        if self.tabs.currentIndex() == tab:
            self._on_tab(tab)
        else:
            self.tabs.setCurrentIndex(tab)
        self.setFocus(Qt.FocusReason.ShortcutFocusReason)

    @property
    def surface_choice(self) -> str:
        """Whether surfaces are drawn: ``auto``, ``on`` or ``off``."""
        return self.surface.choice if self.surface is not None else self._surface_choice or "auto"

    def set_surface_choice(self, choice: str) -> None:
        """Choose whether surfaces are drawn: ``auto``, ``on`` or ``off``."""
        if choice == self._surface_choice:
            return
        self._surface_choice = choice
        if self.surface is not None:
            self.surface.set_choice(choice)
        self.surface_choice_changed.emit(choice)

    def swap_along(self) -> None:
        """Run the slices along the other axis."""
        self.slices.set_along(1 - self.slices.along())

    @property
    def mode(self) -> Show:
        """What the heat map shows."""
        return self.heat.mode

    def set_mode(self, mode: Show) -> None:
        """Choose what the heat map shows."""
        self.heat.set_mode(mode)
        self.mode_choice.setCurrentIndex(list(_MODE_WORDS).index(mode))

    def fit(self) -> None:
        """Show everything in every plot."""
        for view in self.views:
            if view.isVisible():
                view.fit()

    def twin(self) -> PlotPanel:
        """Return the same plots once more, live, without the controls around them."""
        made = PlotPanel(self.desk)
        made.bar.hide()
        made.tools.hide()
        made.set_findings(self._findings)
        made.saved_box.setChecked(self.saved_box.isChecked())
        made.reference_box.setChecked(self.reference_box.isChecked())
        made.set_mode(self.mode)
        made.slices.set_along(self.slices.along())
        made.set_surface_choice(self.surface_choice)
        for part in self.views[0].hidden:
            made._on_part(part, False)
        if self._tab != MAP:
            made._go_to(self._tab)
        return made

    def _title(self) -> str:
        table = self.desk.table
        if table is None:
            return "No table"
        name = f"{table.label} at {place(table, self.desk.cursor)}" if table.shape else table.label
        document = self.desk.current
        return f"{name}, {document.title}" if document is not None else name

    def sizeHint(self) -> QSize:
        """A third of a small screen."""
        return QSize(700, 330)

    # -- keeping up ------------------------------------------------------------------------------

    def _on_table(self) -> None:
        table = self.desk.table
        is_map = table is not None and table.values.ndim >= 2
        # Only what the table needs: a scalar and a curve have neither slices nor modes.
        if is_map and table is not None:
            self.along_choice.clear()
            for axis in table.axes[:2]:
                self.along_choice.addItem(f"Along {axis.label}")
        self._show_along(self.slices.along())
        self._arrange()

    def _on_reference(self) -> None:
        there = self.desk.reference is not None
        self.reference_box.setEnabled(there)
        choices = self.mode_choice.model()
        assert isinstance(choices, QStandardItemModel), "what a combo box holds of its own accord"
        choices.item(list(_MODE_WORDS).index(Show.FROM_REFERENCE)).setEnabled(there)
        if not there and self.mode is Show.FROM_REFERENCE:
            self.set_mode(Show.VALUES)

    def _on_driving(self) -> None:
        with QSignalBlocker(self.driving_box):
            self.driving_box.setChecked(self.desk.driving.shows_driving)
        self._arrange()

    def _on_overlays(self) -> None:
        for view in self.views:
            view.set_overlays(
                saved=self.saved_box.isChecked(), reference=self.reference_box.isChecked()
            )

    def _on_along(self, index: int) -> None:
        self.slices.set_along(index)

    def _on_mode(self, index: int) -> None:
        self.heat.set_mode(list(_MODE_WORDS)[index])

    def _on_tab(self, index: int) -> None:
        before, self._tab = self._tab, index
        if index == SURFACE and self.surface is None:
            self._make_surface()
        if index == RESULT and self.result is None:
            self._make_result()
        self._arrange()
        if RESULT in (before, index) and before != index:
            self.result_changed.emit()

    def _make_result(self) -> None:
        from app.plots.result.panel import ResultPanel

        self.result = ResultPanel(self.desk, ("Reference", "This set"), self)
        self.pages.addWidget(self.result)
        desk = self.desk
        for signal in (desk.current_changed, desk.reference_changed, desk.documents_changed):
            signal.connect(self._feed_result)
        desk.edited.connect(self._feed_result)
        self._feed_result()

    def _feed_result(self, _event: object = None) -> None:
        from app.plots.result.reckon import Named

        if self.result is None:
            return
        current, reference = self.desk.current, self.desk.reference
        if reference is current:
            reference = None
        named = [
            Named(document.title, document.content) if document is not None else None
            for document in (reference, current)
        ]
        self.result.show_sets(named[0], named[1])

    def _make_surface(self) -> None:
        from app.plots.surface.view import SurfaceView

        self.surface = SurfaceView(self.desk, self)
        if self._surface_choice:
            self.surface.set_choice(self._surface_choice)
        self.surface.choice_changed.connect(self.set_surface_choice)
        self.surface.join_panel()
        self.surface.said.connect(self._on_said)
        self.surface.set_findings(self._findings)
        self.views = (*self.views, self.surface)
        self.pages.addWidget(self.surface)
        self._on_overlays()

    def _on_part(self, part: str, on: bool) -> None:
        for view in self.views:
            view.show_part(part, on)
        for legend in (self.legend, self.key_legend):
            legend.show_off(self.views[0].hidden)

    def _on_said(self) -> None:
        if not self._timer.isActive():
            self._timer.start()

    def _gather(self) -> None:
        """Write note and key once for all views in sight; the cell is read above the grid."""
        if self._tab == RESULT:
            return
        page = self.pages.currentWidget()
        seen = [v for v in self.views if v is page or (v.parent() is page and not v.isHidden())]
        if seen:
            notes = dict.fromkeys(v.note.text() for v in seen if v.note.text())
            self.note.setText("\n".join(notes))
            self.note.setVisible(bool(notes))
            # Drawn marks come last, lines first; what two views share is said once.
            entries = {e.words: e for v in seen for e in v.legend.entries}
            ordered = sorted(entries.values(), key=lambda e: bool(e.mark))
            self.legend.show_entries(ordered)
            self.key_legend.show_entries(ordered)
        # The key must not take the plot's room: in a low panel it waits behind a button.
        need = self.legend.heightForWidth(max(self.width() - 12, 60))
        low = need > 0.2 * self.height()
        self.legend.setVisible(not low)
        self.key_button.setVisible(low)

    def _show_along(self, axis: int) -> None:
        if self.along_choice.count() > axis:
            self.along_choice.setCurrentIndex(axis)

    def _arrange(self) -> None:
        """Show heat map and slices together where there is room, else one at a time."""
        table = self.desk.table
        is_map = table is not None and table.values.ndim >= 2
        wide, tall = self.width() >= SIDE_BY_SIDE, self.height() >= ONE_ABOVE_OTHER
        together = wide or tall
        across = wide and not (tall and self.height() > self.width())  # no tall, thin plots
        # The choices above the tabs, which stay at the foot.
        narrow_and_tall = QBoxLayout.Direction.BottomToTop
        one_row = QBoxLayout.Direction.LeftToRight
        self._bar_rows.setDirection(narrow_and_tall if tall and not wide else one_row)
        self.maps.setOrientation(Qt.Orientation.Horizontal if across else Qt.Orientation.Vertical)
        if together and self._tab == SLICES:
            self._tab = MAP
        tab = self._tab
        with QSignalBlocker(self.tabs):  # what is hidden or renamed here, nobody chose
            first = "Map and slices" if together else "Map"
            self.tabs.setTabVisible(SLICES, is_map and not together)
            self.tabs.setTabVisible(SURFACE, is_map)
            # The text last: in a hidden window only it has the tabs laid out again.
            self.tabs.setTabText(MAP, first if is_map else "Plot")
            self.tabs.setCurrentIndex(tab if is_map or tab == RESULT else MAP)
        result = self.result if tab == RESULT else None
        for widget in (self.note, self.legend):
            widget.setVisible(result is None)
        if result is not None:
            self._show_result(result)
            return
        surface = self.surface if is_map and tab == SURFACE else None
        heat = surface is None and (together or tab == MAP)
        lines = surface is None and (together or tab == SLICES)
        if surface is None:
            # A stacked page's children keep their own visibility; the surface hides them whole.
            self.heat.setVisible(heat)
            self.slices.setVisible(lines)
        self.pages.setCurrentWidget(surface or (self.maps if is_map else self.curve))
        # Whoever gives the keyboard to the panel means the plot in it.
        self.setFocusProxy(
            surface or ((self.heat if heat else self.slices) if is_map else self.curve)
        )
        # Only what bears on what is in sight.
        self.mode_choice.setVisible(is_map and heat)
        self.along_choice.setVisible(is_map and lines)
        # In a very narrow panel the two switches are in the menu View only.
        switches = (lines or surface or not is_map) and self.width() >= SWITCHES
        least = SWITCHES + (TABS if is_map else 0)
        self.driving_box.setVisible(self.desk.driving.has_coverage and self.width() >= least)
        self.saved_box.setVisible(bool(switches))
        self.reference_box.setVisible(bool(switches))
        self._on_said()

    def _show_result(self, result: ResultPanel) -> None:
        self.pages.setCurrentWidget(result)
        self.setFocusProxy(result)
        for widget in (
            *(self.mode_choice, self.along_choice, self.key_button),
            *(self.driving_box, self.saved_box, self.reference_box),
        ):
            widget.hide()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Arrange for the new size."""
        super().resizeEvent(event)
        self._arrange()
