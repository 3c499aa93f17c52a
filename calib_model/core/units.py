"""Units: their text, how they are shown, and conversion through pint.

Units are stored as plain ASCII text (``N.m``, ``km/h``, ``degC``, ``N.m/(km/h)``): a dot
multiplies, ``m/s2`` is per square second, ``-`` has no unit and ``0/1`` is a switch.  pint is
imported when the first conversion is asked for, never at start.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from ..errors import UnitProblem
from ..foreign_text import plain_line
from .arrays import FloatArray

if TYPE_CHECKING:
    import pint

_PLAIN = {"-": "", "": "", "0/1": ""}
_SHOWN = {"degC": "°C", "deg": "°", "deg/s": "°/s", "-": "", "0/1": ""}


def shown(unit: str) -> str:
    """Return the text to show: a raised dot for products, superscripts, ``°C``; may be empty."""
    if unit in _SHOWN:
        return _SHOWN[unit]
    text = unit.replace(".", "·").replace("degC", "°C")
    return plain_line(re.sub(r"(?<=[a-z])([23])", lambda m: "²³"[int(m[1]) - 2], text))


def known(unit: str) -> bool:
    """Tell whether the unit can be converted."""
    try:
        _parsed(unit)
    except UnitProblem:
        return False
    return True


def same_kind(a: str, b: str) -> bool:
    """Tell whether values in unit `a` can be converted to unit `b`."""
    if a == b:
        return True
    try:
        return bool(_parsed(a).is_compatible_with(_parsed(b)))
    except UnitProblem:
        return False


def convert(values: npt.ArrayLike, source: str, target: str) -> FloatArray:
    """Convert values between units, offsets (degC, degF, K) included.

    Parameters
    ----------
    values : array_like of float, any shape
    source, target : str

    Returns
    -------
    ndarray of float64, same shape

    Raises
    ------
    UnitProblem
        If a unit is not known or the two are not of one kind.
    """
    array = np.asarray(values, dtype=np.float64)
    if source == target:
        return array
    import pint

    before, after = _parsed(source), _parsed(target)
    try:
        quantity = _registry().Quantity(array, before)
        return np.asarray(quantity.to(after).magnitude, dtype=np.float64)
    except pint.DimensionalityError:
        raise UnitProblem(
            f"{source!r} cannot be converted to {target!r}.", "Check the units of both."
        ) from None


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[Any]:
    import pint
    from platformdirs import user_cache_dir

    try:
        return pint.UnitRegistry(cache_folder=user_cache_dir("bitepoint") + "/units")
    except OSError:  # a home that cannot be written to costs time, not the conversion
        return pint.UnitRegistry()


@lru_cache(maxsize=1000)
def _parsed(unit: str) -> Any:
    registry = _registry()
    if unit in _PLAIN:
        return registry.Unit("")
    if unit == "%":
        return registry.Unit("percent")
    text = re.sub(r"\s+per\s+(.*)$", r"/(\1)", unit)
    text = re.sub(r"(?<=[A-Za-z)])\.(?=[A-Za-z(])", "*", text)
    text = re.sub(r"(?<=[A-Za-z])([23])(?![0-9A-Za-z])", r"**\1", text)
    try:
        return registry.Unit(text)
    except Exception:  # pint raises many kinds for text that is no unit
        raise UnitProblem(
            f"Unit {unit!r} is not known.", "Write it as N.m, km/h, degC, rad/s, m/s2, kN or alike."
        ) from None
