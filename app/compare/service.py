"""Keeps a comparison of two sides up to date: whole in the background, after an edit at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal

from app.desk import Desk
from app.work.jobs import Jobs
from calib_model.compare import compare, compare_again
from calib_model.core.calibration_set import CalibrationSet
from calib_model.session.document import Event

from .rows import Prepared
from .sides import Side, saved_side


class Comparing(QObject):
    """Two sides and how they compare.

    Signals
    -------
    sides_changed
        A side is another.
    compared
        `prepared` is another: after a whole comparison (or None while one runs).
    updated : object
        Ids of the tables that were compared again after an edit.
    busy_changed
        A whole comparison began or ended.
    progressed : float

    Parameters
    ----------
    desk : Desk
    jobs : Jobs
    """

    sides_changed = Signal()
    compared = Signal()
    updated = Signal(object)
    busy_changed = Signal()
    progressed = Signal(float)

    def __init__(self, desk: Desk, jobs: Jobs, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._desk, self._jobs = desk, jobs
        self.first: Side | None = None
        self.second: Side | None = None
        self.prepared: Prepared | None = None
        self.cancelled = False
        self._chosen = False
        self._active = False
        self._job: Any = None
        self._unsubscribe: list[Callable[[], None]] = []
        # Begun only when what happens now is done: a thread that works slows the window down.
        self._begin = QTimer(self)
        self._begin.setSingleShot(True)
        self._begin.timeout.connect(self._start)
        desk.documents_changed.connect(self._on_documents)

    @property
    def ready(self) -> bool:
        """Whether there are two sides."""
        return self.first is not None and self.second is not None

    @property
    def busy(self) -> bool:
        """Whether a whole comparison is running."""
        return self._job is not None or self._begin.isActive()

    # -- sides -----------------------------------------------------------------------------------

    def set_active(self, on: bool) -> None:
        """Compare while the page is seen; let it be while it is not."""
        self._active = on
        if on:
            if not self._chosen:
                self._choose_by_itself()
            self._catch_up()

    def choose(self, first: Side | None, second: Side | None) -> None:
        """Compare other sides."""
        self._chosen = True
        self._set(first, second)

    def swap(self) -> None:
        """Exchange A and B."""
        self.choose(self.second, self.first)

    def keep_sides(self) -> None:
        """Stay with these sides whichever set is edited from now on."""
        self._chosen = True

    def cancel(self) -> None:
        """Give up a running comparison."""
        if self._job is not None:
            self._job.cancel()

    def again(self) -> None:
        """Compare again after it was given up."""
        self.cancelled = False
        self._catch_up()

    def _choose_by_itself(self) -> None:
        """Choose the set being edited and its reference, or whatever comes near.

        In the order of their letters, so that A and B here are A and B in the window while two
        sets are open.
        """
        desk = self._desk
        current, others = desk.current, [d for d in desk.documents if d is not desk.current]
        if current is None:
            self._set(None, None)
        elif desk.reference is not None and desk.reference is not current:
            first, second = sorted((desk.reference, current), key=desk.number)
            self._set(Side(first), Side(second))
        elif others:
            self._set(Side(current), Side(others[0]))
        elif current.is_modified:
            self._set(saved_side(current), Side(current))
        else:
            self._set(None, Side(current))

    def _set(self, first: Side | None, second: Side | None) -> None:
        same = _alike(first, self.first) and _alike(second, self.second)
        if same:
            return
        for stop in self._unsubscribe:
            stop()
        self.first, self.second = first, second
        live = {id(s.document): s.document for s in (first, second) if s is not None and s.is_live}
        self._unsubscribe = [d.subscribe(self._on_edit) for d in live.values()]
        self.prepared = None
        self.cancelled = False
        self._drop_job()
        self.sides_changed.emit()
        self.compared.emit()
        self._catch_up()

    def _on_documents(self) -> None:
        open_ones = self._desk.documents
        first, second = (
            side if side is not None and side.document in open_ones else None
            for side in (self.first, self.second)
        )
        lost = first is not self.first or second is not self.second
        if lost:
            self._chosen = False
        if not self._chosen and self._active:
            self._choose_by_itself()
        elif lost:
            self._set(first, second)
        elif self._active:
            self.sides_changed.emit()  # names may have changed
            self._catch_up()

    # -- comparing -------------------------------------------------------------------------------

    def _catch_up(self) -> None:
        """Bring the comparison up to date with what the sides hold now."""
        if not self._active or self.first is None or self.second is None or self.cancelled:
            return
        first, second = self.first.content, self.second.content
        if self.prepared is not None:
            before = self.prepared.comparison
            changed = {*_changed(before.first, first), *_changed(before.second, second)}
            if before.first is first and before.second is second:
                return
            if len(changed) < 1000:
                self._take_again(first, second, tuple(changed))
                return
        if self._job is None:
            self._begin.start()

    def _start(self) -> None:
        """Compare everything in the background."""
        if self._job is not None or self.first is None or self.second is None:
            return
        job = self._jobs.start(
            f"Comparing {self.first.name} with {self.second.name}",
            _compare,
            self.first.content,
            self.second.content,
            self.progressed.emit,
            done=self._take,
            cancellable=True,
        )
        self._job = job
        job.ended.connect(lambda: self._on_ended(job))
        self.busy_changed.emit()

    def _take_again(
        self, first: CalibrationSet, second: CalibrationSet, changed: tuple[str, ...]
    ) -> None:
        assert self.prepared is not None
        result = compare_again(self.prepared.comparison, first, second, changed)
        self.prepared = Prepared.of(result, self.prepared)
        self.updated.emit(changed)

    def _take(self, prepared: Prepared) -> None:
        self._job = None
        self.busy_changed.emit()
        self.prepared = prepared
        self.compared.emit()
        self._catch_up()  # edited while the comparison ran

    def _on_ended(self, job: Any) -> None:
        if job is self._job:  # cancelled or failed: `_take` would have let go of it
            self._job = None
            self.cancelled = True
            self.busy_changed.emit()
            self.compared.emit()

    def _drop_job(self) -> None:
        self._begin.stop()
        job, self._job = self._job, None
        if job is not None:
            job.cancel()
            self.busy_changed.emit()

    def _on_edit(self, event: Event) -> None:
        self._catch_up()


def _compare(
    control: Any, first: CalibrationSet, second: CalibrationSet, tell: Callable[[float], None]
) -> Prepared:
    def progress(share: float) -> None:
        control.progress(share)
        tell(share)

    result = compare(first, second, progress)
    progress(0.85)
    return Prepared.of(result)


def _changed(before: CalibrationSet, after: CalibrationSet) -> list[str]:
    """Return the ids of tables that are not the same object in both."""
    if before is after:
        return []
    ids = {**before.tables, **after.tables}
    return [id for id in ids if before.tables.get(id) is not after.tables.get(id)]


def _alike(a: Side | None, b: Side | None) -> bool:
    return a is b if a is None or b is None else a.same_as(b)
