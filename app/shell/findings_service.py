"""Keeps the findings of the set being edited up to date.

The whole set is checked in the background when it is opened; after an edit only the rules that
read a changed table are checked again, at once.
"""

from __future__ import annotations

from PySide6.QtCore import QObject

from app.company_in_use import CompanyInUse, sets_against
from app.desk import Desk
from app.work.control import Control
from app.work.jobs import Job, Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.rules.check import Checker, Report
from calib_model.session.document import Document, Event


class FindingsService(QObject):
    """Keeps `Desk.report` right for the desk's current document.

    Parameters
    ----------
    desk : Desk
        Its `findings_changed` is emitted when the report is new.
    jobs : Jobs
    company : CompanyInUse
        The sets of the programme that the current one is checked with.
    """

    def __init__(self, desk: Desk, jobs: Jobs, company: CompanyInUse) -> None:
        super().__init__(desk)
        self._desk = desk
        self._jobs = jobs
        self._company = company
        self._checker: Checker | None = None
        self._job: Job | None = None
        self._used: tuple[CalibrationSet, ...] = ()
        desk.current_changed.connect(self.refresh)
        desk.reference_changed.connect(self.refresh)
        desk.edited.connect(self._on_edit)
        desk.documents_changed.connect(self._on_documents)
        company.changed.connect(self.refresh)

    @property
    def report(self) -> Report | None:
        """The current document's findings; None while it is being checked or none is open."""
        return self._desk.report

    @property
    def busy(self) -> bool:
        """Whether a whole check is running."""
        return self._job is not None or self._company.busy

    def refresh(self) -> None:
        """Check the whole current set in the background."""
        if self._job is not None:
            self._job.cancel()
            self._job = None
        self._checker = None
        self._desk.report, self._desk.check_failure = None, ""
        document = self._desk.current
        if document is not None and not self._company.busy:  # its answer starts the check
            self._start(document)
        self._desk.findings_changed.emit()

    def _start(self, document: Document) -> None:
        content = document.content
        self._used = sets_against(self._desk)
        self._job = self._jobs.start(
            f"Checking {document.title}",
            _check,
            content,
            self._used,
            done=lambda checker: self._take(document, content, checker),
            failed=self._failed,
            cancellable=True,
        )

    def _take(self, document: Document, content: CalibrationSet, checker: Checker) -> None:
        if document is not self._desk.current:
            return
        self._job = None
        self._checker = checker
        self._desk.report = checker.report
        if document.content is not content:  # edited while the check ran
            self._update(document, changed_tables(content, document.content))
        self._desk.findings_changed.emit()

    def _failed(self, error: BitepointError) -> None:
        self._job = None
        self._desk.check_failure = f"The set could not be checked. {error}"
        self._desk.findings_changed.emit()

    def _on_documents(self) -> None:
        """Check again if another set was edited, which the current set's events do not tell."""
        document = self._desk.current
        if document is None or self._company.busy:
            return
        against = sets_against(self._desk)
        if len(against) != len(self._used) or any(
            a is not b for a, b in zip(against, self._used, strict=True)
        ):
            self.refresh()

    def _on_edit(self, event: Event) -> None:
        document = self._desk.current
        if self._checker is None or document is None:
            return
        self._update(document, event.tables)
        self._desk.findings_changed.emit()

    def _update(self, document: Document, tables: tuple[str, ...]) -> None:
        assert self._checker is not None
        self._desk.report = self._checker.update(document.content, tables)


def _check(
    control: Control, content: CalibrationSet, against: tuple[CalibrationSet, ...]
) -> Checker:
    control.check()
    return Checker(content, against)


def changed_tables(before: CalibrationSet, after: CalibrationSet) -> tuple[str, ...]:
    """Return the ids of tables that are not the same object in both sets."""
    ids = {**before.tables, **after.tables}
    return tuple(id for id in ids if before.tables.get(id) is not after.tables.get(id))
