"""The kinds of rule as they describe themselves: for forms, help and documents."""

from __future__ import annotations

from dataclasses import dataclass

from ..core.near import nearest
from ..core.rule import KINDS
from ..core.rule_settings import In, Of, Picture, Setting, settings_of
from ..core.table import Table
from ..core.units import shown
from ..errors import ModelError
from . import limits, plausibility, relations

SELF_ACTING = frozenset(
    {
        limits.Limits,
        plausibility.Finite,
        plausibility.AxisOrder,
        plausibility.OnRaster,
        plausibility.AxisOnRaster,
        plausibility.Flattened,
        plausibility.Outlier,
        relations.ModeRelation,
    }
)
"""In force without being asked for; stated on a table they would say the same again."""


@dataclass(frozen=True)
class Kind:
    """A kind of rule, described.

    Parameters
    ----------
    name : str
        As in files and rule sheets.
    explained : str
        What it asks for and what it is good for.
    settings : tuple of Setting
        Its own first, those of every rule last.
    picture : Picture or None
    addable : bool
        Whether it is for a user to add; the others are in force by themselves.
    linear : bool
        Whether smoothing, repairing and fitting obey it.
    """

    name: str
    explained: str
    settings: tuple[Setting, ...]
    picture: Picture | None
    addable: bool
    linear: bool

    @property
    def label(self) -> str:
        """The name to show."""
        return self.name.replace("_", " ")

    def setting(self, name: str) -> Setting:
        """Return one setting; ModelError names the nearest if there is none."""
        for setting in self.settings:
            if setting.name == name:
                return setting
        remedy = nearest(name, (s.name for s in self.settings), "settings")
        raise ModelError(f"Rule {self.name!r} has no setting {name!r}.", remedy)

    @property
    def axis_settings(self) -> tuple[Setting, ...]:
        """The settings that name an axis."""
        return tuple(s for s in self.settings if s.of is Of.AXIS)

    def suits(self, table: Table) -> bool:
        """Whether a table has what the kind needs: an axis where it names one."""
        return bool(table.axes) or not any(s.required for s in self.axis_settings)


def kinds(addable: bool = True) -> tuple[Kind, ...]:
    """Return the kinds of rule, by name.

    Parameters
    ----------
    addable : bool
        Only those that a user adds to tables.
    """
    every = (kind(name) for name in sorted(KINDS))
    return tuple(one for one in every if one.addable or not addable)


def kind(name: str) -> Kind:
    """Return a kind of rule by its name.

    Raises
    ------
    ModelError
        If there is none; it names the nearest.
    """
    cls = KINDS.get(name) or KINDS.get(name.strip().lower().replace(" ", "_"))
    if cls is None:
        raise ModelError(f"Rule kind {name[:60]!r} is not known.", nearest(name, KINDS, "kinds"))
    first = (cls.__doc__ or "").strip().split("\n\n")[0]
    return Kind(
        cls.kind,
        cls.explained or " ".join(first.split()),
        settings_of(cls),
        cls.picture,
        cls not in SELF_ACTING and not issubclass(cls, limits.Locked),
        cls.linear,
    )


def unit_of(setting: Setting, table: Table, axis: int = -1) -> str:
    """Return the unit of a number, as text to show; empty where it has none.

    Parameters
    ----------
    setting : Setting
    table : Table
    axis : int
        Number of the axis that the rule names; -1 while none is chosen.
    """
    own = shown(table.unit)
    along = shown(table.axes[axis].unit) if 0 <= axis < len(table.axes) else ""
    match setting.unit:
        case In.TABLE:
            return own
        case In.AXIS:
            return along
        case In.PER_AXIS:
            per = f"({along})" if "/" in along else along
            return f"{own or '1'}/{per}" if along else own
        case In.AXIS_PER_SECOND:
            return f"{along} per s" if along else "1/s"
    return ""


_UNIT_WORDS = {
    In.TABLE: "in the table's unit",
    In.AXIS: "in the axis's unit",
    In.PER_AXIS: "in the table's unit per unit of the axis",
    In.AXIS_PER_SECOND: "in the axis's unit per second",
}


def setting_words(setting: Setting) -> str:
    """Return what a setting is in one line: help, unit, choices, default."""
    parts = [setting.help] if setting.help else []
    if setting.choices:
        parts.append(f"One of {', '.join(setting.choices)}.")
    if setting.unit in _UNIT_WORDS:
        parts.append(f"{_UNIT_WORDS[setting.unit].capitalize()}.")
    if setting.required:
        parts.append("Must be given.")
    elif setting.of in (Of.NUMBER, Of.CHOICE) and setting.default not in (
        float("inf"),
        -float("inf"),
    ):
        parts.append(f"{setting.default} if not given.")
    return " ".join(parts)
