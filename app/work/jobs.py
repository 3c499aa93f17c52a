"""Work in the background: pure functions on snapshots, with progress, cancel and told errors.

A job never touches a document or a widget.  What it returns comes back to the window's thread.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QEventLoop, QObject, QRunnable, Qt, QThreadPool, Signal

from calib_model.errors import BitepointError

from .control import Cancelled, Control, tell
from .latest import Latest


class Job(QObject):
    """One piece of background work.  Only its `control` is used outside the window's thread.

    Signals
    -------
    progressed : float, str
    ended
        Done, failed or cancelled; `state` says which.
    """

    progressed = Signal(float, str)
    ended = Signal()

    def __init__(self, title: str, cancellable: bool, parent: Jobs) -> None:
        super().__init__(parent)
        self.title = title
        self.cancellable = cancellable
        self.state = "running"
        self.result: Any = None
        self.error: BaseException | None = None
        self.done: Callable[[Any], None] | None = None
        self.failed: Callable[[BitepointError], None] | None = None
        self.control = Control(lambda part, text: parent._progressed.emit(self, part, text))

    def cancel(self) -> None:
        """Give up: the result, if one still comes, is dropped."""
        self.control.cancel()

    def wait(self) -> None:
        """Wait for the end while the window stays alive."""
        if self.state != "running":
            return
        loop = QEventLoop()
        self.ended.connect(loop.quit)
        loop.exec()

    def _on_returned(self, result: Any, error: BaseException | None) -> None:
        if isinstance(error, Cancelled) or self.control.cancelled:
            self.state = "cancelled"
        elif error is not None:
            self.state, self.error = "failed", error
        else:
            self.state, self.result = "done", result
        try:
            if self.state == "done" and self.done is not None:
                self.done(result)
            elif self.state == "failed" and error is not None:
                tell(error, self.failed)
        finally:
            self.ended.emit()


class _Task(QRunnable):
    """Runs a function in a pool thread and hands the outcome to the window's thread."""

    def __init__(
        self, jobs: Jobs, job: Job, function: Callable[..., Any], arguments: tuple[Any, ...]
    ) -> None:
        super().__init__()
        self._jobs, self._job, self._function, self._arguments = jobs, job, function, arguments

    def run(self) -> None:
        result, error = None, None
        try:
            self._job.control.check()
            result = self._function(self._job.control, *self._arguments)
        except BaseException as caught:  # told in the window's thread
            error = caught
        # Through an object that outlives the pool: a job may be gone before an emit returns.
        with contextlib.suppress(RuntimeError):  # the program ended meanwhile
            self._jobs._returned.emit(self._job, result, error)


class Jobs(QObject):
    """The window's background work.

    Signals
    -------
    changed
        A job began or ended.
    """

    changed = Signal()
    _returned = Signal(object, object, object)
    _progressed = Signal(object, float, str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        queued = Qt.ConnectionType.QueuedConnection
        self._returned.connect(self._on_returned, queued)
        self._progressed.connect(self._on_progressed, queued)
        self._pool = QThreadPool(self)
        # Most jobs wait for a child process or hold the interpreter lock: few threads do.
        self._pool.setMaxThreadCount(4)
        self.running: list[Job] = []

    def start(
        self,
        title: str,
        function: Callable[..., Any],
        *arguments: Any,
        done: Callable[[Any], None] | None = None,
        failed: Callable[[BitepointError], None] | None = None,
        cancellable: bool = False,
    ) -> Job:
        """Run ``function(control, *arguments)`` in a thread.

        Parameters
        ----------
        title : str
            What is being done, for the status line (``Opening larch_normal.h5``).
        done, failed : callable
            Called in the window's thread with the result, or with the error in words; see
            `control.tell`.
        cancellable : bool
            Whether the function asks ``control`` now and then.
        """
        job = Job(title, cancellable, self)
        job.done, job.failed = done, failed
        self.running.append(job)
        job.ended.connect(lambda: self._on_ended(job))
        self._pool.start(_Task(self, job, function, arguments))
        self.changed.emit()
        return job

    def _on_returned(self, job: Job, result: Any, error: BaseException | None) -> None:
        job._on_returned(result, error)

    def _on_progressed(self, job: Job, part: float, text: str) -> None:
        if job.state == "running":
            job.progressed.emit(part, text)

    def _on_ended(self, job: Job) -> None:
        self.running.remove(job)
        self.changed.emit()
        job.deleteLater()

    def finish(self) -> None:
        """Let every job come to its end; those that can be cancelled are."""
        for job in list(self.running):
            if job.cancellable:
                job.cancel()
        while self.running:
            self.running[0].wait()
        self._pool.waitForDone()


def end_all(jobs: Jobs, root: QObject) -> None:
    """End all work of a window: its jobs, and the open questions of everything in it."""
    for latest in root.findChildren(Latest):
        latest.end()
    jobs.finish()
