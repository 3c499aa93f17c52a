"""Units as people spell them, read as the units that the torque law knows."""

from __future__ import annotations

import re
from functools import lru_cache

from calib_model.core.units import convert, known, same_kind
from calib_model.errors import UnitProblem

_WORDS = {
    "nm": "N.m", "newtonmetre": "N.m", "newtonmeter": "N.m", "newtonmetres": "N.m",
    "newtonmeters": "N.m", "newton": "N", "newtons": "N",
    "kph": "km/h", "kmh": "km/h", "kmph": "km/h",
    "c": "degC", "celsius": "degC", "degc": "degC", "degcelsius": "degC", "k": "K", "kelvin": "K",
    "percent": "%", "pct": "%", "prc": "%", "%": "%",
    "degree": "deg", "degrees": "deg", "deg": "deg", "\N{DEGREE SIGN}": "deg",
    "radian": "rad", "radians": "rad", "rad": "rad",
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "s": "s",
    "msec": "ms", "millisecond": "ms", "milliseconds": "ms", "ms": "ms",
    "hr": "h", "hour": "h", "h": "h", "min": "min",
    "a": "A", "amp": "A", "amps": "A", "ampere": "A", "amperes": "A",
    "w": "W", "watt": "W", "watts": "W", "j": "J", "joule": "J", "joules": "J",
    "n": "N", "kn": "kN", "kw": "kW", "km": "km", "m": "m", "mm": "mm", "mph": "mph", "rpm": "rpm",
}  # fmt: skip
_NONE = {"", "-", "1", "none", "n/a", "na", "ratio", "factor", "unitless", "dimensionless", "--"}
_SWITCH = {"0/1", "bool", "boolean", "on/off", "yes/no", "flag", "switch"}
_SQUARES = str.maketrans({"²": "2", "³": "3", "·": ".", "×": ".", "*": ".", "⋅": ".", "µ": "u"})
_NEWTON_METRE = re.compile(r"newton[\s.-]*met(?:re|er)s?|\bn[\s.-]+m\b", re.IGNORECASE)
_DEGREE_C = re.compile(
    "(?:\N{DEGREE SIGN}|deg(?:ree)?s?[ _.]*)c(?:elsius)?\\b|\u2103", re.IGNORECASE
)
_ANGULAR = {"deg", "rad", "mrad", "arcmin"}


@lru_cache(maxsize=4000)
def unit_meant(text: str) -> str:
    """Return the unit that a spelling means, as this program writes it.

    Parameters
    ----------
    text : str
        Such as ``Nm``, ``°C``, ``kph`` or ``[m/s^2]``.

    Returns
    -------
    str
        ``-`` for none, ``0/1`` for a switch; empty where the spelling is not understood.
    """
    plain = text.strip().strip("[]").strip()
    if plain.lower() in _NONE:
        return "-"
    if plain.lower() in _SWITCH:
        return "0/1"
    plain = _DEGREE_C.sub("degC", plain.translate(_SQUARES))
    plain = _NEWTON_METRE.sub("Nm", plain)
    plain = re.sub(r"\s*\bper\b\s*(.*)$", r"/(\1)", plain).replace("^", "").replace("**", "")
    # A minus after a unit divides: m s-2.
    plain = re.sub(
        r"[\s.]+([A-Za-z]+)-([12])\b", lambda m: f"/{m[1]}{m[2] if m[2] != '1' else ''}", plain
    )
    parts = re.findall(r"[A-Za-z\N{DEGREE SIGN}%]+|\d+|[./()]|\s+|.", plain)
    said = "".join(_part(part, number, parts) for number, part in enumerate(parts))
    said = re.sub(r"(?<=[A-Za-z)])\s+(?=[A-Za-z(])", ".", said).replace(" ", "")
    return said if known(said) else ""


def _part(part: str, number: int, parts: list[str]) -> str:
    word = _WORDS.get(part.lower())
    if part in ("K", "N", "J", "W", "A") or word is None:
        return part
    inside = number > 0 and "".join(parts[:number]).rstrip().endswith("/")
    return f"({word})" if inside and "/" in word else word


def alike(unit: str, wanted: str) -> str:
    """Say how a unit stands to the one that is read.

    Parameters
    ----------
    unit, wanted : str
        The first as a file says it, the second one of ours.

    Returns
    -------
    str
        ``same``: numbers mean the same; ``convertible``: they would after conversion;
        ``unsaid``: no unit is given where one is read, or it is not understood; ``other``.
    """
    if unit == wanted:
        return "same"
    meant = unit_meant(unit)
    if not meant:
        return "unsaid"
    return _alike(meant, wanted)


@lru_cache(maxsize=20000)
def _alike(meant: str, wanted: str) -> str:
    if {meant, wanted} <= {"-", "0/1"}:
        return "same"
    if meant == "-":
        return "unsaid"
    if _family(meant) != _family(wanted) or not same_kind(meant, wanted):
        return "other"
    try:
        low, high = convert([0.0, 1.0], meant, wanted)
    except UnitProblem:
        return "other"
    return "same" if (low, high) == (0.0, 1.0) else "convertible"


def _family(unit: str) -> str:
    """Angles, shares and plain numbers are of one kind to a physicist, not to a table."""
    if unit in _ANGULAR:
        return "angle"
    if unit == "%":
        return "share"
    return "number" if unit in ("-", "0/1") else "physical"
