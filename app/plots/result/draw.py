"""From what was reckoned to maps that can be drawn, to their key, and to words."""

from __future__ import annotations

import numpy as np
from PySide6.QtGui import QColor

from app.colours import Inks, colours_of, difference_map, value_map
from app.plots.legend import Entry
from app.plots.result.drawn import Drawn, Scale
from app.plots.result.inks import colour_of, shaded
from app.plots.result.reckon import Picture, kind_words, kinds_of
from calib_model.core.numbers import short, with_unit
from calib_model.evidence.result import Resulting
from calib_model.evidence.result_inputs import LABELS, UNITS

LOWER, SAME, HIGHER, APART = 0, 1, 2, 3
"""Kinds of points of the map of differences; the last where one of the two is not known."""


def titles(picture: Picture) -> tuple[tuple[str, str], tuple[str, str]]:
    """Return names and units of both axes."""
    ask = picture.ask
    return (LABELS[ask.x], UNITS[ask.x]), (LABELS[ask.y], UNITS[ask.y])


def most_of(picture: Picture) -> float:
    """Return the largest torque of both sets, in N.m."""
    told = [r.torque for r in (picture.first, picture.second) if r is not None]
    finite = np.concatenate([t[np.isfinite(t)] for t in told])
    return float(finite.max()) if finite.size and finite.max() > 0 else 1.0


def numbers_of(picture: Picture) -> dict[int, int]:
    """Return the number by which a small region of each kind is called, the same in both maps."""
    told = [r for r in (picture.first, picture.second) if r is not None]
    kinds = sorted({int(k) for r in told for k in np.unique(kinds_of(r))}, key=lambda k: (k < 0, k))
    return {kind: number + 1 for number, kind in enumerate(kinds)}


def torque_map(
    picture: Picture, result: Resulting, name: str, *, by_table: bool, inks: Inks
) -> Drawn:
    """Return the map of one set."""
    kinds = kinds_of(result)
    most = most_of(picture)
    numbers = numbers_of(picture)
    scale = None
    if by_table:
        rgb = shaded(kinds, result.torque, most, inks)
    else:
        ramp = value_map(dark=inks.dark)
        rgb = colours_of(result.torque, 0.0, most, ramp)
        scale = Scale(ramp, 0.0, most, False)
    finite = result.torque[np.isfinite(result.torque)]
    span = ""
    if finite.size:
        low, high = short(float(finite.min()), 4), with_unit(float(finite.max()), "N.m", 4)
        span = f": {low} to {high}"
    breach = picture.breach if result is picture.second else None
    return Drawn(
        f"{name}{span}",
        result.x,
        result.y,
        titles(picture),
        rgb,
        np.isnan(result.torque),
        kinds,
        {kind: (str(number), kind_words(result, kind)) for kind, number in numbers.items()},
        breach,
        scale,
    )


def difference(picture: Picture, names: tuple[str, str], inks: Inks) -> Drawn | None:
    """Return the map of second less first; None where there is no first."""
    if picture.first is None:
        return None
    amount = picture.second.torque - picture.first.torque
    finite = amount[np.isfinite(amount)]
    most = float(np.abs(finite).max()) if finite.size else 0.0
    ramp = difference_map(dark=inks.dark)
    kinds = np.full(amount.shape, APART, dtype=np.int64)
    with np.errstate(invalid="ignore"):
        kinds[np.abs(amount) <= 1e-6] = SAME
        kinds[amount > 1e-6] = HIGHER
        kinds[amount < -1e-6] = LOWER
    labels = {
        LOWER: ("\N{MINUS SIGN}", f"{names[1]} lower"),
        SAME: ("=", "the same"),
        HIGHER: ("+", f"{names[1]} higher"),
        APART: ("", "not known"),
    }
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 0.0)
    span = f"{signed(low)} to {signed(high)} N·m"
    return Drawn(
        f"{names[1]} less {names[0]}: {span if low or high else 'no difference'}",
        picture.second.x,
        picture.second.y,
        titles(picture),
        colours_of(amount, -(most or 1.0), most or 1.0, ramp),
        np.isnan(amount),
        kinds,
        labels,
        picture.breach,
        Scale(ramp, -(most or 1.0), most or 1.0, True),
    )


def key(picture: Picture, inks: Inks, *, less: bool, name: str) -> list[Entry]:
    """Return the entries of the key: what governs, with its number and colour.

    Parameters
    ----------
    picture : Picture
    inks : Inks
    less : bool
        Whether the map of differences is shown.
    name : str
        Of the second set.
    """
    entries = []
    if less:
        entries.append(Entry(f"{name} higher", inks.line, mark="plus"))
        entries.append(Entry(f"{name} lower", inks.line, mark="minus"))
    told = [r for r in (picture.second, picture.first) if r is not None]
    for kind, number in numbers_of(picture).items():
        names = dict.fromkeys(kind_words(r, kind) for r in told if (kinds_of(r) == kind).any())
        text = f"{number}  {' / '.join(names)}"
        entries.append(Entry(text, QColor(colour_of(kind)), mark="box", filled=True))
    if picture.breach is not None:
        entries.append(Entry("hatched: breaches the mode relation", inks.error, mark="box"))
    return entries


def place_words(picture: Picture, row: int, column: int) -> str:
    """Return a point's place, such as ``40 %, −10 °C``."""
    ask, told = picture.ask, picture.second
    return ", ".join(
        _at(name, float(value)) for name, value in ((ask.x, told.x[column]), (ask.y, told.y[row]))
    )


def _at(name: str, value: float) -> str:
    unit = UNITS[name]
    text = with_unit(value, unit, 4)
    return text if unit not in ("-", "0/1") else f"{LABELS[name].lower()} {text}"


def point_words(picture: Picture, names: tuple[str, str], row: int, column: int) -> str:
    """Return what is known of a point: the torque of both sets and which tables decide."""
    parts = []
    for name, told in zip(names, (picture.first, picture.second), strict=True):
        if told is None:
            continue
        value = float(told.torque[row, column])
        kind = int(kinds_of(told)[row, column])
        words = kind_words(told, kind)
        number = with_unit(value, "N.m", 4) if np.isfinite(value) else "no value"
        open_words = ", disconnected" if told.disconnected[row, column] else ""
        parts.append(f"{name} {number} ({words}{open_words})")
    if picture.first is not None:
        amount = float((picture.second.torque - picture.first.torque)[row, column])
        if np.isfinite(amount):
            parts.append("the same" if abs(amount) <= 1e-6 else f"{signed(amount)} N·m")
    return f"{place_words(picture, row, column)}: {'; '.join(parts)}"


def signed(amount: float) -> str:
    """Return an amount with its sign."""
    return f"+{short(amount, 4)}" if amount > 0 else short(amount + 0.0, 4)
