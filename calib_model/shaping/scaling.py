"""Choose a storage for a wanted resolution and range."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ..core.numbers import short
from ..core.storage import INTEGER_TYPES, Storage
from ..core.table import Table
from ..errors import EditRefused, ModelError


@dataclass(frozen=True)
class Scaling:
    """A storage that holds a range at a resolution.

    Parameters
    ----------
    storage : Storage
    bytes : int
        Size of one value.
    used : float
        Share of the type's raw values that the range needs.
    """

    storage: Storage
    bytes: int
    used: float


def scalings(low: float, high: float, resolution: str | float) -> tuple[Scaling, ...]:
    """Return the integer storages that hold a range at a resolution, the best first.

    The smallest type comes first; of one size, the one without an offset, then unsigned where
    nothing stored is negative.  With an offset, zero stays on the raster.

    Parameters
    ----------
    low, high : float
        The range, ends included.
    resolution : str or float
        Largest step; a text such as ``"0.02"`` or ``"1/128"`` is taken exactly.

    Raises
    ------
    ModelError
        If the resolution or range makes no sense, or no type holds it; the text names the
        finest resolution that would fit.
    """
    if not (math.isfinite(low) and math.isfinite(high) and low <= high):
        raise ModelError("The range is not two numbers in rising order.", "Give low, then high.")
    try:
        step = Fraction(str(resolution))
    except (ValueError, ZeroDivisionError):
        raise ModelError(
            f"{resolution!r} is no resolution.", "Give a number such as 0.02 or 1/128."
        ) from None
    if step <= 0:
        raise ModelError("A resolution must be above zero.", "Give a number such as 0.02.")
    first = math.floor(Fraction(low) / step + Fraction(1, 10**9))
    last = math.ceil(Fraction(high) / step - Fraction(1, 10**9))
    found = []
    for name in INTEGER_TYPES:
        plain = Storage(name)
        least, most = plain.raw_range
        shift = 0 if least <= first and last <= most else first - least
        if last - shift > most:
            continue
        if shift and low <= 0 <= high and last - first > most - least:
            continue
        offset = shift * step
        storage = Storage(name, step.numerator, step.denominator, shift * step.numerator)
        assert storage.offset == offset * step.denominator
        size = int(name.lstrip("uint")) // 8
        share = (last - first + 1) / (most - least + 1)
        found.append(Scaling(storage, size, share))
    if not found:
        finest = (Fraction(high) - Fraction(low)) / (2**32 - 1)
        raise ModelError(
            f"No storage type holds {short(low)} to {short(high)} at a step of {step}.",
            f"The finest step that fits is about {float(finest):.3g}.",
        )

    def rank(s: Scaling) -> tuple[int, bool, bool]:
        unsigned = s.storage.type.startswith("u")
        shifted = s.storage.offset != 0
        return s.bytes, shifted, unsigned != (low >= 0 or shifted)

    return tuple(sorted(found, key=rank))


def storage_for(
    table: Table, step: str | float, type: str = "", range: tuple[float, float] | None = None
) -> Storage:
    """Return the best storage of a table with another step.

    Parameters
    ----------
    table : Table
    step : str or float
        See `scalings`.
    type : str
        The smallest that will do if empty.
    range : (low, high), optional
        What it must hold, in the table's unit; the table's limits, or else its values.

    Raises
    ------
    EditRefused
        If there is no range to go by, or the type does not hold it.
    """
    low, high = range if range is not None else (table.lower, table.upper)
    if not (np.isfinite(low) and np.isfinite(high)):
        finite = table.values[np.isfinite(table.values)]
        if not finite.size:
            raise EditRefused(f"{table.id} holds no value to tell a range from.", "Give a range.")
        low, high = float(finite.min()), float(finite.max())
    found = [one.storage for one in scalings(low, high, step)]
    suited = [one for one in found if type in ("", one.type)]
    if not suited:
        fits = ", ".join(one.type for one in found)
        raise EditRefused(f"{type} does not hold that range at that step.", f"These do: {fits}.")
    return suited[0]
