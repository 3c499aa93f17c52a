"""Compiled code for replays: got ready once, in a process of its own, before a replay needs it.

Compiling within the window's process would stall the window.  Where there is no compiler, replays
are slow but right.
"""

from __future__ import annotations

import atexit
import subprocess
import sys
import threading
from pathlib import Path

from app.road.needs import ControlLike

MODULES = ("calib_model.controller.kernel",)
_ROOT = str(Path(__file__).resolve().parents[2])
_CODE = (
    f"import sys, importlib; sys.path.insert(0, {_ROOT!r}); "
    "from calib_model.lookup import compiled; compiled.load(); "
    f"[importlib.import_module(name) for name in {list(MODULES)!r}]"
)
_LOOK_S = 0.1
_lock = threading.Lock()
_done = False
_child: subprocess.Popen[bytes] | None = None


def start() -> None:
    """Begin to fill the cache of compiled code, unless that is done or under way."""
    global _done, _child
    from calib_model.lookup.compiled import available

    with _lock:
        if _done or _child is not None:
            return
        if not available():
            _done = True
            return
        try:
            _child = subprocess.Popen(
                [sys.executable, "-c", _CODE],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        except OSError:  # compiled here when it is needed, then
            _done = True
            return
        atexit.register(_child.kill)


def get_ready(control: ControlLike) -> None:
    """Wait until the cache is filled; for jobs, which end here when the user gives up."""
    if _done:
        return
    start()
    child = _child
    if child is None:
        return
    control.progress(-1.0, "Getting compiled code ready; the first time takes a minute")
    while child.poll() is None:
        control.check()
        try:
            child.wait(_LOOK_S)
        except subprocess.TimeoutExpired:
            continue
    _take(child)


def stop() -> None:
    """End what is under way; another window begins anew."""
    child = _child
    if child is not None:
        if child.poll() is None:
            child.kill()
            child.wait()
        _take(child)


def _take(child: subprocess.Popen[bytes]) -> None:
    """Note how the process ended, once."""
    global _done, _child
    with _lock:
        if child is _child:
            atexit.unregister(child.kill)
            # Below zero it was killed; whatever else went wrong will go wrong again.
            _done = child.returncode >= 0
            _child = None
