"""Keeps a comparison of two sides up to date: whole in the background, after an edit at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, QTimer, Signal
from shiboken6 import isValid

from app.desk import Desk
from app.work.jobs import Jobs
from calib_model.compare import compare, compare_again
from calib_model.core.calibration_set import CalibrationSet
from calib_model.session.document import Document, Event

from .rows import Prepared
from .sides import Side, saved_side


class Comparing(QObject):
    """Two sides and how they compare.

    Signals
    -------
    sides_changed
        A side is another.  `first` is the reference or an earlier state, `second` the edited set.
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
        self._held: Document | None = None
        """The set that an earlier state is held against; None for the window's pair."""
        self._active = False
        self._job: Any = None
        self._unsubscribe: list[Callable[[], None]] = []
        # Begun only when what happens now is done: a thread that works slows the window down.
        self._begin = QTimer(self)
        self._begin.setSingleShot(True)
        self._begin.timeout.connect(self._start)
        # Current and reference change one after the other when they are exchanged: once is enough.
        self._pair = QTimer(self)
        self._pair.setSingleShot(True)
        self._pair.timeout.connect(self._on_pair)
        desk.documents_changed.connect(self._on_pair)
        for signal in (desk.current_changed, desk.reference_changed):
            signal.connect(self._pair.start)

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
            self._choose()
            self._catch_up()

    def hold_against(self, earlier: Side) -> None:
        """Compare the set being edited with an earlier state, until `back` or another set."""
        current = self._desk.current
        if current is not None:
            self._held = current
            self._set(earlier, Side(current))

    def back(self) -> None:
        """Compare with the reference again."""
        self._held = None
        self._choose()

    @property
    def holds_earlier(self) -> bool:
        """Whether an earlier state stands in the reference's place."""
        return self.first is not None and not self.first.is_live

    def cancel(self) -> None:
        """Give up a running comparison."""
        if self._job is not None:
            self._job.cancel()

    def again(self) -> None:
        """Compare again after it was given up."""
        self.cancelled = False
        self._catch_up()

    def _choose(self) -> None:
        """Take the window's pair; a set that stands alone is held against its saved state."""
        desk = self._desk
        current, reference = desk.current, desk.reference
        if current is None:
            self._set(None, None)
        elif self._held is current and self.first is not None:
            self._set(self.first, Side(current))
        elif reference is not None and reference is not current:
            self._set(Side(reference), Side(current))
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

    def _on_pair(self) -> None:
        desk = self._desk
        if self._held is not desk.current or self._held not in desk.documents:
            self._held = None
        gone = any(
            side is not None and side.document not in desk.documents
            for side in (self.first, self.second)
        )
        if self._active or gone:
            self._choose()
        if self._active:
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
        if not isValid(self):
            return  # the page went while its last job came to its end
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
