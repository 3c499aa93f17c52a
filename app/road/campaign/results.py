"""What came of a campaign: how an estimate spreads by set, and the worst runs."""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QHBoxLayout, QSplitter, QTabWidget, QVBoxLayout, QWidget

from app.driving.service import Driving
from app.driving.shapes import CampaignTable, Case, Drivable, Measure
from app.driving.spread import PERCENTS, spreads, worst_rows
from app.driving.spread_plot import SpreadPlot
from app.driving.verdict import number
from app.plain import PlainLabel
from app.plots import words
from app.quiet import QuietCombo
from app.road.rows import Column, Row, RowsView

WORST = 40

_SPREAD = (
    Column("Set"),
    Column("Runs", number=True),
    Column("Not completed", number=True, tip="Runs that left what the model is made for."),
    Column("No value", number=True, tip="Runs that do not give this number."),
    *(
        Column(f"{p:g} %", number=True, tip=f"{p:g} % of the runs are at or below.")
        for p in PERCENTS
    ),
    Column("Worst", number=True),
    Column("Beyond your limit", number=True),
)


class CampaignResults(QWidget):
    """Distributions and worst cases of one estimate at a time.

    Signals
    -------
    case_wanted : Case
        Enter on a worst case.

    Parameters
    ----------
    driving : Driving
    """

    case_wanted = Signal(object)

    def __init__(self, driving: Driving, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.driving = driving
        self.table: CampaignTable | None = None
        self.manoeuvre = QuietCombo()
        self.manoeuvre.setAccessibleName("Manoeuvre whose results are shown")
        self.manoeuvre.activated.connect(lambda _i: self._fill_measures())
        self.measure = QuietCombo()
        self.measure.setAccessibleName("Estimate whose spread is shown")
        self.measure.activated.connect(lambda _i: self._show())
        self.form = QuietCombo()
        self.form.addItems(["Shares at or below", "Runs per class"])
        self.form.setAccessibleName("How the spread is drawn")
        self.form.activated.connect(lambda _i: self._show())
        for box in (self.manoeuvre, self.measure, self.form):
            box.setSizeAdjustPolicy(
                QuietCombo.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
            box.setMinimumContentsLength(7)
            box.setMinimumHeight(30)
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.plot = SpreadPlot()
        self.spread_rows = RowsView(_SPREAD, 0, "Spread of the estimate by set")
        self.worst = RowsView(self._worst_columns(()), 1, "Worst runs; Enter drives one again")
        self.worst.taken.connect(self._on_taken)
        down = QSplitter(Qt.Orientation.Vertical)
        down.addWidget(self.plot)
        down.addWidget(self.spread_rows)
        down.setStretchFactor(0, 3)
        down.setStretchFactor(1, 1)
        self._worst_page = QWidget()
        column = QVBoxLayout(self._worst_page)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        self._worst_words = PlainLabel("Enter drives a run again and shows it in Manoeuvres.")
        self._worst_words.setContentsMargins(6, 3, 6, 0)
        column.addWidget(self._worst_words)
        column.addWidget(self.worst, 1)
        self._worst_column = column
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.tabs.addTab(down, "Distributions")
        self.tabs.addTab(self._worst_page, "Worst cases")
        self._down = down
        bar = QHBoxLayout()
        bar.setContentsMargins(6, 4, 6, 0)
        for widget, stretch in ((self.manoeuvre, 3), (self.measure, 3), (self.form, 2)):
            bar.addWidget(widget, stretch)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(3)
        self.words.setContentsMargins(6, 2, 6, 0)
        whole.addWidget(self.words)
        whole.addLayout(bar)
        whole.addWidget(self.tabs, 1)
        driving.limits_changed.connect(self._show)
        self.say("No campaign has been run or opened yet.")
        self._enable()

    def say(self, sentence: str) -> None:
        """Show a sentence above the results."""
        self.words.setText(sentence)

    def show_table(self, table: CampaignTable) -> None:
        """Show the results of a campaign."""
        self.table = table
        kept = self.manoeuvre.currentData(), self.measure.currentData()
        self.manoeuvre.clear()
        for id in dict.fromkeys(table.manoeuvre):
            drivable = self.driving.drivable(id)
            self.manoeuvre.addItem(drivable.name if drivable is not None else id, id)
        self.manoeuvre.setCurrentIndex(max(self.manoeuvre.findData(kept[0]), 0))
        self._rebuild_worst(table)
        self._fill_measures(kept[1])
        self._enable()

    def _enable(self) -> None:
        for widget in (self.manoeuvre, self.measure, self.form):
            widget.setEnabled(self.table is not None)
        self.plot.setVisible(self.table is not None)  # empty axes tell nothing

    @property
    def drivable(self) -> Drivable | None:
        """The manoeuvre whose results are shown."""
        return self.driving.drivable(self.manoeuvre.currentData() or "")

    def _measures(self) -> tuple[Measure, ...]:
        drivable, table = self.drivable, self.table
        if table is None:
            return ()
        if drivable is None:  # of a file of manoeuvres that is not open now
            return tuple(Measure(name, name.replace("_", " "), "") for name in table.values)
        return tuple(m for m in drivable.measures if m.name in table.values)

    def _fill_measures(self, wanted: str | None = None) -> None:
        before = wanted or self.measure.currentData()
        self.measure.clear()
        for measure in self._measures():
            self.measure.addItem(words.titled(measure.label, measure.unit), measure.name)
        self.measure.setCurrentIndex(max(self.measure.findData(before), 0))
        self._show()

    def _show(self) -> None:
        table = self.table
        manoeuvre, name = self.manoeuvre.currentData(), self.measure.currentData()
        measure = next((m for m in self._measures() if m.name == name), None)
        if table is None or measure is None or not manoeuvre:
            return
        limit = self.driving.limit(manoeuvre, measure)
        found = spreads(table, manoeuvre, measure.name)
        counted = self.form.currentIndex() == 1
        self.plot.show_spreads(found, measure, limit, counted=counted)
        rows = []
        for spread in found:
            missing = int((spread.completed & ~np.isfinite(spread.values)).sum())
            texts = (
                spread.set_title,
                str(spread.rows.size),
                str(int((~spread.completed).sum())),
                str(missing),
                *(number(spread.percentile(p)) for p in PERCENTS),
                number(spread.worst(measure)),
                str(spread.beyond(measure, limit)) if math.isfinite(limit) else "no limit set",
            )
            rows.append(Row(texts, spread.set_title))
        self.spread_rows.show_rows(rows)
        self._show_worst(table, manoeuvre, measure)

    # -- worst cases -----------------------------------------------------------------------------

    def _worst_columns(self, factors: tuple[str, ...]) -> tuple[Column, ...]:
        briefs = {v.name: v.brief for v in self.driving.model.variations()} if factors else {}
        return (
            Column("Run", number=True),
            Column("Set"),
            Column("Estimate"),
            *(Column(briefs.get(name, name), number=True) for name in factors),
        )

    def _rebuild_worst(self, table: CampaignTable) -> None:
        columns = self._worst_columns(tuple(table.factors))
        if columns == self.worst.rows_model.columns:
            return
        old = self.worst
        self.worst = RowsView(columns, 1, "Worst runs; Enter drives one again")
        self.worst.taken.connect(self._on_taken)
        self._worst_column.replaceWidget(old, self.worst)
        old.hide()
        old.deleteLater()

    def _show_worst(self, table: CampaignTable, manoeuvre: str, measure: Measure) -> None:
        rows = []
        values = table.values[measure.name]
        for run in worst_rows(table, manoeuvre, measure, WORST):
            done = bool(table.completed[run])
            value = float(values[run])
            text = number(value, measure.unit) if math.isfinite(value) else "no value"
            if not done:
                text = f"✗ not completed: {table.why[run]}"
            factors = (number(float(column[run])) for column in table.factors.values())
            texts = (str(run + 1), table.set_title[run], text, *factors)
            rows.append(Row(texts, run, strong=not done, tip=table.why[run]))
        self.worst.show_rows(rows)

    def _on_taken(self, run: int) -> None:
        table = self.table
        if table is None:
            return
        factors = {name: float(column[run]) for name, column in table.factors.items()}
        self.case_wanted.emit(
            Case(table.manoeuvre[run], table.set_title[run], factors, table.native, run)
        )

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on."""
        super().focusInEvent(event)
        self.focus_list()

    def focus_list(self) -> None:
        """Give the keyboard to the list of the tab that is shown."""
        target = self.worst if self.tabs.currentIndex() == 1 else self.spread_rows
        target.setFocus(Qt.FocusReason.OtherFocusReason)
