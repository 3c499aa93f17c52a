"""Start and end reading processes.  Standard library only: see `message`."""

from __future__ import annotations

import base64
import contextlib
import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

from .message import pack_header

TIME_LIMIT = 60.0
_ROOT = str(Path(__file__).resolve().parents[2])
_START = "import sys; sys.path[:] = {path!r}; from calib_model.store.child import main; main()"


class Child:
    """One reading process.

    Parameters
    ----------
    seconds : float
        After this time the process is ended, whatever it does.
    """

    def __init__(self, seconds: float = TIME_LIMIT) -> None:
        # The folder the user stands in must not be a place to import from: a stranger's file may
        # lie beside a stranger's numpy.py.
        path = [_ROOT, *(entry for entry in sys.path if Path(entry).is_absolute())]
        self.process = subprocess.Popen(
            [sys.executable, "-I", "-S", "-c", _START.format(path=list(dict.fromkeys(path)))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            bufsize=0,
            env=_environment(),
            creationflags=getattr(subprocess, "CREATE_NO_WINDOW", 0),
        )
        self.timed_out = False
        self._timer = threading.Timer(seconds, self._time_out)
        self._timer.daemon = True
        self._timer.start()

    def ask(self, path: Path) -> None:
        """Ask for the columns of a file."""
        name = base64.b64encode(os.fsencode(path)).decode()
        assert self.process.stdin is not None
        with contextlib.suppress(OSError):  # it has ended already: its answer says how
            self.process.stdin.write(pack_header({"path": name}))

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
        self._timer.cancel()
        process = self.process
        if process.stdin is not None:
            process.stdin.close()
        if process.stdout is not None:
            process.stdout.close()
        if process.poll() is None:
            process.kill()  # it holds nothing worth a tidy end, which would take 20 ms
        return process.wait()

    def status(self, seconds: float = 1.0) -> int:
        """Return the exit status of a process that ended by itself; ends it after `seconds`."""
        with contextlib.suppress(subprocess.TimeoutExpired):
            self.process.wait(seconds)
        return self.end()

    def _time_out(self) -> None:
        self.timed_out = True
        self.process.kill()


def _environment() -> dict[str, str]:
    environment = {k: v for k, v in os.environ.items() if not k.startswith(("HDF5_", "PYTHON"))}
    environment["HDF5_PLUGIN_PRELOAD"] = "::"  # HDF5's own switch: load no plugin at all
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        environment[name] = "1"
    return environment
