"""Keeps how the current set stands up to date, in the background, while the page is seen."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal

from app.company_in_use import company_in_use
from app.desk import Desk
from app.needs import Memory
from app.work.jobs import Jobs
from calib_model.core.calibration_set import CalibrationSet
from calib_model.errors import BitepointError
from calib_model.session.document import Document

from .standing import Past, Standing, Trust, others_of, remembered_trust, stand


class Standings(QObject):
    """How the desk's current document stands.

    Signals
    -------
    changed
        `standing` is another, or None while nothing is known.
    trust_changed
        Another list of signers, programme or milestone was chosen.

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    memory : Memory
    """

    changed = Signal()
    trust_changed = Signal()

    def __init__(
        self, desk: Desk, jobs: Jobs, memory: Memory, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._desk, self._jobs, self._memory = desk, jobs, memory
        self.standing: Standing | None = None
        self.failure = ""
        """Why there is no standing, until it is worked out again."""
        self._document: Document | None = None
        self._active = False
        self._job: Any = None
        self._made_for: tuple[Any, ...] = ()
        self._base: Standing | None = None
        self.trust = remembered_trust(memory)
        self._company = company_in_use(desk, jobs, memory)
        self._soon = QTimer(self)
        self._soon.setSingleShot(True)
        self._soon.timeout.connect(self._start)
        desk.current_changed.connect(self._on_current)
        if self._company is not None:
            self._company.changed.connect(self.refresh)
        desk.documents_changed.connect(self.refresh)
        desk.edited.connect(lambda _event: self.refresh())

    @property
    def busy(self) -> bool:
        """Whether the answer is still being worked out."""
        reading = self._company is not None and self._company.busy
        return self._job is not None or self._soon.isActive() or reading

    def set_active(self, on: bool) -> None:
        """Work while the page is seen; let it be while it is not."""
        self._active = on
        if on:
            self.refresh()

    def choose(self, **what: Any) -> None:
        """Choose another list of signers, programme or milestone (fields of `Trust`)."""
        trust = replace(self.trust, **what)
        if trust == self.trust:
            return
        self.trust = trust
        for key in ("signers", "programme", "milestone"):
            self._memory.remember(f"release/{key}", str(getattr(trust, key) or ""))
        self.trust_changed.emit()
        self.refresh()

    def refresh(self) -> None:
        """Work it out anew if anything it depends on is another."""
        waits = self._company is not None and self._company.busy  # it says when it is known
        if self._active and not waits and not _same(self._needs(), self._made_for):
            self._soon.start()

    def again(self) -> None:
        """Work it out anew in any case: files may have changed."""
        self._made_for = ()
        if self._company is not None:
            self._company.look()
        self.refresh()

    @property
    def asked(self) -> Trust:
        """What the user chose, and what the programme beside the current set brings."""
        return replace(self.trust, brought=self._company.brought if self._company else None)

    def others(self) -> tuple[CalibrationSet, ...]:
        """Return the sets that the current one is checked against here."""
        document = self._desk.current
        if document is None:
            return ()
        mine = self._company.sets() if self._company is not None else ()
        open_ones = others_of(document.content, [d.content for d in self._desk.documents])
        modes = {one.mode for one in mine}
        return (*mine, *(one for one in open_ones if one.mode not in modes))

    def _needs(self) -> tuple[Any, ...]:
        document = self._desk.current
        if document is None:
            return (None,)
        return (document, document.content, *self.others(), self.asked)

    def _on_current(self) -> None:
        self._base = None
        self._job = None  # what it finds is about another set
        self._document = self._desk.current
        self.standing = None
        self._made_for = ()
        self.changed.emit()
        self.refresh()

    def _start(self) -> None:
        document = self._desk.current
        if self._job is not None or document is None or not self._active:
            if document is None:
                self._made_for = (None,)
            return  # a running job starts the next one when it ends
        self._document, self.failure = document, ""
        self._made_for = self._needs()
        base, self._base = self._base, None  # its checker goes on in the job
        job = self._jobs.start(
            "Looking at what is to do",
            stand,
            document.content,
            self.others(),
            self.asked,
            Past(document.history, document.pending),
            base,
            done=lambda found: self._take(document, found),
            failed=self._failed,
        )
        self._job = job
        job.ended.connect(lambda: self._on_ended(job))

    def _take(self, document: Document, found: Standing) -> None:
        if document is not self._desk.current:
            return
        self._job = None
        self._base = self.standing = found
        self.refresh()  # edited while it was worked out
        self.changed.emit()

    def _failed(self, error: BitepointError) -> None:
        self.failure = str(error)
        self.changed.emit()

    def _on_ended(self, job: Any) -> None:
        if job is self._job:  # cancelled or failed
            self._job = None
            self._made_for = ()


def _same(now: tuple[Any, ...], before: tuple[Any, ...]) -> bool:
    """Whether two lists of needs are the same objects (a trust: equal ones)."""
    return len(now) == len(before) and all(
        a == b if isinstance(a, Trust) else a is b for a, b in zip(now, before, strict=True)
    )
