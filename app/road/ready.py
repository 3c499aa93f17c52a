"""Compiled code for replays, got ready before a replay needs it."""

from __future__ import annotations

from app.work.control import Control
from calib_model.lookup.warming import Warming

_warming = Warming(
    "from calib_model.lookup import compiled; compiled.load(); import calib_model.controller.kernel"
)
start = _warming.start
stop = _warming.stop


def get_ready(control: Control) -> None:
    """Wait until the code is ready; for jobs, which end here when the user gives up."""
    if not _warming.done:
        control.progress(-1.0, "Getting compiled code ready; the first time takes a minute")
        _warming.wait(control.check)
