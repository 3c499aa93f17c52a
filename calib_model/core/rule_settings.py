"""How a kind of rule describes itself: its settings, and a small picture, as data.

A rule's fields say what they are beside their definition (`told`); forms, help and documents are
made from what `settings_of` gathers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import MISSING, Field, dataclass, fields
from enum import Enum, StrEnum
from math import inf
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .rule import Rule  # whose kinds tell their settings by this file


class Required(Enum):
    """The default of a setting that has none."""

    REQUIRED = "must be given"


REQUIRED = Required.REQUIRED


class Of(StrEnum):
    """What a setting holds, which decides how a form asks for it."""

    AXIS = "axis"
    """An axis of the table: its input, its name, or its number."""
    TABLE = "table"
    """The id of another table of the set; may be empty where it has a default."""
    CHOICE = "choice"
    NUMBER = "number"
    SWITCH = "yes or no"
    TEXT = "text"
    POINT = "point"
    """One value per axis."""
    POINTS = "points"
    NUMBERS = "numbers"
    SCOPE = "scope"
    """Parts of axes, each with a lower and an upper end."""


class In(StrEnum):
    """The unit of a number."""

    NONE = ""
    TABLE = "table"
    AXIS = "axis"
    """That of the axis which the rule names."""
    PER_AXIS = "table per axis"
    AXIS_PER_SECOND = "axis per second"


@dataclass(frozen=True)
class Setting:
    """One setting of a kind of rule.

    Parameters
    ----------
    name : str
        As in files and rule sheets.
    of : Of
        What it holds.
    help : str
        A sentence.
    default : Any
        `REQUIRED` where it must be given.
    unit : In
        Of a number.
    low, high : float
        What a form lets in; a file may hold more.
    choices : tuple of str
    """

    name: str
    of: Of
    help: str = ""
    default: Any = REQUIRED
    unit: In = In.NONE
    low: float = -inf
    high: float = inf
    choices: tuple[str, ...] = ()

    @property
    def required(self) -> bool:
        """Whether it has to be given."""
        return self.default is REQUIRED


def told(
    help: str,
    of: Of | None = None,
    *,
    unit: In = In.NONE,
    low: float = -inf,
    high: float = inf,
    choices: tuple[str, ...] = (),
) -> Mapping[str, Any]:
    """Return what a field of a rule says of itself, for ``field(metadata=...)``.

    Parameters
    ----------
    help : str
    of : Of, optional
        By default as the field's type and name tell.
    unit, low, high, choices
        See `Setting`.
    """
    about = {"of": of, "unit": unit, "low": low, "high": high, "choices": choices}
    return {"told": {"help": help, **about}}


def settings_of(kind: type[Rule]) -> tuple[Setting, ...]:
    """Return the settings of a kind of rule, its own first, those of every rule last."""
    from .rule import Rule  # noqa: PLC0415  # whose kinds tell their settings by this file

    common = {entry.name: entry for entry in fields(Rule)}
    own = [entry for entry in fields(kind) if entry.name not in common]
    shared = [entry for entry in fields(kind) if entry.name in common]
    return tuple(_setting(entry, common.get(entry.name, entry)) for entry in (*own, *shared))


def _setting(entry: Field[Any], described: Field[Any]) -> Setting:
    said = dict(entry.metadata.get("told") or described.metadata.get("told") or {"of": None})
    of = said.pop("of") or _by_type(entry, bool(said.get("choices")))
    default = REQUIRED if entry.default is MISSING else entry.default
    return Setting(entry.name, of, default=default, **said)


_BY_TYPE = {
    "str": Of.TEXT,
    "bool": Of.SWITCH,
    "float": Of.NUMBER,
    "int": Of.NUMBER,
    "tuple[float, ...]": Of.POINT,
}


def _by_type(entry: Field[Any], chosen: bool) -> Of:
    if chosen:
        return Of.CHOICE
    if entry.name == "axis":
        return Of.AXIS
    name = entry.type.__name__ if isinstance(entry.type, type) else str(entry.type)
    return _BY_TYPE.get(name, Of.TEXT)


# -- pictures ------------------------------------------------------------------------------


class PicturePart(StrEnum):
    """What a part of a picture stands for; whoever draws chooses colour and stroke."""

    HELD = "as the rule wants it"
    BROKEN = "what the rule names"
    OTHER = "the other table, or the other mode"
    LIMIT = "a limit"


Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class PictureLine:
    """A line through points of the unit square, y upwards."""

    points: Points
    part: PicturePart = PicturePart.HELD


@dataclass(frozen=True)
class PicturePatch:
    """An area of the unit square, y upwards."""

    points: Points
    part: PicturePart = PicturePart.LIMIT


@dataclass(frozen=True)
class Dot:
    """A marked point."""

    at: tuple[float, float]
    part: PicturePart = PicturePart.BROKEN


@dataclass(frozen=True)
class Picture:
    """What a kind of rule means, in a few strokes over the unit square (x along the axis).

    Parameters
    ----------
    marks : tuple of PictureLine, PicturePatch and Dot
        In the order to draw them.
    words : str
        The same for who does not see it.
    """

    marks: tuple[PictureLine | PicturePatch | Dot, ...]
    words: str
