"""Numbers as text: short for reading, exact for editing."""

from __future__ import annotations

import math

from .units import shown


def exact(value: float) -> str:
    """Return the shortest text that reads back as the same float64 (``215``, ``0.1``, ``nan``)."""
    if math.isfinite(value) and value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return repr(float(value))


def short(value: float, digits: int = 6) -> str:
    """Return a text for reading: at most `digits` significant digits, a true minus sign."""
    if math.isnan(value):
        return "empty"
    text = f"{value:.{digits}g}"
    if "e" in text and 1e-4 <= abs(value) < 1e9:
        text = f"{value:.0f}"
    return text.replace("-", "\N{MINUS SIGN}")


def with_unit(value: float, unit: str, digits: int = 6) -> str:
    """Return value and unit for reading, such as ``215 N·m`` or ``40 %``."""
    text = short(value, digits)
    label = shown(unit)
    if label in ("°", "′", "″"):  # an angle's sign stands close to its number (SI Brochure 5.4.3)
        return text + label
    return f"{text} {label}" if label and not math.isnan(value) else text


def one_form(value: float) -> int | float | str:
    """Return a number in the form that is the same for equal numbers, as JSON can hold it.

    A whole number is an int, and one that is not finite a text.
    """
    number = float(value)
    if not math.isfinite(number):
        return repr(number)
    return int(number) if number == int(number) and abs(number) < 2**53 else number


def counted(text: str, most: int) -> int | None:
    """Return the place that a text names, counted from 1; None if it is no such place.

    Parameters
    ----------
    text : str
        Plain digits: others (a superscript, a script's own) are no way to count here.
    most : int
        The last place.
    """
    if not (text.isascii() and text.isdigit() and len(text) <= 9):
        return None
    return number if 1 <= (number := int(text)) <= most else None
