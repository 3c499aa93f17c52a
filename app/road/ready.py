"""Compiled code for replays: got ready once, in a process of its own, before a replay needs it."""

from __future__ import annotations

import threading

from app.road.needs import ControlLike

MODULES = ("calib_model.controller.kernel",)
_one_at_a_time = threading.Lock()
_done = False


def get_ready(control: ControlLike) -> None:
    """Fill the cache of compiled code, or wait until another job has.

    Compiling within the window's process would stall the window.  Where there is no compiler,
    replays are slow but right.
    """
    global _done
    if _done:
        return
    control.progress(-1.0, "Getting compiled code ready; the first time takes a minute")
    with _one_at_a_time:
        if not _done:
            control.check()
            from calib_model.lookup.compiled import warm_up

            warm_up(modules=MODULES)
            _done = True
