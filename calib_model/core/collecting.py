"""The collector of garbage, held while tens of thousands of values are made that are none."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def collector_held() -> Iterator[None]:
    """Hold the collector: it would walk all tables again and again, and find nothing."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()
