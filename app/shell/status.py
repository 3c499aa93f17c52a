"""The status line: a message that expires, counts of findings, the selection or the progress.

Each has a place of its own, so that none covers or moves another.  The cell under the cross-hair is
read where it is worked on, above the grid.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QProgressBar,
    QStackedWidget,
    QStatusBar,
    QToolButton,
    QWidget,
)

from app.look.brush import colour
from app.look.palettes import tones_of
from app.look.parts import ShortLabel, TextLabel
from app.look.tokens import APART, NEAR
from app.plain import plain_tip
from app.work.jobs import Job
from calib_model.core.table import Table

from .base import Shell
from .findings_service import FindingsService

PLACE_SHARE, PLACE_MOST = 0.36, 520
"""Width of the place of the selection or the progress: a share of the window's, at most pixels."""
SHOW_AFTER_MS = 300
"""Work that ends sooner shows no progress: a flicker would only disturb."""


class StatusLine(QStatusBar):
    """The line at the bottom of the window.

    Parameters
    ----------
    window : Shell
    service : FindingsService
    """

    def __init__(self, window: Shell, service: FindingsService) -> None:
        super().__init__(window)
        self._window, self._service = window, service
        self.setSizeGripEnabled(False)
        self.progress = QProgressBar()
        self.progress.setFixedSize(120, 14)
        self.progress.setTextVisible(False)
        self.progress.setAccessibleName("Progress of the work in the background")
        self.job_label = ShortLabel(second=True)
        self.cancel = QToolButton()
        self.cancel.setText("Cancel")
        self.cancel.setAccessibleName("Cancel the work in the background")
        self.cancel.clicked.connect(lambda _checked=False: self._cancel())
        self.findings = TextLabel()
        self.findings.setAccessibleName("Findings of the set being edited")
        self.cell = ShortLabel(mode=Qt.TextElideMode.ElideLeft, second=True)
        self.cell.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.cell.setAccessibleName("Selected cells")
        work = QWidget()
        row = QHBoxLayout(work)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(NEAR)
        row.addWidget(self.job_label, 1)
        row.addWidget(self.progress)
        row.addWidget(self.cancel)
        self.place = QStackedWidget()
        self.place.addWidget(self.cell)
        self.place.addWidget(work)
        # Messages have what is left; neither of the two places moves for them.
        self.findings.setContentsMargins(APART, 0, 0, 0)
        self.place.setContentsMargins(APART, 0, APART, 0)
        self.addPermanentWidget(self.findings)
        self.addPermanentWidget(self.place)
        self._job: Job | None = None
        self._late = QTimer(self)
        self._late.setSingleShot(True)
        self._late.setInterval(SHOW_AFTER_MS)
        self._late.timeout.connect(self._show_job)
        desk = window.desk
        desk.told.connect(self._tell)
        self.messageChanged.connect(lambda text: self.setToolTip(plain_tip(text)))
        desk.findings_changed.connect(self.refresh_findings)
        desk.current_changed.connect(self.refresh_findings)
        window.jobs.changed.connect(self._on_jobs)
        for signal in (desk.table_changed, desk.selection_changed):
            signal.connect(self.refresh_cell)
        desk.edited.connect(lambda _event: self.refresh_cell())

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._make_room()

    def _make_room(self) -> None:
        """Give the two places their width: it depends on the window alone."""
        self.place.setFixedWidth(min(round(self.width() * PLACE_SHARE), PLACE_MOST))

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the message as far as its place goes; the tool tip has the whole of it."""
        painter, own = QPainter(self), tones_of(self.palette())
        painter.fillRect(self.rect(), colour(own.frame))
        painter.fillRect(0, 0, self.width(), 1, colour(own.line))
        room = self.rect().adjusted(APART, 1, 0, 0)
        room.setRight(self.findings.geometry().left() - NEAR)
        painter.setPen(colour(own.text))
        text = self.fontMetrics().elidedText(
            self.currentMessage(), Qt.TextElideMode.ElideRight, room.width()
        )
        painter.drawText(room, int(Qt.AlignmentFlag.AlignVCenter), text)

    def _tell(self, text: str, refused: bool) -> None:
        # A sign besides the words: a refusal must not look like a message of success.
        self.showMessage(
            f"\N{WARNING SIGN} {text}" if refused else text, 20_000 if refused else 8_000
        )

    # -- background work -------------------------------------------------------------------

    def _on_jobs(self) -> None:
        jobs = self._window.jobs.running
        job = jobs[0] if jobs else None
        if job is self._job:
            return
        self._job = job
        if job is None:
            self._late.stop()
            self.place.setCurrentIndex(0)
            return
        job.progressed.connect(self._on_progress)
        self.progress.setRange(0, 0)
        self._late.start()

    def _show_job(self) -> None:
        if self._job is not None:
            self.job_label.setText(f"{self._job.title}…")
            self.place.setCurrentIndex(1)
            self.cancel.setVisible(self._job.cancellable)

    def _on_progress(self, fraction: float, text: str) -> None:
        if fraction >= 0:
            self.progress.setRange(0, 1000)
            self.progress.setValue(round(1000 * fraction))
        if text:
            self.job_label.setText(text)

    def _cancel(self) -> None:
        if self._job is not None:
            self._job.cancel()

    # -- read-outs ---------------------------------------------------------------------------

    def refresh_findings(self) -> None:
        """Show how many findings there are, by severity."""
        service = self._service
        if self._window.desk.current is None:
            self.findings.setText("")
        elif service.busy:
            self.findings.setText("Checking…")
        else:
            failed = "\N{WARNING SIGN} not checked" if self._window.desk.check_failure else ""
            self.findings.setText(failed or counts_text(service.report))

    def refresh_cell(self) -> None:
        """Show how many cells are selected and how far their values spread."""
        desk = self._window.desk
        table = desk.table
        count = int(desk.selection.sum())
        several = table is not None and count > 1 and desk.selection.shape == table.shape
        spread = spread_text(table, desk.selection) if table is not None and several else ""
        self.cell.setText(f"{count} cells, {spread}" if several else "")


def counts_text(report: Any) -> str:
    """Return the findings in numbers, such as ``2 errors, 1 warning``; empty without a report."""
    if report is None:
        return ""
    waived = [f for f in report.findings if getattr(f, "waived", False)]
    counts = Counter(str(f.severity) for f in report.findings if not getattr(f, "waived", False))
    words = [
        f"{counts[kind]} {kind}{'' if counts[kind] == 1 else 's'}"
        for kind in ("error", "warning", "note")
        if counts[kind]
    ]
    if waived:
        words.append(f"{len(waived)} waived")
    if report.not_checked:
        words.append(f"{len(report.not_checked)} not checked")
    return ", ".join(words) or "No findings"


def spread_text(table: Table, selection: Any) -> str:
    """Return the least and greatest of the selected values."""
    chosen = table.values[selection]
    chosen = chosen[~np.isnan(chosen)]
    if not chosen.size:
        return "all empty"
    return f"{table.said_short(float(chosen.min()))} to {table.said(float(chosen.max()))}"
