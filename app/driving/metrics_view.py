"""The table of desk estimates, worked by keyboard."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QSize, Qt
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView, QWidget

from app.driving.metrics_model import KEPT, LIMIT, MEASURE, MetricsModel
from app.driving.service import Driving


class MetricsView(QTableView):
    """Measures in rows; the limit's column can be edited.

    Parameters
    ----------
    driving : Driving
    """

    def __init__(self, driving: Driving, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.metrics = MetricsModel(driving)
        self.setModel(self.metrics)
        self.setAccessibleName("Desk estimates of the manoeuvre, with units")
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setAlternatingRowColors(True)
        self.setWordWrap(False)
        self.setEditTriggers(
            QAbstractItemView.EditTrigger.EditKeyPressed
            | QAbstractItemView.EditTrigger.AnyKeyPressed
            | QAbstractItemView.EditTrigger.DoubleClicked
        )
        self.verticalHeader().hide()
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        head = self.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setHighlightSections(False)
        head.setStretchLastSection(True)
        self.metrics.modelReset.connect(self._on_reset)
        self._fit()

    def _on_reset(self) -> None:
        self.clearSpans()
        for row, entry in enumerate(self.metrics.entries):
            if entry.measure is None:
                self.setSpan(row, MEASURE, 1, KEPT + 1)
        self.updateGeometry()

    def _fit(self) -> None:
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + 8)

    def sizeHint(self) -> QSize:
        """As tall as all rows, so that a short table leaves its room to the plots."""
        rows = sum(self.rowHeight(r) for r in range(self.metrics.rowCount()))
        scrolls = self.horizontalHeader().length() > max(self.viewport().width(), 300)
        bar = self.horizontalScrollBar().sizeHint().height() if scrolls else 0
        head = self.horizontalHeader().sizeHint().height()
        return QSize(400, rows + head + bar + 2 * self.frameWidth() + 2)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Delete takes a limit away; Enter edits it."""
        index = self.currentIndex()
        entry = self.metrics.entries[index.row()] if index.isValid() else None
        measured = entry is not None and entry.measure is not None
        if event.key() == Qt.Key.Key_Delete and index.column() == LIMIT and measured:
            self.metrics.setData(index, "")
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and measured:
            at = self.metrics.index(index.row(), LIMIT)
            self.setCurrentIndex(at)
            self.edit(at)
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Use the width."""
        super().resizeEvent(event)
        self.updateGeometry()

    def changeEvent(self, event: QEvent) -> None:
        """Follow the font."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self._fit()
