"""The work area Tune: table list, grid with plots below, findings and rules beside."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import ClassVar

from PySide6.QtCore import QByteArray, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QSplitter, QTabWidget, QVBoxLayout, QWidget

from app.desk import Desk
from app.driving.strip import LiveStrip
from app.grid.panel import GridPanel
from app.grid.view import GridView
from app.plots.panel import PlotPanel
from app.things import belongs
from app.turns import Turns
from app.work_area import Pane, WorkArea, to_widget
from calib_model.rules.preview import Preview

from .details_dialog import DetailsDialog
from .findings_panel import FindingsPanel
from .header import TableHeader
from .roles_dialog import RolesDialog
from .rules_dialog import RulesDialog
from .rules_panel import RulesPanel
from .shape.panel import ShapePanel
from .table_list import TableList

Cell = tuple[int, ...]
GRID_SHARE = 0.52
RESULT_SHARE = 0.3
"""What the grid has of the height beside the plots, and beside the resulting torque."""
NARROW, LOW, WIDE = 900, 460, 1700
"""Below these sizes (a small screen at 200 %) not everything is shown at once; from the last on
grid and plots stand side by side, and names in the list are whole."""
GRID_MOST = 0.58
"""What the grid has of the width at most beside the plots."""


class TunePage(WorkArea):
    """Where tables are shaped.

    Parameters
    ----------
    desk : Desk

    Attributes
    ----------
    table_list, grid, plots, findings, rules, strip : QWidget
    """

    can_show_result: ClassVar[bool] = True

    def __init__(self, desk: Desk, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self.table_list = TableList(desk)
        self.grid_panel = GridPanel(desk)
        self.grid = self.grid_panel.view
        self.plots = PlotPanel(desk)
        self.findings = FindingsPanel(desk)
        self.rules = RulesPanel(desk)
        self.rules.edit_button.clicked.connect(self.edit_rules)
        self.rules.previewed.connect(self._on_preview)
        self.side = QTabWidget()
        self.side.setDocumentMode(True)
        self.side.addTab(self.findings, "Findings")
        self.side.addTab(self.rules, "Rules")
        self.shape = ShapePanel(desk)
        self.side.addTab(self.shape, "Shape")
        self.shape.banner.in_cells.connect(self.grid.grid.show_proposal)
        self.side.currentChanged.connect(self._on_side)
        self._middle = QSplitter(Qt.Orientation.Vertical)
        top = QWidget()
        column = QVBoxLayout(top)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        self.header = TableHeader(desk)
        self.header.stand_beside(self.shape.banner)
        column.addWidget(self.grid_panel, 1)
        self._middle.addWidget(top)
        self._middle.addWidget(self.plots)
        self._middle.setStretchFactor(0, 5)
        self._middle.setStretchFactor(1, 4)
        self._across = QSplitter(Qt.Orientation.Horizontal)
        self.strip = LiveStrip(desk)
        middle = QWidget()
        below = QVBoxLayout(middle)
        below.setContentsMargins(0, 0, 0, 0)
        below.setSpacing(0)
        below.addWidget(self.header)
        below.addWidget(self._middle, 1)
        below.addWidget(self.strip)
        for widget in (self.table_list, middle, self.side):
            self._across.addWidget(widget)
        self._across.setStretchFactor(1, 1)
        self._across.setSizes([252, 800, 288])
        self._middle.setSizes([330, 300])
        self._turns = Turns(self, NARROW, self.table_list, self.side)
        self._preview: Preview | None = None
        """What a rule that is being written would find."""
        self._chosen: dict[Qt.Orientation, bool] = {}
        """Whether the user moved the line between grid and plots, as they lie."""
        self._widths_chosen = False
        self._middle.splitterMoved.connect(self._on_moved)
        self._across.splitterMoved.connect(self._on_widths)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self._across)
        desk.findings_changed.connect(self._spread_findings)
        desk.table_changed.connect(self._spread_findings)
        desk.table_changed.connect(self._share)
        desk.focus_grid.connect(self.grid.setFocus)
        self.plots.result_changed.connect(self._share)
        self._spread_findings()
        belongs(self.grid, "cell", self.grid.choose_at)
        for header, thing in zip(self.grid.headers, ("axis across", "axis down"), strict=True):
            belongs(header, thing, header.choose_at)
        belongs(self.table_list.view, "table", self.table_list.choose_at)
        belongs(self.plots, "plot")
        belongs(self.findings.list, "finding")
        belongs(self.rules.list, "rule")

    def state(self) -> QByteArray:
        """Return where the splitters stand."""
        return QByteArray(
            bytes(self._across.saveState().data()) + b"|" + bytes(self._middle.saveState().data())
        )

    # -- room ----------------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._arrange()

    def _arrange(self) -> None:
        """Give up panes where there is no room for all: the list and the findings take turns."""
        self._turns.arrange()
        self.header.set_brief(self.height() < LOW)
        self.shape.banner.set_brief(self.height() < LOW)
        self.strip.set_thin(self.height() < LOW)
        wide = self.width() >= WIDE
        across, down = Qt.Orientation.Horizontal, Qt.Orientation.Vertical
        self._middle.setOrientation(across if wide else down)
        if wide and not self._widths_chosen:
            side = max(300, self.width() // 7)
            self._across.setSizes([side, self.width() - 2 * side, side])
        self._share()

    def _on_moved(self, _position: int, _index: int) -> None:
        self._chosen[self._middle.orientation()] = True

    def _on_widths(self, _position: int, _index: int) -> None:
        self._widths_chosen = True

    def _share(self) -> None:
        """Give the room that a small grid leaves empty to the plots, until the user chooses."""
        total = sum(self._middle.sizes())
        if self._chosen.get(self._middle.orientation()) or total == 0:
            return
        if self._middle.orientation() == Qt.Orientation.Horizontal:
            grid = min(round(total * GRID_MOST), self.grid.content_width())
        else:
            around = self.grid_panel.height() - self.grid.height()
            share = RESULT_SHARE if self.plots.shows_result else GRID_SHARE
            grid = min(round(total * share), around + self.grid.content_height())
        self._middle.setSizes([grid, total - grid])

    # -- findings at their cells -------------------------------------------------------------

    def _spread_findings(self) -> None:
        table, report = self.desk.table, self.desk.report
        cells: dict[Cell, list[tuple[str, str]]] = defaultdict(list)
        if table is not None and report is not None:
            for finding in report.of(table.id):
                for cell in finding.cells:
                    cells[cell].append((str(finding.severity), finding.message))
            for finding in self._preview.findings if self._preview is not None else ():
                if finding.table == table.id:
                    for cell in finding.cells:
                        words = f"Would be named: {finding.message}"
                        cells[cell].append((str(finding.severity), words))
            self.grid.grid.set_findings(table.id, cells)
        worst = {cell: min(found, key=_weight) for cell, found in cells.items()}
        self.plots.set_findings(worst)
        if report is not None:
            counts = {id: report.counts(id) for id, found in report.by_table.items() if found}
            self.table_list.set_findings(counts)

    def _on_preview(self, preview: Preview | None) -> None:
        if preview is not self._preview:
            self._preview = preview
            self._spread_findings()

    # -- what the actions do -----------------------------------------------------------------

    @property
    def cells(self) -> GridView:
        """The grid that the menus act on."""
        return self.grid

    def take_keyboard(self) -> None:
        """Give the keyboard to the grid."""
        self.grid.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def turn_slices(self) -> bool:
        """Run the slices along the other axis."""
        self.plots.swap_along()
        return True

    def show_result(self) -> None:
        """Show the resulting torque, or go back to the plots of the table in work."""
        self.plots.show_result()

    @property
    def shows_result(self) -> bool:
        """Whether the resulting torque is shown."""
        return self.plots.shows_result

    def step_table(self, by: int) -> None:
        """Open the next (or previous) table as the list shows them."""
        self.table_list.step(by)

    def step_finding(self, by: int) -> None:
        """Go to the next (or previous) finding of the set, at its cell."""
        self.findings.step(by)

    def apply_remedy(self, number: int) -> None:
        """Mend the chosen finding by one of the remedies listed."""
        self.findings.apply_remedy(number)

    def find_tables(self) -> None:
        """Show the table list and give its filter the keyboard."""
        self._turns.show(self.table_list)
        self.table_list.focus_filter()

    def edit_rules(self) -> None:
        """Open the table's rule sheet."""
        if self.desk.table is not None:
            RulesDialog(self.desk, self).open()

    def bind_roles(self) -> None:
        """Show which tables may play which role, to be confirmed."""
        if self.desk.current is not None:
            RolesDialog(self.desk, self).open()

    def edit_details(self) -> None:
        """Open the table's details."""
        if self.desk.table is not None:
            DetailsDialog(self.desk, self).open()

    def _on_side(self, number: int) -> None:
        self.shape.set_in_sight(self.side.widget(number) is self.shape)

    def show_tool(self, tool_id: str) -> None:
        """Show a shaping tool and its proposal."""
        self.show_side(2)
        self.shape.choose(tool_id)

    def show_side(self, number: int) -> None:
        """Show findings (0), rules (1) or shaping (2) and give them the keyboard."""
        self._turns.show(self.side)
        self.side.setCurrentIndex(number)
        if number == 1:
            self.rules.take_keyboard()
            return
        target = self.findings.list if number == 0 else self.shape.choice
        target.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def add_rule(self) -> None:
        """Open the form for a new rule of the table in work."""
        self.show_side(1)
        self.rules.add()

    def suggest_rules(self) -> None:
        """Show the rules that the present shape suggests."""
        self.show_side(1)
        self.rules.suggest()

    def panes(self) -> Sequence[Pane]:
        """List, grid, plots, and what stands beside."""

        def tables() -> bool:
            self._turns.show(self.table_list)
            return to_widget(self.table_list.view)

        def side() -> bool:
            self.show_side(self.side.currentIndex())
            return True

        return (
            Pane(self.table_list, tables),
            Pane(self.grid_panel, lambda: to_widget(self.grid)),
            Pane(self.plots, lambda: to_widget(self.plots)),
            Pane(self.side, side),
        )


def _weight(finding: tuple[str, str]) -> int:
    return ("error", "warning", "note").index(finding[0])
