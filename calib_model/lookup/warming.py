"""The cache of compiled code, filled by a process of its own.

Compiling in a thread of the window's own process stalls the window; a process does not.  It is
ended with whatever wanted it, so that closing the window waits for nothing.
"""

from __future__ import annotations

import atexit
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from calib_model.lookup.compiled import available

_ROOT = str(Path(__file__).resolve().parents[2])
_LOOK_S = 0.1
"""Seconds between two looks at whether the user gave up."""


class Warming:
    """Compiled code that is got ready once, before it is needed.  Any thread may call.

    Where there is no compiler, or no process can be started, nothing is waited for: code is then
    compiled where it is needed, or runs as plain Python.

    Parameters
    ----------
    statement : str
        Python that compiles everything that is wanted, such as the import of its module.
    """

    def __init__(self, statement: str) -> None:
        self.statement = statement
        self.done = False
        self._lock = threading.Lock()
        self._child: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Begin to fill the cache, unless that is done or under way."""
        with self._lock:
            if self.done or self._child is not None:
                return
            if not available():
                self.done = True
                return
            code = f"import sys; sys.path.insert(0, {_ROOT!r}); {self.statement}"
            try:
                self._child = subprocess.Popen(
                    [sys.executable, "-c", code],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                )
            except OSError:
                self.done = True
                return
            atexit.register(self._child.kill)

    def wait(self, check: Callable[[], object] | None = None) -> bool:
        """Wait until the cache is filled, having started that if need be.

        Parameters
        ----------
        check : callable, optional
            Called several times a second; what it raises ends the wait, not the process, which
            somebody else may still want.

        Returns
        -------
        bool
            False where the process was ended before it was done.
        """
        self.start()
        child = self._child
        if child is None:
            return self.done
        while child.poll() is None:
            if check is not None:
                check()
            try:
                child.wait(_LOOK_S)
            except subprocess.TimeoutExpired:
                continue
        return self._take(child)

    def stop(self) -> None:
        """End what is under way; who wants it later begins anew."""
        child = self._child
        if child is not None:
            if child.poll() is None:
                child.kill()
                child.wait()
            self._take(child)

    def _take(self, child: subprocess.Popen[bytes]) -> bool:
        """Note how the process ended, once, and return whether it was done."""
        # Below zero it was killed; whatever else went wrong will go wrong again.
        done = child.returncode is not None and child.returncode >= 0
        with self._lock:
            if child is self._child:
                atexit.unregister(child.kill)
                self.done, self._child = done, None
        return done
