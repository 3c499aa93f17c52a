"""The status line: messages, background work, counts of findings, the cell under the cross-hair."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
from PySide6.QtCore import QTimer
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QProgressBar, QStatusBar, QToolButton

from app.plain import PlainLabel, plain_tip
from app.work.jobs import Job
from calib_model.core.numbers import exact
from calib_model.core.table import Table
from calib_model.core.units import shown

from .base import Shell
from .findings_service import FindingsService

NARROW = 900
_MARGINS = 48
"""What lies between the parts of the line."""
MINUS = "\N{MINUS SIGN}"
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
        self.job_label = PlainLabel()
        self.cancel = QToolButton()
        self.cancel.setText("Cancel")
        self.cancel.setAccessibleName("Cancel the work in the background")
        self.cancel.clicked.connect(lambda _checked=False: self._cancel())
        self.findings = PlainLabel()
        self.findings.setAccessibleName("Findings of the set being edited")
        self.cell = PlainLabel()
        self.cell.setAccessibleName("Cell under the cross-hair")
        for widget in (self.job_label, self.progress, self.cancel, self.findings, self.cell):
            self.addPermanentWidget(widget)
        self.findings.setContentsMargins(12, 0, 0, 0)
        self.cell.setContentsMargins(12, 0, 12, 0)
        for widget in (self.job_label, self.progress, self.cancel):
            widget.hide()
        self._job: Job | None = None
        self._late = QTimer(self)
        self._late.setSingleShot(True)
        self._late.setInterval(SHOW_AFTER_MS)
        self._late.timeout.connect(self._show_job)
        desk = window.desk
        desk.told.connect(self._tell)
        self.messageChanged.connect(lambda _text: self._make_room())
        desk.findings_changed.connect(self.refresh_findings)
        desk.current_changed.connect(self.refresh_findings)
        window.jobs.changed.connect(self._on_jobs)
        for signal in (desk.table_changed, desk.cursor_changed, desk.selection_changed):
            signal.connect(self.refresh_cell)
        desk.edited.connect(lambda _event: self.refresh_cell())

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._make_room()

    def _make_room(self) -> None:
        # Messages need the room first; the table's head reads the cell out as well.
        message = self.fontMetrics().horizontalAdvance(self.currentMessage())
        shown = (self.findings, self.job_label, self.progress, self.cancel)
        others = sum(w.sizeHint().width() for w in shown if not w.isHidden())
        free = self.width() - message - others - _MARGINS
        self.cell.setVisible(self.width() >= NARROW and free >= self.cell.sizeHint().width())
        self.setToolTip(plain_tip(self.currentMessage()))

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
            for widget in (self.job_label, self.progress, self.cancel):
                widget.hide()
            return
        job.progressed.connect(self._on_progress)
        self.progress.setRange(0, 0)
        self._late.start()

    def _show_job(self) -> None:
        if self._job is not None:
            self.job_label.setText(f"{self._job.title}…")
            self.job_label.show()
            self.progress.show()
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
        """Show where the cross-hair is and what it reads there."""
        desk = self._window.desk
        table = desk.table
        if table is None:
            self.cell.setText("")
            return
        text = cell_text(table, desk.cursor)
        count = int(desk.selection.sum())
        if count > 1 and desk.selection.shape == table.shape:
            text = f"{count} cells, {spread_text(table, desk.selection)}  |  {text}"
        self.cell.setText(text)
        self._make_room()


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


def cell_text(table: Table, cell: tuple[int, ...]) -> str:
    """Return axis values and value of a cell with units."""
    if len(cell) != len(table.shape):
        return ""
    parts = [
        f"{axis.label} {axis.said(float(axis.values[i]))}"
        for axis, i in zip(table.axes, cell, strict=True)
    ]
    value = float(table.values[cell])
    said = table.labels.name(value)
    said = said or f"{exact(value).replace('-', MINUS)} {shown(table.unit)}".rstrip()
    said = "empty" if np.isnan(value) else said
    return f"{', '.join(parts)}: {said}" if parts else said


def spread_text(table: Table, selection: Any) -> str:
    """Return the least and greatest of the selected values."""
    chosen = table.values[selection]
    chosen = chosen[~np.isnan(chosen)]
    if not chosen.size:
        return "all empty"
    return f"{table.said_short(float(chosen.min()))} to {table.said(float(chosen.max()))}"
