"""numba behind one typed wrapper: where compiled code is cached, and how it is compiled.

numba notices an edit of the compiled function's own file, but not one of a function it calls
in another file.  So the cache folder carries a hash of all source that compiled code is made from
(and of the versions that matter): after an edit of that the folder is a new, empty one.

Import this module late; with it comes numba, which takes about a quarter of a second.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import time
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar, cast

import llvmlite.binding
import numba
import platformdirs
from numba import types

from calib_model.lookup.source_key import source_key

Function = TypeVar("Function", bound=Callable[..., object])

# Our arrays are read-only, and numba converts writable ones to read-only but not back: with
# these signatures one compiled form serves both.
floats = types.Array(types.float64, 1, "C", readonly=True)
small_ints = types.Array(types.int32, 1, "C", readonly=True)
float_rows = types.Array(types.float64, 2, "C", readonly=True)
output = types.Array(types.float64, 1, "C")
number = types.float64
whole = types.int64
nothing = types.void

READY = "ready"
_MONTH = 30 * 24 * 3600.0


def cache_folder() -> Path:
    """Return the folder for compiled code of this very source, for this processor."""
    base = os.environ.get("NUMBA_CACHE_DIR") or platformdirs.user_cache_dir("bitepoint")
    return Path(base) / "compiled" / f"{source_key()}-numba{numba.__version__}-{_target()}"


@lru_cache(maxsize=1)
def _target() -> str:
    """Return a short name of the processor compiled for, as numba tells processors apart.

    A home may be shared by several machines, and code for one is none for the other.
    """
    settings: Any = numba.config
    name, features = settings.CPU_NAME, settings.CPU_FEATURES
    if name is None:
        name = llvmlite.binding.get_host_cpu_name()
    if features is None:
        features = llvmlite.binding.get_host_cpu_features().flatten()
    return hashlib.sha256(f"{name} {features}".encode()).hexdigest()[:8]


def is_cached(module: str, function: str) -> bool:
    """Tell whether a function's compiled code is in the cache, without importing its module.

    Parameters
    ----------
    module : str
        Such as ``calib_model.controller.kernel``.
    function : str
    """
    _, package, name = module.rsplit(".", 2)
    try:
        return any(cache_folder().glob(f"{package}_*/{name}.{function}-*.nbi"))
    except OSError:
        return False


def jit(*arguments: object, returns: object = None) -> Callable[[Function], Function]:
    """Compile a function for the given argument types at once, or when called if none are given.

    Strict floating point: no reordering and no fused operations, because results must agree
    with numpy in the last bit.
    """
    signature = returns(*arguments) if callable(returns) else None

    def compiled(function: Function) -> Function:
        with _cached_here():
            made = numba.njit(signature, cache=True, error_model="numpy", nogil=True)(function)
        return cast(Function, made)

    return compiled


def inner() -> Callable[[Function], Function]:
    """Compile a function that only compiled code calls.

    It is no use from Python, has no cached form of its own (its callers' hold it), and compiles
    in little more than half the time.

    Nor does it count references: its caller holds the arrays it works on, and the counting, which
    is locked against other threads, would take more than half the vehicle model's time.  So it
    makes no array and returns none but those it was given; numba refuses to compile others.
    """

    def compiled(function: Function) -> Function:
        njit: Any = numba.njit  # its types do not name the wrappers
        made = njit(
            error_model="numpy",
            nogil=True,
            no_cpython_wrapper=True,
            no_cfunc_wrapper=True,
            _nrt=False,
        )(function)
        return cast(Function, made)

    return compiled


@contextlib.contextmanager
def _cached_here() -> Iterator[None]:
    # numba reads this setting when a function is decorated; others in the process keep theirs.
    settings: Any = numba.config
    before = settings.CACHE_DIR
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        settings.CACHE_DIR = str(folder)
    except OSError:
        pass  # a home that cannot be written to costs compile time, not the answer
    try:
        yield
    finally:
        settings.CACHE_DIR = before


def mark_ready() -> None:
    """Note that this source's compiled code is in the cache, and drop what is long unused."""
    folder = cache_folder()
    with contextlib.suppress(OSError):
        (folder / READY).touch()
        for other in folder.parent.iterdir():
            mark = other / READY
            if other != folder and mark.is_file() and time.time() - mark.stat().st_mtime > _MONTH:
                shutil.rmtree(other, ignore_errors=True)
