"""How a controller stores a value: an integer or float type and its conversion.

The conversion is rational, ``physical = (raw * numerator + offset) / denominator``: one
division, hence one rounding, so that raw 3 of a 1/10 raster is the same float64 as a
typed 0.3.  Physical values are the truth; raw ones are derived.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
import numpy.typing as npt

from ..errors import ModelError
from .arrays import BoolArray, FloatArray

INTEGER_TYPES = ("int8", "int16", "int32", "uint8", "uint16", "uint32")
FLOAT_TYPES = ("float32", "float64")


@dataclass(frozen=True)
class Storage:
    """Storage type and conversion of a table's or an axis's values.

    Parameters
    ----------
    type : str
        One of ``int8 int16 int32 uint8 uint16 uint32 float32 float64``.
    numerator, denominator : int, positive
        Resolution as a fraction; for float types both must be 1.
    offset : int
        In units of 1/denominator; for float types 0.

    Examples
    --------
    >>> Storage("uint16", 1, 2).physical([430])
    array([215.])
    >>> Storage.of("uint8", "0.02").resolution
    0.02
    """

    type: str = "float64"
    numerator: int = 1
    denominator: int = 1
    offset: int = 0

    def __post_init__(self) -> None:
        if self.type not in INTEGER_TYPES + FLOAT_TYPES:
            raise ModelError(
                f"Storage type {self.type!r} is not known.",
                f"Use one of {', '.join(INTEGER_TYPES + FLOAT_TYPES)}.",
            )
        if self.numerator < 1 or self.denominator < 1:
            raise ModelError("A storage conversion needs a positive numerator and denominator.")
        if self.type in FLOAT_TYPES and (self.numerator, self.denominator, self.offset) != (
            1,
            1,
            0,
        ):
            raise ModelError("Float storage has no conversion.", "Use numerator 1, denominator 1.")

    @classmethod
    def of(cls, type: str, resolution: str | int = 1, offset: str | int = 0) -> Storage:
        """Make a storage from a resolution and offset written as decimals or fractions.

        Parameters
        ----------
        type : str
        resolution, offset : str or int
            Such as ``"0.5"`` or ``"1/250"``; the offset is physical.

        Raises
        ------
        ModelError
            If the type is not known, or one of the two is no such number.
        """
        try:
            step, shift = Fraction(resolution), Fraction(offset)
        except (ValueError, ZeroDivisionError):
            raise ModelError(
                f"A resolution of {resolution!r} with offset {offset!r} is no conversion.",
                'Write both as decimals or fractions, such as "0.5" or "1/250".',
            ) from None
        denominator = math.lcm(step.denominator, shift.denominator)
        return cls(
            type,
            int(step * denominator),
            denominator,
            int(shift * denominator),
        )

    @property
    def is_integer(self) -> bool:
        """Whether values lie on a raster."""
        return self.type in INTEGER_TYPES

    @cached_property
    def resolution(self) -> float:
        """Physical size of one storage step; 0 for float types."""
        return self.numerator / self.denominator if self.is_integer else 0.0

    @cached_property
    def raw_range(self) -> tuple[int, int]:
        """Smallest and largest raw value of an integer type."""
        info = np.iinfo(self.type)
        return int(info.min), int(info.max)

    @cached_property
    def range(self) -> tuple[float, float]:
        """Smallest and largest physical value that can be stored."""
        if not self.is_integer:
            top = float(np.finfo(self.type).max)
            return -top, top
        low, high = self.raw_range
        return float(self.physical(low)), float(self.physical(high))

    def physical(self, raw: npt.ArrayLike) -> FloatArray:
        """Physical values of raw ones, any shape."""
        if not self.is_integer:
            return np.asarray(raw, dtype=np.float64)
        scaled = np.asarray(raw, dtype=np.float64) * self.numerator + self.offset
        return np.asarray(scaled / self.denominator)

    def raw(self, physical: npt.ArrayLike) -> FloatArray:
        """Nearest raw values (as float64, so that NaN stays NaN), kept inside the type's range.

        Ties go to the even raw value.  An infinity stays one where the type has it.
        """
        values = np.asarray(physical, dtype=np.float64)
        if not self.is_integer:
            low, high = self.range
            inside = np.where(np.isfinite(values), np.clip(values, low, high), values)
            return inside.astype(self.type).astype(np.float64)
        nearest = np.rint((values * self.denominator - self.offset) / self.numerator)
        low, high = self.raw_range
        return np.asarray(np.clip(nearest, low, high))

    def nearest(self, physical: npt.ArrayLike) -> FloatArray:
        """Nearest values that can be stored, same shape; NaN stays NaN."""
        values = np.asarray(physical, dtype=np.float64)
        if self.type == "float64":
            return values
        return self.physical(self.raw(values))

    def representable(self, physical: npt.ArrayLike) -> BoolArray:
        """Which values are held exactly; NaN is not."""
        values = np.asarray(physical, dtype=np.float64)
        return np.asarray(self.nearest(values) == values)

    def neighbours(self, value: float) -> tuple[float, float]:
        """Return the next representable values below and above `value`.

        At an end of the range the end itself is returned.
        """
        if not self.is_integer:
            low, high = self.range
            kind = np.dtype(self.type).type
            inside = kind(np.clip(value, low, high))
            # Towards the type's own ends, not infinity: beyond them nothing can be stored.
            below = inside if float(inside) < value else np.nextafter(inside, kind(low))
            above = inside if float(inside) > value else np.nextafter(inside, kind(high))
            return float(below), float(above)
        exact = (value * self.denominator - self.offset) / self.numerator
        nearest = float(np.rint(exact))
        on_raster = bool(self.representable(value))
        below_raw = nearest - 1 if on_raster else np.floor(exact)
        above_raw = nearest + 1 if on_raster else np.ceil(exact)
        low, high = self.raw_range
        ends = np.clip([below_raw, above_raw], low, high)
        below, above = self.physical(ends)
        return float(below), float(above)

    def __str__(self) -> str:
        if not self.is_integer:
            return self.type
        step = Fraction(self.numerator, self.denominator)
        exact = step.denominator == 1 or set(prime_factors(step.denominator)) <= {2, 5}
        text = f"{float(step):.12g}" if exact else f"{step.numerator}/{step.denominator}"
        shift = f" from {self.offset / self.denominator:.12g}" if self.offset else ""
        return f"{self.type}, step {text}{shift}"


def prime_factors(n: int) -> list[int]:
    """Return the prime factors of a small positive integer."""
    found, divisor = [], 2
    while divisor * divisor <= n:
        while n % divisor == 0:
            found.append(divisor)
            n //= divisor
        divisor += 1
    return [*found, n] if n > 1 else found


FLOAT64 = Storage()
