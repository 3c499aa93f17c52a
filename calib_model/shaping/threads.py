"""One thread for small dense problems.

numpy and scipy bring a pool of BLAS threads each; on a problem of a few hundred unknowns they fight
over the cores: a decomposition of 400 cells took 90 ms with one thread and 420 ms with two pools.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Any


@lru_cache(maxsize=1)
def _pools() -> Any:
    # Looking for loaded libraries takes milliseconds, so it is done once, with scipy's loaded.
    import scipy.linalg  # noqa: F401
    from threadpoolctl import ThreadpoolController

    return ThreadpoolController()


@contextmanager
def one_thread() -> Iterator[None]:
    """Limit the BLAS pools to one thread each while this lasts."""
    with _pools().limit(limits=1):
        yield
