"""Start and end reading processes.  Standard library only: see `message`."""

from __future__ import annotations

import base64
import contextlib
import os
import signal
import subprocess
import sys
import threading
import weakref
from pathlib import Path
from typing import Any

from .message import pack_header

TIME_LIMIT = 60.0
_ROOT = str(Path(__file__).resolve().parents[2])
_START = "import sys; sys.path[:] = {path!r}; from {module} import main; main()"
_SET_FILES = "calib_model.store.child"
_COPIES = sys.platform == "linux"
"""Whether a reading process reads each file in a copy of itself; see `calib_model.store.child`."""
_lock = threading.Lock()
_resting: list[Child] = []


def started(seconds: float = TIME_LIMIT) -> Child:
    """Return a process that reads set files: the one that rests, or else a new one.

    Raises
    ------
    OSError
        If none can be started.
    """
    with _lock:
        child = _resting.pop() if _resting else None
    if child is not None:
        if child.wake(seconds):
            return child
        child.end()
    return Child(seconds)


def end_resting() -> None:
    """End the process that rests; the next file has one started anew."""
    with _lock:
        resting = _resting[:]
        _resting.clear()
    for child in resting:
        child.end()


def _forget() -> None:
    """In a copy of this process: what rests belongs to the other."""
    global _lock
    _lock = threading.Lock()  # it may have been held at that moment
    for child in _resting:
        child.forget()
    _resting.clear()


if hasattr(os, "register_at_fork"):
    os.register_at_fork(after_in_child=_forget)


class Child:
    """One reading process.

    Parameters
    ----------
    seconds : float
        After this time the process is ended, whatever it does.
    module : str
        The module of this package whose `main` answers.
    """

    def __init__(self, seconds: float = TIME_LIMIT, *, module: str = _SET_FILES) -> None:
        self._started_as = _command(module)
        more: dict[str, Any] = {"process_group": 0} if _COPIES else {}
        self.process: subprocess.Popen[bytes] = subprocess.Popen(
            self._started_as,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            env=_environment(),
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
            **more,
        )
        _widen(self.process.stdout)
        self._late = threading.Event()
        self._watch(seconds)

    def _watch(self, seconds: float) -> None:
        # The timer knows the process only: it must not keep a forgotten reading alive.
        self._timer = threading.Timer(seconds, _expire, (self.process, self._late))
        self._timer.daemon = True
        self._timer.start()
        # A reading that nobody waits for any more must not leave a process and its pipes behind.
        self._finalizer = weakref.finalize(self, _end, self.process, self._timer)

    def rest(self) -> None:
        """Keep the process for the next file, if it has given a whole answer and may be kept.

        Only where it reads each file in a copy of itself, so that it has never seen one; and one
        process at most.
        """
        self._timer.cancel()
        with _lock:
            if _COPIES and not _resting and not self._late.is_set():
                _resting.append(self)
                return
        self.end()

    def wake(self, seconds: float) -> bool:
        """Let a process that rests read again; False if it cannot, or would be another today."""
        if self.process.poll() is not None or self._started_as != _command(_SET_FILES):
            return False
        self._finalizer.detach()
        self._watch(seconds)
        return True

    def forget(self) -> None:
        """Let go of a process that belongs to the one this is a copy of."""
        self._finalizer.detach()
        for stream in (self.process.stdin, self.process.stdout):
            if stream is not None:
                stream.close()
        self.process.returncode = 0  # it is not ours to wait for

    def ask(self, path: Path, **more: Any) -> None:
        """Ask for the columns of a file; `more` is for the module that answers."""
        with contextlib.suppress(OSError):  # the folder this stands in is gone
            path = path.absolute()  # the process stands where it was started
        name = base64.b64encode(os.fsencode(path)).decode()
        assert self.process.stdin is not None
        with contextlib.suppress(OSError):  # it has ended already: its answer says how
            self.process.stdin.write(pack_header({"path": name, **more}))

    def read(self, size: int) -> bytes:
        """Return at most `size` bytes of the answer, none at its end."""
        assert self.process.stdout is not None
        return self.process.stdout.read(size)

    def read_into(self, view: memoryview[Any]) -> int:
        """Fill a buffer from the answer; return how many bytes came before its end."""
        stream: Any = self.process.stdout
        done = 0
        while done < len(view):
            count = stream.readinto(view[done:])
            if not count:
                break
            done += count
        return done

    def end(self) -> int:
        """End the process, whatever it does, and return its exit status."""
        self._finalizer()
        return self.process.wait()

    def status(self, seconds: float = 1.0) -> int:
        """Return the exit status of a process that ended by itself; ends it after `seconds`."""
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(seconds)
        return self.end()

    @property
    def timed_out(self) -> bool:
        """Whether a time limit ended the process: the parent's, or its own on work."""
        worked = getattr(signal, "SIGXCPU", None)
        return self._late.is_set() or (worked is not None and self.process.poll() == -worked)


def _expire(process: subprocess.Popen[bytes], late: threading.Event) -> None:
    late.set()
    _kill(process)


def _end(process: subprocess.Popen[bytes], timer: threading.Timer) -> None:
    timer.cancel()
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()
    if process.poll() is None:
        _kill(process)  # it holds nothing worth a tidy end, which would take 20 ms
        process.wait()


def _environment() -> dict[str, str]:
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("HDF5_", "PYTHON"))}
    environment["HDF5_PLUGIN_PRELOAD"] = "::"  # HDF5's own switch: load no plugin at all
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        environment[name] = "1"
    return environment


def _kill(process: subprocess.Popen[bytes]) -> None:
    """End a process and the copies of it that read."""
    if _COPIES:
        with contextlib.suppress(OSError):
            os.killpg(process.pid, signal.SIGKILL)
    process.kill()


def _command(module: str) -> list[str]:
    # The folder the user stands in must not be a place to import from: a stranger's file may
    # lie beside a stranger's numpy.py.
    path = [_ROOT, *(entry for entry in sys.path if Path(entry).is_absolute())]
    start = _START.format(path=list(dict.fromkeys(path)), module=module)
    return [sys.executable, "-I", "-S", "-c", start]


def _widen(pipe: Any) -> None:
    """Let a pipe hold a megabyte, where the system can: fewer changes between two processes."""
    with contextlib.suppress(ImportError, AttributeError, OSError):
        import fcntl

        fcntl.fcntl(pipe.fileno(), fcntl.F_SETPIPE_SZ, 1 << 20)
