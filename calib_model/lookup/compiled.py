"""The compiled lookup behind one typed wrapper; numba is imported by `load`, not before.

The results are those of `calib_model.lookup.reference`, bit for bit.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from functools import lru_cache
from types import ModuleType

import numpy as np
import numpy.typing as npt

from calib_model.core.arrays import FloatArray
from calib_model.core.axis import Axis, End, Interpolation
from calib_model.lookup import reference

_kernels: ModuleType | None = None

_STEP, _BELOW, _ABOVE = 1, 2, 4


@lru_cache(maxsize=1)
def available() -> bool:
    """Tell whether numba is installed."""
    return importlib.util.find_spec("numba") is not None


def loaded() -> bool:
    """Tell whether the compiled code is in this process, so that using it costs nothing."""
    return _kernels is not None


def load() -> bool:
    """Bring the compiled code into this process; compiles it if the cache has none.

    Takes about half a second from the cache, several seconds without.

    Returns
    -------
    bool
        False where numba is not installed or does not work; numpy then does all the work.
    """
    global _kernels
    if _kernels is None and available():
        try:
            from calib_model.lookup import jit, kernels
        except ImportError:  # found, but not able to run here
            return False
        jit.mark_ready()
        _kernels = kernels
    return _kernels is not None


def lookup_values(
    axes: Sequence[Axis],
    values: FloatArray,
    points: Sequence[npt.ArrayLike],
    table_id: str = "",
) -> FloatArray:
    """Read raw values over axes; see `reference.lookup_values`.

    Falls back to it where there is no compiled code.
    """
    if not axes or not load():
        return reference.lookup_values(axes, values, points, table_id)
    kernels = _kernels
    assert kernels is not None
    reference.check_order(axes, table_id)
    arrays = [np.asarray(p, dtype=np.float64) for p in points]
    shape = reference.points_shape(len(axes), arrays, table_id)
    flat = _plain(values)
    out = np.empty(shape, dtype=np.float64)
    target = out.reshape(-1)
    columns = [_plain(np.broadcast_to(a, shape)) for a in arrays]
    prepared = [_prepared(axis) for axis in axes]
    if len(axes) == 1:
        kernels.read_curve(flat, *prepared[0], columns[0], target)
    elif len(axes) == 2:
        kernels.read_map(flat, *prepared[0], *prepared[1], *columns, target)
    else:
        breakpoints, buckets, scales, flags = zip(*prepared, strict=True)
        kernels.read_any(
            flat,
            np.concatenate(breakpoints),
            np.cumsum([0, *(b.size for b in breakpoints)], dtype=np.int32),
            np.concatenate(buckets),
            np.cumsum([0, *(b.size for b in buckets)], dtype=np.int32),
            np.array(scales),
            np.array(flags, dtype=np.int32),
            np.stack(columns),
            target,
        )
    return out


def _plain(array: npt.ArrayLike) -> FloatArray:
    # numba has one compiled form per memory layout; unaligned or strided input would need more.
    return np.require(array, np.float64, ["C", "A"]).reshape(-1)


def _prepared(axis: Axis) -> tuple[FloatArray, npt.NDArray[np.int32], float, int]:
    """Return what the kernels need of an axis: breakpoints, buckets, scale, flags."""
    breakpoints = axis.values
    # Many buckets, so that few hold a breakpoint inside, yet a table that stays in the
    # processor's first cache.
    count = min(max(64, 16 * breakpoints.size), 4096)
    span = float(breakpoints[-1]) - float(breakpoints[0])
    # One bucket for all where the span is nothing or beyond floats: slower, still exact.
    scale = count / span if 1e-300 < span < 1e300 else 0.0
    width = 1.0 / scale if scale > 0 else 0.0
    starts = breakpoints[0] + np.arange(count + 2) * width
    buckets = np.clip(np.searchsorted(breakpoints, starts, side="right") - 1, 0, None)
    if axis.interpolation is Interpolation.STEP:
        flags = _STEP  # a step axis holds its ends, whatever is said of them
    else:
        flags = _BELOW * (axis.below is End.EXTRAPOLATED) + _ABOVE * (
            axis.above is End.EXTRAPOLATED
        )
    return breakpoints, buckets.astype(np.int32), scale, flags
