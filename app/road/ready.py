"""Compiled code for replays: got ready once, in a process of its own, before a replay needs it."""

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
_one_at_a_time = threading.Lock()
_done = False


def get_ready(control: ControlLike) -> None:
    """Fill the cache of compiled code, or wait until another job has.

    Compiling within the window's process would stall the window.  Where there is no compiler,
    replays are slow but right.  Ends at once, with the process, when the user gives up.
    """
    global _done
    if _done:
        return
    control.progress(-1.0, "Getting compiled code ready; the first time takes a minute")
    while not _one_at_a_time.acquire(timeout=_LOOK_S):
        control.check()
    try:
        if not _done:
            _fill_cache(control)
            _done = True
    finally:
        _one_at_a_time.release()


def _fill_cache(control: ControlLike) -> None:
    from calib_model.lookup.compiled import available

    if not available():
        return
    try:
        child = subprocess.Popen(
            [sys.executable, "-c", _CODE],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:  # compiled here when it is needed, then
        return
    atexit.register(child.kill)
    try:
        while child.poll() is None:
            control.check()
            try:
                child.wait(_LOOK_S)
            except subprocess.TimeoutExpired:
                continue
    finally:
        if child.poll() is None:
            child.kill()
            child.wait()
        atexit.unregister(child.kill)
