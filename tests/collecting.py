"""Collecting garbage in a process that holds the whole suite."""

from __future__ import annotations

import gc


def settle_garbage() -> None:
    """Collect garbage, and spare later collections all that is still there.

    A closed window is a circle of objects, so a test that made one asks for a collection. Modules,
    tests and what sessions share stay to the end: to look at them each time takes 0.1 s, far more
    than to look at the window. Call this before a window is made, never while one lives: what is
    there now is never collected.
    """
    gc.collect()
    gc.freeze()
