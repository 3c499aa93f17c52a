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


class Child:
    """One reading process.

    Parameters
    ----------
    seconds : float
        After this time the process is ended, whatever it does.
    module : str
        The module of this package whose `main` answers.
    """

    def __init__(
        self, seconds: float = TIME_LIMIT, *, module: str = "calib_model.store.child"
    ) -> None:
        # The folder the user stands in must not be a place to import from: a stranger's file may
        # lie beside a stranger's numpy.py.
        path = [_ROOT, *(entry for entry in sys.path if Path(entry).is_absolute())]
        self.process = subprocess.Popen(
            [
                sys.executable, "-I", "-S", "-c",
                _START.format(path=list(dict.fromkeys(path)), module=module),
            ],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            env=_environment(),
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )  # fmt: skip
        self._late = threading.Event()
        # The timer knows the process only: it must not keep a forgotten reading alive.
        self._timer = threading.Timer(seconds, _expire, (self.process, self._late))
        self._timer.daemon = True
        self._timer.start()
        # A reading that nobody waits for any more must not leave a process and its pipes behind.
        self._finalizer = weakref.finalize(self, _end, self.process, self._timer)

    def ask(self, path: Path, **more: Any) -> None:
        """Ask for the columns of a file; `more` is for the module that answers."""
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
    process.kill()


def _end(process: subprocess.Popen[bytes], timer: threading.Timer) -> None:
    timer.cancel()
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()
    if process.poll() is None:
        process.kill()  # it holds nothing worth a tidy end, which would take 20 ms
        process.wait()


def _environment() -> dict[str, str]:
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("HDF5_", "PYTHON"))}
    environment["HDF5_PLUGIN_PRELOAD"] = "::"  # HDF5's own switch: load no plugin at all
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        environment[name] = "1"
    return environment
