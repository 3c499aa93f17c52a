"""What a heading says: a name, a unit, an id; in whatever way people write them."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from ..core.units import known

_IN_BRACKETS = re.compile(r"^(.*?)\s*\[([^\[\]]*)\]\s*$", re.DOTALL)
_IN_PARENTHESES = re.compile(r"^(.+?)\s*\(((?:[^()]|\([^()]*\))*)\)\s*$", re.DOTALL)
_ID = re.compile(r"[A-Za-z0-9_.\[\]]{1,200}")
_TOKEN = re.compile(r"([A-Za-z%°µΩ_]+)(?:\^|\*\*)?(-?[0-9]+)?")
_USUAL = frozenset({
    "s", "ms", "min", "h", "-", "%", "0/1", "degC", "K", "km/h", "m/s", "mph", "m/s2", "deg",
    "deg/s", "rad", "rad/s", "rpm", "1/min", "N", "kN", "N.m", "W", "kW", "A", "V", "m",
    "mm", "bar", "kPa", "Pa", "Hz", "kg", "J", "N.m/s", "W/K", "J/K", "N/s", "kN.m", "N.m/(km/h)",
    "mA", "mV", "g",
})  # fmt: skip
_SAME = {
    "1": "-", "none": "-", "dimensionless": "-", "ratio": "-", "°c": "degC", "degc": "degC",
    "deg c": "degC", "celsius": "degC", "degree_celsius": "degC", "degrees_celsius": "degC",
    "degrees celsius": "degC", "°": "deg", "degree": "deg", "degrees": "deg", "nm": "N.m",
    "n·m": "N.m", "n*m": "N.m", "n m": "N.m", "n-m": "N.m", "newton meter": "N.m",
    "newton metre": "N.m", "m/s²": "m/s2", "m/s^2": "m/s2", "m/s**2": "m/s2", "kph": "km/h",
    "kmh": "km/h", "km h-1": "km/h", "percent": "%", "kelvin": "K", "r/min": "rpm",
    "volt": "V", "ampere": "A", "newton": "N", "second": "s", "seconds": "s",
    "metre": "m", "meter": "m", "kilogram": "kg",
}  # fmt: skip


def headed(text: str) -> tuple[str, str | None]:
    """Return name and unit of a heading; None where it states no unit.

    Examples
    --------
    >>> headed("Torque [Nm]")
    ('Torque', 'N.m')
    >>> headed("Steering angle (absolute)")
    ('Steering angle (absolute)', None)
    >>> headed("Oil (°C)")
    ('Oil', 'degC')
    """
    found = _IN_BRACKETS.match(text)
    if found and not _ID.fullmatch(text.strip()):
        return found[1].strip(), unit_said(found[2])
    found = _IN_PARENTHESES.match(text)
    if found and is_unit(found[2]):
        return found[1].strip(), unit_said(found[2])
    return text.strip(), None


@lru_cache(maxsize=4000)
def unit_said(text: str) -> str:
    """Return a unit as this program writes it; as it stands if it is not known.

    Examples
    --------
    >>> unit_said("m s-1"), unit_said("N m"), unit_said("°C"), unit_said("")
    ('m/s', 'N.m', 'degC', '-')
    """
    plain = " ".join(text.split()).replace("\N{DEGREE CELSIUS}", "°C")
    plain = plain.replace("\N{GREEK SMALL LETTER MU}", "u").replace("\N{MICRO SIGN}", "u")
    if not plain:
        return "-"
    if plain in _USUAL:
        return plain
    same = _SAME.get(plain.lower())
    if same is not None and plain not in ("nm", "NM"):  # a nanometre is no torque
        return same
    plain = plain.replace("·", ".").replace("²", "2").replace("³", "3")
    return plain if plain in _USUAL else _from_udunits(plain)


def _from_udunits(text: str) -> str:
    """``kg m2 s-2`` (UDUNITS; ISO 80000 without signs) as ``kg.m2/s2``."""
    if " " not in text and "-" not in text.strip("-"):
        return text
    above: list[str] = []
    below: list[str] = []
    for part in text.replace(".", " ").split():
        found = _TOKEN.fullmatch(part)
        if not found:
            return text
        power = int(found[2] or 1)
        (above if power > 0 else below).append(
            found[1] + (str(abs(power)) if abs(power) != 1 else "")
        )
    if not below:
        made = ".".join(above)
    else:
        bottom = below[0] if len(below) == 1 else f"({'.'.join(below)})"
        made = f"{'.'.join(above) or '1'}/{bottom}"
    return made if made in _USUAL or known(made) else text


@lru_cache(maxsize=4000)
def is_unit(text: str) -> bool:
    """Whether a text is plainly a unit."""
    plain = text.strip()
    if not plain or len(plain) > 40:
        return False
    said = unit_said(plain)
    if said in _USUAL:
        return True
    if re.search(r"[0-9]{3}|[^\w\s%°./*^()·²³µΩ-]", said) or said.isdigit():
        return False
    return known(said)


def id_said(text: str) -> str:
    """Return the id that a text is, or that can be made of it; empty if none can.

    Examples
    --------
    >>> id_said("pre_engage.map[2]"), id_said("Größe der Kupplung")
    ('pre_engage.map[2]', 'Grosse_der_Kupplung')
    """
    plain = text.strip()
    if _ID.fullmatch(plain):
        return plain
    plain = plain.replace("ß", "ss")
    folded = unicodedata.normalize("NFKD", plain).encode("ascii", "ignore").decode()
    return re.sub(r"[^A-Za-z0-9_.\[\]]+", "_", folded).strip("_")[:200]


def is_id(text: str) -> bool:
    """Whether a text may be an id as it stands."""
    return bool(_ID.fullmatch(text))
