"""The work area Compare: two sides, the summary, one table in both sets, taking over."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from html import escape
from typing import ClassVar

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QHideEvent, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QProgressBar,
    QPushButton,
    QSplitter,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.desk import Desk
from app.look.chip import letter_of
from app.look.empty import EmptyPage, Way, act
from app.look.parts import ShortLabel
from app.plain import PlainLabel
from app.turns import Turns
from app.work.jobs import Jobs
from app.work_area import Pane, WorkArea, to_widget
from calib_model.cautions import LINE
from calib_model.compare import State, TableComparison
from calib_model.compare.relation import oriented
from calib_model.compare.take_over import Into

from .detail import Detail
from .earlier import EarlierDialog
from .grids import ComparedGrid
from .result_pane import ResultPane
from .service import Comparing
from .sides_bar import SidesBar
from .summary import Summary
from .takes import TakesOver
from .taking import Scope, TakeStrip
from .words import STATES, counted

NARROW, LOW = 900, 460
"""Below these sizes list and table take turns, and lines that can be missed are left out."""
PURPOSE = (
    "With two sets this page shows which tables differ, where, by how much, and whether they keep "
    "the relation between their modes."
)
SAMPLES = "Open the sets of the invented programme Larch."


class ComparePage(WorkArea):
    """Two sets side by side.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
        The window's background work.

    Attributes
    ----------
    comparing : Comparing
    summary, detail, strip, sides : QWidget
    result : ResultPane
        The resulting torque of both sets, in place of the tables.
    """

    can_show_result: ClassVar[bool] = True

    def __init__(self, desk: Desk, jobs: Jobs, parent: QWidget | None = None) -> None:
        super().__init__(desk, parent)
        self._jobs = jobs
        self.comparing = Comparing(desk, jobs, self)
        self.sides = SidesBar(desk, self.comparing)
        self.summary = Summary()
        self.detail = Detail()
        self.strip = TakeStrip()
        self.result = ResultPane(desk, self.comparing)
        self.result.jumped.connect(self.jumped)
        pair = self.detail.pair
        self.takes = TakesOver(desk, jobs, self.comparing, self.summary, pair, self.strip)
        self._just_shown = False
        self._build()
        self._connect()
        self._on_sides()

    # -- building --------------------------------------------------------------------------------

    def _build(self) -> None:
        self.empty = EmptyPage()
        self.progress = QProgressBar()
        self.progress.setRange(0, 100)
        self.progress.setTextVisible(True)
        self.progress.setAccessibleName("How far the comparison is")
        self.cancel = QPushButton("Cancel")
        self.cancel.setToolTip("Gives the comparison up.")
        self.cancel.clicked.connect(lambda _checked=False: self._on_cancel())
        self.wait = QWidget()
        row = QHBoxLayout(self.wait)
        row.setContentsMargins(8, 2, 8, 2)
        row.addWidget(PlainLabel("Comparing…"))
        row.addWidget(self.progress, 1)
        row.addWidget(self.cancel)
        self.wait.hide()
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.detail, 1)
        column.addWidget(self.strip)
        self._right = right
        self._turns = Turns(self, NARROW, self.summary, right)
        self._across = QSplitter(Qt.Orientation.Horizontal)
        self._across.addWidget(self.summary)
        self._across.addWidget(right)
        self._across.setStretchFactor(1, 1)
        self._across.setSizes([300, 1000])
        self._across.setChildrenCollapsible(False)
        self.caution = ShortLabel(LINE, "small", second=True)
        self.caution.setIndent(6)
        self._pages = QStackedWidget()
        self._pages.addWidget(self._across)
        self._pages.addWidget(self.empty)
        self._pages.addWidget(self.result)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addWidget(self.sides)
        whole.addWidget(self.wait)
        whole.addWidget(self._pages, 1)
        whole.addWidget(self.caution)
        self.setFocusProxy(self.summary.view)

    def _connect(self) -> None:
        comparing, pair = self.comparing, self.detail.pair
        comparing.sides_changed.connect(self._on_sides)
        comparing.compared.connect(self._on_compared)
        comparing.updated.connect(self._on_updated)
        comparing.busy_changed.connect(self._on_busy)
        comparing.progressed.connect(lambda share: self.progress.setValue(round(100 * share)))
        self.sides.earlier_wanted.connect(self.choose_earlier)
        self.sides.result_wanted.connect(self._arrange_pages)
        self.summary.chosen.connect(self._on_chosen)
        self.summary.entered.connect(self.focus_cells)
        self.summary.threshold_changed.connect(self._on_threshold)
        self.summary.rows.modelReset.connect(self._on_listed)
        pair.selection_changed.connect(self.takes.say_scopes)
        pair.cursor_changed.connect(self._follow_on_desk)
        pair.told.connect(lambda text, refused: self.desk.tell(text, refused=refused))
        self.strip.left.connect(self.focus_cells)
        self.strip.asked.connect(self.desk.tell)

    # -- what the window asks --------------------------------------------------------------------

    @property
    def cells(self) -> ComparedGrid:
        """The grid that the menus act on."""
        return self.detail.grid

    def step_table(self, by: int) -> None:
        """Show the next (or previous) table of the list."""
        if not self.summary.step(by):
            end = "last" if by > 0 else "first"
            self.desk.tell(f"This is the {end} table of the list.")

    def step_finding(self, by: int) -> None:
        """Go to the next (or previous) cell that breaches the relation between the modes."""
        if self.comparing.prepared is None:
            return
        pair = self.detail.pair
        if self.summary.shown and pair.step_breach(by):
            self._tell_breach()
            return
        rows = self.summary.rows
        row = rows.row_of(self.summary.shown) + by if self.summary.shown else 0
        while (found := rows.pair_at(row)) is not None:
            if found.breaches:
                self.summary.show_table(found.id)
                cells = sorted(pair.breaches)
                if cells:
                    pair.set_cursor(cells[0 if by > 0 else -1])
                    self.focus_cells()
                self._tell_breach()
                return
            row += by
        total = len(self.comparing.prepared.comparison.breaches)
        if not total:
            self.desk.tell("No table breaches the relation between the modes.")
            return
        listed = sum(1 for id in rows.ids() if self._pair_of(id).breaches)
        hidden = total - listed
        what = "last" if by > 0 else "first"
        more = f" {counted(hidden, 'table')} in breach not listed." if hidden else ""
        self.desk.tell(f"This is the {what} breach of the list.{more}")

    def step_difference(self, by: int) -> None:
        """Go to the next (or previous) cell that differs, in the next table if need be."""
        pair = self.detail.pair
        if self.summary.shown and pair.step_difference(by):
            return
        if self.summary.step(by):
            places = np.flatnonzero(pair.counted().reshape(-1))
            pair.go_to_first(places, by)
            return
        self.desk.tell(f"This is the {'last' if by > 0 else 'first'} difference of the list.")

    def panes(self) -> Sequence[Pane]:
        """List, grids, plots, reason."""

        def enter(target: QWidget, number: int) -> bool:
            self._turns.show(self._right if number else self.summary)
            if number and self.detail.narrow and target is not self.strip.reason:
                self.detail.show_part(number - 1)
            return target.isVisible() and to_widget(target)

        def view() -> bool:
            return enter(self.detail.views.currentWidget() or self.detail.views, 4)

        grids = (self.detail.panes[which].view for which in ("first", "second", "difference"))
        stops = (self.summary.view, *grids)
        return (
            *(Pane(stop, partial(enter, stop, number)) for number, stop in enumerate(stops)),
            Pane(self.detail.views, view),
            Pane(self.strip.reason, lambda: enter(self.strip.reason, 5)),
        )

    def find_tables(self) -> None:
        """Show the list and give its filter the keyboard."""
        self._turns.show(self.summary)
        self.summary.focus_filter()

    def focus_cells(self) -> None:
        """Give the cells the keyboard."""
        self._turns.show(self._right)
        self.cells.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def turn_slices(self) -> bool:
        """Run the slices along the other axis."""
        self.detail.slices.turn()
        return True

    def list_all(self) -> None:
        """Clear every choice of the list."""
        self.summary.clear()

    def take(self, scope: Scope, into: Into) -> None:
        """Take over, once a reason is given."""
        self._turns.show(self._right)
        self.takes.take(scope, into)

    def choose_earlier(self) -> None:
        """Choose an earlier state of the set being edited, to hold it against."""
        document = self.desk.current
        if document is not None:
            EarlierDialog(
                document,
                self._jobs,
                self.comparing.hold_against,
                lambda text: self.desk.tell(text, refused=True),
                self,
            ).open()

    def open_in_tune(self) -> str:
        """Open the shown table in the set being edited; return its id, empty if it has none."""
        shown = self.summary.shown
        current = self.desk.current
        if current is None or shown not in current.content.tables:
            self.desk.tell("The set being edited has no such table.", refused=True)
            return ""
        self.desk.open_table(shown)
        self._follow_on_desk()
        return shown

    # -- sides -----------------------------------------------------------------------------------

    def show_result(self) -> None:
        """Show the resulting torque of both sets, or go back to their tables."""
        self.sides.result.toggle()
        if self.comparing.ready:
            target = self.result if self.shows_result else self.summary.view
            target.setFocus(Qt.FocusReason.ShortcutFocusReason)

    @property
    def shows_result(self) -> bool:
        """Whether the resulting torque is chosen."""
        return self.sides.result.isChecked()

    def _arrange_pages(self) -> None:
        if self.comparing.ready:
            self._pages.setCurrentIndex(2 if self.shows_result else 0)

    def _names(self) -> tuple[tuple[str, str], tuple[str, str]]:
        """Return what reference and edited set are called, and their letters."""
        first, second = self.comparing.first, self.comparing.second
        if first is None or second is None:
            return ("Reference", "Edited set"), ("reference", "edited")
        letters = (
            letter_of(self.desk.number(first.document)) if first.is_live else "earlier",
            letter_of(self.desk.number(second.document)),
        )
        return (first.name, second.name), letters

    def _on_sides(self) -> None:
        comparing = self.comparing
        if comparing.ready:
            self._arrange_pages()
        else:
            self._show_empty()
            self._pages.setCurrentIndex(1)
        _, letters = self._names()
        for into, letter in zip((Into.FIRST, Into.SECOND), letters, strict=True):
            side = self.takes.side(into)
            name = side.name if side is not None else ""
            why = side.why_fixed if side is not None else "No set is chosen."
            self.strip.show_target(into, letter, name, why)
        self.strip.setVisible(comparing.ready)

    def _show_empty(self) -> None:
        """Say what is compared here, and how two sets come to be there."""
        current = self.desk.current
        samples = Way("Open sample sets", act(self, "file.open_samples"), SAMPLES)
        if current is None:
            first = Way("Open two sets…", act(self, "file.open"), "Open calibration sets.")
            self.empty.show_ways("Compare two sets", PURPOSE, [first, samples])
            return
        second = Way("Open a second set…", act(self, "file.open"), "Open another set.")
        earlier = Way(
            "Choose an earlier state…",
            self.choose_earlier,
            "Hold the set against a state of its own history.",
        )
        if len(self.desk.documents) > 1:
            choose = Way(
                "Choose the reference",
                act(self, "sets.choose_reference"),
                "The set to compare with, for all pages.",
            )
            said = f"{current.title} has no reference to compare with."
            self.empty.show_ways("Compare two sets", f"{said} {PURPOSE}", [choose, earlier])
            return
        said = f"Only {current.title} is open, and it has no edits since it was saved."
        self.empty.show_ways("Compare two sets", f"{said} {PURPOSE}", [second, earlier, samples])

    # -- comparing -------------------------------------------------------------------------------

    def _pair_of(self, table_id: str) -> TableComparison:
        assert self.comparing.prepared is not None
        return self.comparing.prepared.comparison.tables[table_id]

    def _on_compared(self) -> None:
        comparing = self.comparing
        self.summary.show_prepared(comparing.prepared)
        if comparing.prepared is not None:
            self.summary.say_empty("")
        elif comparing.cancelled:
            self.summary.say_empty("The comparison was given up. F5 compares again.")
        elif comparing.busy:
            self.summary.say_empty("Comparing the two sets…")
        else:
            self.summary.say_empty("Choose a set and a reference above.")
        self._say_summary()
        if comparing.prepared is None:
            self.detail.show_pair(None, None, self.summary.threshold, *self._names())
            self.takes.say_scopes()
            return
        tables = comparing.prepared.comparison.tables
        wanted = self.summary.shown if self.summary.shown in tables else ""
        first = self.summary.rows.pair_at(0)
        self.summary.show_table(wanted or (first.id if first is not None else ""))
        if self._just_shown:
            self._just_shown = False
            here = self.focusWidget()
            if here is None or not self._right.isAncestorOf(here):
                # The list could not take the keyboard while there was none.
                self.summary.view.setFocus(Qt.FocusReason.OtherFocusReason)

    def _on_busy(self) -> None:
        self.wait.setVisible(self.comparing.busy)
        self.progress.setValue(0)

    def _on_updated(self, _ids: object) -> None:
        shown = self.summary.shown
        self.summary.show_prepared(self.comparing.prepared)
        self._say_summary()
        self._show(shown)

    def _on_cancel(self) -> None:
        self.comparing.cancel()

    def compare_again(self) -> None:
        """Compare again after it was given up."""
        self.comparing.again()

    def _say_summary(self) -> None:
        prepared = self.comparing.prepared
        if prepared is None:
            self.sides.words.setText("")
            return
        counts = self.summary.rows.counts()
        parts = [f"{counts[state]} {STATES[state]}" for state in State if counts[state]]
        text = f"{counted(len(prepared.pairs), 'table')}: {', '.join(parts)}."
        result = prepared.comparison
        sets = oriented(result.first, result.second)
        if sets is not None:
            if result.breaches:
                waived = sum(1 for b in result.breaches if b.waived)
                mode = f"relation of {sets[0].mode} to {sets[1].mode}"
                text = (
                    f"{counted(len(result.breaches), 'table')} in breach of the {mode}"
                    + (f" ({waived} waived)" if waived else "")
                    + f" (F8). {text}"
                )
            else:
                text = f"{text} {result.relation} No table is in breach."
        self.sides.words.setText(text)

    # -- the table in sight ----------------------------------------------------------------------

    def _on_chosen(self, table_id: str) -> None:
        self._show(table_id)
        current = self.desk.current
        sides = (self.comparing.first, self.comparing.second)
        if any(s is not None and s.document is current and s.is_live for s in sides):
            self.desk.open_table(table_id)

    def _show(self, table_id: str) -> None:
        prepared = self.comparing.prepared
        pair = prepared.comparison.tables.get(table_id) if prepared is not None else None
        left = pair if self.summary.rows.row_of(table_id) < 0 else None
        if left is not None:
            pair = None  # nothing is shown that is not listed
        self.detail.show_pair(
            pair,
            prepared.comparison if prepared is not None else None,
            self.summary.threshold,
            *self._names(),
        )
        if left is not None:
            self.detail.what.setText(
                escape(f"{left.table.label} is not listed now. Choose a table from the list.")
            )
        self.takes.say_scopes()

    def _on_listed(self) -> None:
        """Keep to what is listed: a table goes with its row, and comes back with it."""
        shown = self.summary.shown
        listed = self.summary.rows.row_of(shown) >= 0
        if shown and listed != (self.detail.pair.pair is not None):
            self._show(shown)
        else:
            self.takes.say_scopes()

    def _on_threshold(self) -> None:
        prepared = self.comparing.prepared
        self.detail.mark(
            prepared.comparison if prepared is not None else None, self.summary.threshold
        )

    def _follow_on_desk(self) -> None:
        """Put the desk's cursor where this one is, so that Tune opens on the same cell."""
        aligned, table = self.detail.pair.aligned, self.desk.table
        shown = self.summary.shown
        if aligned is not None and aligned.same_grid and table is not None and table.id == shown:
            self.desk.set_cursor(self.detail.pair.cursor)

    def _tell_breach(self) -> None:
        found = self.detail.pair.breaches.get(self.detail.pair.cursor)
        if found is not None:
            self.desk.tell(found[1])

    # -- room ------------------------------------------------------------------------------------

    def _arrange(self) -> None:
        """Where there is no room for both, list and table take turns."""
        self._turns.arrange()
        self.caution.setVisible(self.height() >= LOW)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Arrange for the new size."""
        super().resizeEvent(event)
        self._arrange()

    def showEvent(self, event: QShowEvent) -> None:
        """Begin, or catch up with what was edited meanwhile."""
        super().showEvent(event)
        self._just_shown = self.comparing.prepared is None
        self.comparing.set_active(True)
        self._on_sides()

    def hideEvent(self, event: QHideEvent) -> None:
        """Let comparing be."""
        super().hideEvent(event)
        self.comparing.set_active(False)
