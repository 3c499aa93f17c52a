"""What came of a campaign: how an estimate spreads by set, and the worst runs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QSplitter,
    QStackedWidget,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.driving.manoeuvre_words import brief, metrics_of
from app.driving.service import Driving
from app.driving.shapes import Case
from app.driving.spread import PERCENTS, spreads, worst_rows
from app.driving.spread_plot import SpreadPlot
from app.driving.verdict import number
from app.look.empty import EmptyPage
from app.plain import PlainLabel
from app.plots import words
from app.quiet import QuietCombo
from app.road.rows import Column, Row, RowsView
from app.things import belongs

if TYPE_CHECKING:
    from calib_model.vehicle.campaign import Campaign
    from calib_model.vehicle.manoeuvres import Manoeuvre
    from calib_model.vehicle.metrics import Metric
    from calib_model.vehicle.variations import Variation

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
        self.campaign: Campaign | None = None
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
        self.words = PlainLabel()
        self.words.setWordWrap(True)
        self.plot = SpreadPlot()
        self.spread_rows = RowsView(_SPREAD, 0, "Spread of the estimate by set")
        self.worst = RowsView(_worst_columns(()), 1, "Worst runs; Enter drives one again")
        self.worst.taken.connect(self._on_taken)
        belongs(self.worst, "run")
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
        self.empty = EmptyPage()
        results = QWidget()
        inner = QVBoxLayout(results)
        inner.setContentsMargins(0, 0, 0, 0)
        inner.addLayout(bar)
        inner.addWidget(self.tabs, 1)
        self._stack = QStackedWidget()
        self._stack.addWidget(self.empty)
        self._stack.addWidget(results)
        whole.addWidget(self._stack, 1)
        driving.limits_changed.connect(self._show)
        self._enable()

    def say(self, sentence: str) -> None:
        """Show a sentence above the results."""
        self.words.setText(sentence)

    def show_campaign(self, campaign: Campaign) -> None:
        """Show the results of a campaign."""
        self.campaign = campaign
        kept = self.manoeuvre.currentData(), self.measure.currentData()
        self.manoeuvre.clear()
        for manoeuvre in campaign.plan.manoeuvres:
            self.manoeuvre.addItem(manoeuvre.name, manoeuvre.id)
        self.manoeuvre.setCurrentIndex(max(self.manoeuvre.findData(kept[0]), 0))
        self._rebuild_worst(campaign)
        self._fill_measures(kept[1])
        self._enable()

    def _enable(self) -> None:
        for widget in (self.manoeuvre, self.measure, self.form):
            widget.setEnabled(self.campaign is not None)
        self._stack.setCurrentIndex(int(self.campaign is not None))

    @property
    def _shown(self) -> Manoeuvre | None:
        """The manoeuvre whose results are shown, as it was driven."""
        chosen = self.manoeuvre.currentData()
        manoeuvres = self.campaign.plan.manoeuvres if self.campaign is not None else ()
        return next((m for m in manoeuvres if m.id == chosen), None)

    def _measures(self) -> tuple[Metric, ...]:
        return () if self._shown is None else metrics_of(self._shown)

    def _fill_measures(self, wanted: str | None = None) -> None:
        before = wanted or self.measure.currentData()
        self.measure.clear()
        for measure in self._measures():
            self.measure.addItem(words.titled(measure.label, measure.unit), measure.name)
        self.measure.setCurrentIndex(max(self.measure.findData(before), 0))
        self._show()

    def _show(self) -> None:
        campaign, manoeuvre, name = self.campaign, self._shown, self.measure.currentData()
        measure = next((m for m in self._measures() if m.name == name), None)
        if campaign is None or measure is None or manoeuvre is None:
            return
        # A limit of the manoeuvre file that is open counts before that of the file driven with.
        limit = self.driving.limit(self.driving.manoeuvre(manoeuvre.id) or manoeuvre, name)
        found = spreads(campaign, manoeuvre.id, name)
        counted = self.form.currentIndex() == 1
        self.plot.show_spreads(found, measure, limit, counted=counted)
        rows = []
        for spread in found:
            missing = int((spread.completed & ~np.isfinite(spread.values)).sum())
            texts = (
                spread.set_name,
                str(spread.rows.size),
                str(int((~spread.completed).sum())),
                str(missing),
                *(number(spread.percentile(p)) for p in PERCENTS),
                number(spread.worst(measure)),
                str(spread.beyond(measure, limit)) if math.isfinite(limit) else "no limit set",
            )
            rows.append(Row(texts, spread.set_name))
        self.spread_rows.show_rows(rows)
        self._show_worst(campaign, manoeuvre.id, measure)

    # -- worst cases -----------------------------------------------------------------------------

    def _rebuild_worst(self, campaign: Campaign) -> None:
        columns = _worst_columns(campaign.plan.points.variations)
        if columns == self.worst.rows_model.columns:
            return
        old = self.worst
        self.worst = RowsView(columns, 1, "Worst runs; Enter drives one again")
        self.worst.taken.connect(self._on_taken)
        belongs(self.worst, "run")
        self._worst_column.replaceWidget(old, self.worst)
        old.hide()
        old.deleteLater()

    def _show_worst(self, campaign: Campaign, manoeuvre: str, measure: Metric) -> None:
        rows = []
        for run in worst_rows(campaign, manoeuvre, measure, WORST):
            case, why = Case(campaign.plan, run), campaign.why[run]
            done, value = bool(campaign.completed[run]), float(campaign.metrics[measure.name][run])
            text = number(value, measure.unit) if math.isfinite(value) else "no value"
            if not done:
                text = f"✗ not completed: {why}"
            texts = (str(run + 1), case.set_name, text, *map(number, case.factors.values()))
            rows.append(Row(texts, run, strong=not done, tip=why))
        self.worst.show_rows(rows)

    def _on_taken(self, run: int) -> None:
        if self.campaign is not None:
            self.case_wanted.emit(Case(self.campaign.plan, run))

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Hand the keyboard on."""
        super().focusInEvent(event)
        self.focus_list()

    @property
    def list_shown(self) -> RowsView:
        """The list of the tab that is shown."""
        return self.worst if self.tabs.currentIndex() == 1 else self.spread_rows

    def focus_list(self) -> None:
        """Give the keyboard to the list of the tab that is shown."""
        self.list_shown.setFocus(Qt.FocusReason.OtherFocusReason)


def _worst_columns(varied: tuple[Variation, ...]) -> tuple[Column, ...]:
    return (
        Column("Run", number=True),
        Column("Set"),
        Column("Estimate"),
        *(Column(brief(v), number=True) for v in varied),
    )
