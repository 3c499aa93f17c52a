# mypy: disable-error-code="no-redef,unused-ignore"
"""Compiling where it is possible: the same source runs as plain Python where numba does not work.

Modules with compiled functions that the whole program needs import `jit` and the types from
here.  Without numba `jit` hands the function back as it is; results are the same bits, slower.
With it comes the import of numba, so import such modules late.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from calib_model.lookup import compiled

Function = TypeVar("Function", bound=Callable[..., object])

__all__ = [
    "COMPILED",
    "flag",
    "float_grid",
    "float_rows",
    "floats",
    "inner",
    "jit",
    "nothing",
    "number",
    "output",
    "switches",
    "tuple_of",
    "whole",
    "whole_numbers",
]

try:
    if not compiled.available():
        raise ImportError("numba is not installed")
    from numba import types

    from calib_model.lookup.jit import (
        float_rows,
        floats,
        inner,
        jit,
        nothing,
        number,
        output,
        whole,
    )

    COMPILED = True
    whole_numbers: Any = types.Array(types.int64, 1, "C", readonly=True)
    switches: Any = types.Array(types.boolean, 1, "C", readonly=True)
    float_grid: Any = types.Array(types.float64, 2, "C")
    flag: Any = types.boolean

    def tuple_of(*parts: Any) -> Any:
        """Return the type of a tuple, for a signature."""
        made: Any = types.Tuple
        return made(parts)

except ImportError:
    COMPILED = False
    whole_numbers = switches = float_grid = flag = None
    float_rows = floats = nothing = number = output = whole = None  # type: ignore[assignment]

    def tuple_of(*parts: Any) -> Any:
        """Return nothing: no signature is needed."""
        return None

    def jit(  # type: ignore[misc]
        *arguments: object, returns: object = None
    ) -> Callable[[Function], Function]:
        """Leave the function as it is."""

        def same(function: Function) -> Function:
            return function

        return same

    def inner() -> Callable[[Function], Function]:
        """Leave the function as it is."""
        return jit()
