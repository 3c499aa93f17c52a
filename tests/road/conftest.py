"""A real main window for the work area Road."""

from __future__ import annotations

from tests.shell.conftest import answers, opened, samples, settle, wait, window

__all__ = ["answers", "opened", "samples", "settle", "wait", "window"]
